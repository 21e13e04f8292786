"""Opportunities -> front, beside a proven bound; the one door to pygmo.

Decided here, with what was seen:

* Every exchange of every archived plan is priced once per archive member (`optimize/neighbours.py`), islands run
  beside it: on 24 opportunities and 4 probes islands alone found 16 of 17 points; with it all points of every small
  case, five seeds, all constraints (`tests/optimize`)
* The archive is thinned by the farthest-first rule, the most science per propellant first: taking out the most
  crowded all at once can empty a whole cluster; DTLZ2 with 2 500 points reaches 0.98 of the exact hypervolume in a
  second
* A row's science is bounded by the concave envelope of E[min(N, k)] over multisets of a few chances, linear between
  them, as cuts: at 1.0 kg of the reference study, flown as aimed, the best plan is at 0.974 of the bound with chances
  spread by rank, at 0.988 with the chances the relaxation takes
* Multipliers of the relaxation rule out opportunities before branch and bound; any multipliers >= 0 prove, so the
  solver is not trusted for it: 12 448 columns, 1 to 11 s a level; some hundred columns are left, a second or less.
  The dual bound of what is left, or a known plan, is the bound
* HiGHS begins with a plan that is known, by its makers' own package: scipy passes none on, and half of the time went
  into finding what was there. Presolve off, one thread, seed 0, stops at a gap of 0.2 % or 100 nodes: no clock, so the
  same bytes; a longer search moves the bound by 0.1 %
* The last level of the bound is what the cheapest plan with 99.9 % of the most science takes: evenly spread up to a
  full load, half of the levels would say nothing
* Beyond 4 000 opportunities the search tries only those that fewer than four targets of their release slot beat in
  everything: a heuristic, unlike the bound, which keeps as many as there are probes
  (`test_pruning_loses_no_science`); what the front reaches is measured against the bound, which knows nothing of it
* What a constraint costs is the gain of one short search without it over the same short search with it: two full
  searches differ by more than most constraints cost
* Polishing runs the screen again between the slots used by the front, and the search goes on with the longer table:
  the same minima of the burn against the same motion; in a study of 94 opportunities the hypervolume grows by 0.7 %.
  The bound is of the longer table, the one the front is made of: that of the screened table was exceeded by the front
  itself at 18 of 40 levels. That no plan lies above it is checked in every run. Of the screened table
  only a quarter of the levels are solved, for the plans that the first front hangs on
* A bound hangs on the table, the probe count and plans built greedily, on no seed: it is proven once for the searches
  of all seeds, and plans of other searches (fewer probes, an older run) join after it
"""
