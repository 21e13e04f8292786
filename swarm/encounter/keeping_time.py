"""The date of an arrival by the state before it, apart from where it is aimed: what a mothership must make good again.

An entry is asked for at a time, so that the mothership that aims it comes early or late itself. The epoch at the
interface hangs on both, on time along the asymptote and on |B|: of Kepler's hyperbola (Vallado 2013, sec. 2.2), with
a = mu/v_inf^2, e^2 = 1 + (B/a)^2, n = v_inf^3/mu, and from a place far out on the asymptote,

    n t = const + ln e - (e sinh H - H),   e cosh H = 1 + r/a,   r the radius of the interface.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def epoch_by_aim_s_km(b_km: float, *, v_inf_km_s: float, radius_km: float, mu_km3_s2: float) -> float:
    """d(epoch at a radius)/d|B| of what comes along the asymptote at the same time; the path must reach that radius."""
    a, rate = mu_km3_s2 / v_inf_km_s**2, v_inf_km_s**3 / mu_km3_s2
    e, reached = math.hypot(1.0, b_km / a), 1.0 + radius_km / a
    sine = math.sqrt(reached**2 - e**2)
    by_e = (1.0 / e - (reached - e**2) / (e * sine)) / rate
    return by_e * b_km / (a**2 * e)


def fixed_aim(
    by_state: Floats, b_km: Floats, *, v_inf_km_s: float, radius_km: float, mu_km3_s2: float
) -> Floats:
    """(3, 6) d(B.T, B.R, time along the asymptote) by a state, from d(B.T, B.R, epoch at a radius)."""
    b = float(np.hypot(*b_km))
    slope = epoch_by_aim_s_km(b, v_inf_km_s=v_inf_km_s, radius_km=radius_km, mu_km3_s2=mu_km3_s2)
    out = by_state.copy()
    out[2] -= slope * (b_km / b) @ by_state[:2]
    return out
