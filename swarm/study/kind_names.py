"""Kinds of encounter by name: those that `swarm/run/kinds.py` has, in its order."""

FLYBY, LOW_PASS, ENTRY = "flyby", "low-pass", "entry"
SEARCHED = (FLYBY, LOW_PASS)
"""Kinds that this version searches."""
COMPUTED = (*SEARCHED, ENTRY)
"""Kinds that some command answers."""
