"""Where bodies are: compiled two-body motion, and the perturbed motion of a whole catalogue.

Decided here, with what was seen:

* Bodies are moved by drifts with kicks at the two Gauss points of each step (24 d), not by kick-drift-kick: 50 belt
  bodies, 10 years, against `assist`: median 140 km, where kick-drift-kick of the same cost (16 d) is known to leave
  363 km; 40 near-Earth bodies over 4 years: median 77 km (`tests/targets/motion`)
* The catalogue is marched 64 bodies side by side (`lanes`), in place of one after the other, not as a filter before it:
  it passes the same tests against outside integrators with the same limits, and the lossless draws lose nothing (full
  draws near the Earth: 8 396 slots of 750 targets compared, none lost, none beaten by more than 0.3 %; belt: the short
  draws, 486 slots of 74 targets)
* The drift allowance is a bound built from the kicks themselves, times 3 (1+e)/(1-e), not a constant: the largest
  share of it seen on 3 100 bodies is two thirds (`tests/targets/motion/test_drift_allowance.py`)
"""
