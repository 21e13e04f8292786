"""The page of a run and its figures: reads the run folder only and computes no result.

Decided here, with what was seen:

* Figures are plain data, turned by `chart.py` into one specification each, which the page shows and slides are made
  of (Vega through vl-convert, both BSD-3, from one wheel, offline). The page carries the library (0.59 MB) and an
  own script for linking only (`figures.js`); the library walks its expressions instead of compiling them, so that
  the page may forbid scripts to make scripts. Slides of a run take 2.4 s of processor time, with matplotlib 4.1 s
* Marks of a kind have one set of rows, so that choosing a plan replaces rows and nothing is parsed again; a front is
  not drawn again either, its ring has rows of its own. Among 5 000 plans a choice takes 60 to 160 ms of the page's
  thread on a busy machine; the script before, which drew everything itself in 500 lines, took 35 to 80. Figures of more
  than 1 000 marks are drawn on a canvas on the screen and in lines on paper
* Given up for it: a page is 0.8 MB larger. Won: zoom by mouse and keys, every mark read by pointer and keyboard,
  pictures as PNG, a probe chosen by its mark
* Labels beside marks evade each other and five places of each mark, not lines: for those the library needs a browser,
  and slides are made without one. On a phone Mercury's name stood on the Earth's; now all of seven probes that meet
  within 0.6 au are told apart there
* The room beside an axis is set beforehand: if it followed the labels, the number of labels and the room could chase
  each other for ever, which they did
* Planets on the map are those whose orbits it has room for (`planet_places`), once around, and where they are at the
  date
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
