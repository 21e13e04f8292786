"""The page of a run and its figures: reads the run folder only and computes no result.

Decided here, with what was seen:

* Figures are plain data drawn twice: on the page by an own script as SVG, for slides by matplotlib: nine kinds of
  layer are enough, marks of a kind are one path each, and choosing among 5 000 plans is well below 200 ms
  (`tests/report/test_in_a_browser.py`). A headless browser would be a heavy dependency to make a PNG
* Vega-Lite through vl-convert (both BSD-3; a wheel of 33.5 MB, a script of 0.90 MB in each page) was tried as the one
  drawer of both: with its interpreter it runs under the page's policy, offline. Two fronts of 5 000 marks and six small
  figures given new data took 136 to 200 ms on a busy machine, median 170 (as SVG 163 to 381), where this script chose a
  plan, tables included, in 45 to 186 ms, median 84, in the same run. It would take
  away most of the drawing here and the second drawer for slides,
  and is not done yet; a front drawn once, under a ring of its own, is what such
  a change would have to start with
* Of a large front the plans are drawn large that none shown beats for less, near-equal ones merged; the others are dots
  that can be chosen all the same: 5 000 marks of one size are a black slab
* Every group of sections is a larger question, every section has the question it answers beside it (`sections.py`)
* Drawn arcs are two-body from the burn; the miss at the target is spread with the square of time: at the target it is
  exact, at half time a quarter of what the planets did: less than a line's width; where the drawn arc is not to be
  trusted, the page says so
* `swarm show` looks at the Host header, although it listens on 127.0.0.1 only: a page from elsewhere can have its own
  name resolved to 127.0.0.1 and would be allowed to read the answers
* A page carries at most 60 000 rows of `plans`; beyond, the probes of a plan are asked of `swarm show`: 5 000 plans
  of twelve probes make a page of 6 MB; only such a page may ask its own server for anything (`connect-src 'self'`)
"""
