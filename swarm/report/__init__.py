"""The page of a run and its figures: reads the run folder only and computes no result.

Decided here, with what was seen:

* Figures are plain data drawn twice: on the page by an own script as SVG, for slides by matplotlib: nine kinds of
  layer are enough; the script has 38 kB where a drawing library has 4.5 MB, its marks of a kind are one path each,
  and choosing among 5 000 plans is well below 200 ms (`tests/report/test_in_a_browser.py`). A headless browser would
  be a heavy dependency to make a PNG
* Drawn arcs are two-body from the burn; the miss at the target is spread with the square of time: at the target it is
  exact, at half time a quarter of what the planets did: less than a line's width; where the drawn arc is not to be
  trusted, the page says so
* `swarm show` looks at the Host header, although it listens on 127.0.0.1 only: a page from elsewhere can have its own
  name resolved to 127.0.0.1 and would be allowed to read the answers
* A page carries at most 60 000 rows of `plans`; beyond, the probes of a plan are asked of `swarm show`: 5 000 plans
  of twelve probes make a page of 6 MB; only such a page may ask its own server for anything (`connect-src 'self'`)
"""
