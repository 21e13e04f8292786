"""Where bodies are: compiled two-body motion, and the perturbed motion of a whole catalogue.

Decided here, with what was seen:

* Bodies are moved by drifts with kicks at the two Gauss points of each step (24 d), not by kick-drift-kick: 50 belt
  bodies, 10 years, against `assist`: median 140 km, where kick-drift-kick of the same cost (16 d) is known to leave
  363 km; 40 near-Earth bodies over 4 years: median 77 km (`tests/targets/motion`)
* The drift allowance is a bound built from the kicks themselves, times 3 (1+e)/(1-e), not a constant: the largest
  share of it seen on 3 100 bodies is two thirds (`tests/targets/motion/test_drift_allowance.py`)
"""
