"""Kinds of encounter by name: those that `swarm/run/kinds.py` has, in its order."""

FLYBY, LOW_PASS = "flyby", "low-pass"
SEARCHED = (FLYBY, LOW_PASS)
"""Kinds that this version searches."""
