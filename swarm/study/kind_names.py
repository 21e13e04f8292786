"""Kinds of encounter by name: those that are searched, which `swarm/run/kinds.py` has, and those that are computed."""

FLYBY, LOW_PASS, ENTRY, ORBIT = "flyby", "low-pass", "entry", "orbit"
SEARCHED = (FLYBY, LOW_PASS, ENTRY)
"""Kinds that this version searches."""
COMPUTED = (*SEARCHED, ORBIT)
"""Kinds of which some command says what they come to."""
