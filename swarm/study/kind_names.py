"""Kinds of encounter by name, those of `swarm/run/kinds.py` in its order."""

FLYBY, LOW_PASS, ENTRY, ORBIT = "flyby", "low-pass", "entry", "orbit"
# Several of them, in words.
MANY = {FLYBY: "flybys", LOW_PASS: "low passes", ENTRY: "entries", ORBIT: "orbits"}
SEARCHED = (FLYBY, LOW_PASS, ORBIT, ENTRY)
"""Kinds that this version searches."""
