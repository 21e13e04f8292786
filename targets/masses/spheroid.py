"""Height over a spheroid and its upward direction, compiled: for paths that ask for it at every step."""

from __future__ import annotations

import math

from numba import njit

_NEWTON_STEPS = 2  # from the reduced latitude: 1e-14 of the radius for any height met here


@njit(cache=True)
def spheroid_height(rho, z, a, c):
    """Height, and (cos, sin) of the latitude of the normal, of a place `rho` from the axis and `z` along it.

    a, c : equatorial and polar radius
    """
    if a == c:
        r = math.sqrt(rho * rho + z * z)
        return r - a, rho / r, z / r
    squash, excess = c / a, (a * a - c * c) / a
    # (s, k): sine and cosine of the reduced latitude of the foot; each step turns them, without a sine
    size = math.sqrt(z * z + squash * squash * rho * rho)
    s, k = z / size, squash * rho / size
    for _ in range(_NEWTON_STEPS):
        f = rho * s - z * squash * k - excess * s * k
        turn = f / (rho * k + z * squash * s - excess * (k * k - s * s))
        s, k = s - k * turn, k + s * turn
        size = math.sqrt(s * s + k * k)
        s, k = s / size, k / size
    size = math.sqrt(s * s + squash * squash * k * k)
    up, along = s / size, squash * k / size
    return (rho - a * k) * along + (z - c * s) * up, along, up
