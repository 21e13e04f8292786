"""The study file: one question in one TOML file; keys, units, limits, defaults with their source.

Decided here, with what was seen:

* Fractions of the groups of one probe add up to at most 1: then no group takes more than all of a member's failures,
  and (1-q) = product of (1-q_common) * (1-q_own) has a solution
"""
