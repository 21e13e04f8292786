"""Aim points that were found before in this process.

To find one is nine tenths of judging an opportunity, and it hangs on the delivery, the Sun, the optics and the camera's
view alone. The same opportunities are judged again and again with something else changed (radio, power, chances,
margins, the fuel in the tanks): what was found for the very same numbers, to the last bit, is then looked up.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.aim import best_aim

# Aim points kept, a power of two: own choice, room for some ten thousand opportunities in 9 MB.
_KEPT = 1 << 16
# What an aim point hangs on: three of the covariance, two of the Sun, eight of the optics, two of the view; and what
# is found: T and R in km, the averaged quality.
_ASKED, _FOUND = 15, 3


@cache
def known_aims() -> NDArray[np.float64]:
    """This process's own; nothing is equal to what is not there yet."""
    return np.full((_KEPT, _ASKED + _FOUND), np.nan)


@njit(cache=True)
def aim_as_known(cov, sun, optics, along, known):
    """`best_aim`, looked up where the same was asked before; known : (n, 18), `known_aims`."""
    asked = (
        cov[0], cov[1], cov[2], sun[0], sun[1], optics.v_rel_km_s, optics.diameter_km, optics.pixel_rad,
        optics.pixels_most, optics.slew_limit_rad_s, optics.keepout_km, optics.smear_s, optics.dwell_s,
        along[0], along[1],
    )  # fmt: skip
    mixed = 0.0
    for i in range(_ASKED):
        mixed += asked[i] * math.sqrt(i + 2.0)
    if not math.isfinite(mixed):
        return best_aim(cov, sun, optics, along)
    # the last bits of a mantissa are as good as drawn
    row = known[int(abs(math.frexp(mixed)[0]) * 2.0**53) & (_KEPT - 1)]
    same = True
    for i in range(_ASKED):
        same &= row[i] == asked[i]
    if not same:
        found = best_aim(cov, sun, optics, along)
        for i in range(_ASKED):
            row[i] = asked[i]
        for i in range(_FOUND):
            row[_ASKED + i] = found[i]
    return row[_ASKED], row[_ASKED + 1], row[_ASKED + 2]
