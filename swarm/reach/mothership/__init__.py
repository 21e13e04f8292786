"""Where the mothership is, when: one door for every way a study may say it.

Decided here, with what was seen:

* A mothership is a tuple of ballistic legs, each with its own release slots; release, burn and arc lie on one leg:
  this is how "no arc spans a flyby or manoeuvre" cannot be broken
* Between nodes a path is two-body motion plus a cubic with the defect at the next node: at one-day nodes in the belt
  4e-6 km against 0.45 km for two faded drifts
"""
