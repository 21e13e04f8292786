"""States that no mothership has: what was read is of another body, in other units, or damaged."""

from __future__ import annotations

import math

import numpy as np

from targets.base.constants import AU_KM, GM_SUN_KM3_S2

_FAR_AU, _FAST_KM_S = 100.0, 100.0  # own choices: beyond every mothership


def no_mothership(state: np.ndarray) -> str | None:
    """Return how far and how fast, where a (6,) state, km and km/s, is farther or faster than any mothership."""
    range_km, speed_km_s = math.hypot(*state[:3]), math.hypot(*state[3:])
    # twice the speed of escape from the Sun: fast enough for any passage close to it
    fast_km_s = max(_FAST_KM_S, 2.0 * math.sqrt(2.0 * GM_SUN_KM3_S2 / max(range_km, 1.0)))
    if range_km <= _FAR_AU * AU_KM and speed_km_s <= fast_km_s:
        return None
    return f"{range_km / AU_KM:.4g} au from the center, {speed_km_s:.4g} km/s"
