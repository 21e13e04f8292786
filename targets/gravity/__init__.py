"""Gravity of bodies with mass as spherical harmonics: what moves the low orbit of a probe.

The Moon's field ships: zonals to degree 50, which decide how long a low orbit lives, and all terms to degree 10, which
move it within a turn of the Moon. A fuller field is the user's own file, in the archive's SHADR or the ICGEM layout.
Other bodies have what their table of masses says (J2, J4) and the few terms of their figure that are known.
"""
