"""A plan -> science, propellant, risk; what it must keep; the separate checker; budgets.

Decided here, with what was seen:

* Members of a shared-failure group are told by release date (or by the relay), not by a probe's place in the plan:
  with places, one more probe moves others into another lot and can lower science; property test in
  `tests/plan/test_groups_against_enumeration.py`
* A stored day ages a probe as a share of an active one; the Weibull clock starts with it: multiplying the hazard
  instead lets infant mortality pass in the dark: 200 active days after 1000 stored ones would be likelier (0.89) than
  without storage (0.80); so it is 0.74
* Delivered quality enters the objectives as a distribution over sets of rows: rows with several quality limits are
  met together, not independently: sums over all outcomes in `tests/plan`
* The share resting on assumptions is what science loses without the claims that use them: shares of concave sums are
  not unique; this one needs no order of the rows
* A joint distribution above 20 000 counts gives bounds, marked as such, for P(baseline) and CVaR: the mean of the
  worst tenth of a sum is never below the sum of the parts' own
* The plan under a mass limit is sought over all smaller counts too: mass is no axis of the front: a lighter plan of
  two probes was beaten by one of three and lost 0.08 of science
* In the mass budget propellant grows with the probe's maturity and system margins: structure, residual and burnt
  propellant keep their ratio, so the heavier probe keeps its delta-v (`tests/decide/compare/test_budgets.py`)
* Recontact is looked at on offsets from the mothership, cubic between nodes of 8 days, and only when a probe is about
  to join a plan: a table of all pairs of 30 000 opportunities would be 900 million distances; the bound leaves it out
"""
