"""Heating of the stagnation point of a cold wall: convective by gas, radiative where a correlation covers it. Compiled.

References
----------
[1] Sutton, Graves, "A general stagnation-point convective-heating equation for arbitrary gas mixtures", NASA TR R-376,
    1971: q = k sqrt(rho / R_n) V^3
[2] Tauber, Sutton, "Stagnation-point radiative heating relations for Earth and Mars entries", J. Spacecraft 28:40,
    1991: q = C R_n^a rho^b f(V). Earth and the f of Mars read second-hand; C, a, b of Mars from memory
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

# k of [1] by gas, kg^0.5/m: 1.7415e-4 air and nitrogen, 1.9027e-4 carbon dioxide; hydrogen and helium from memory.
CONVECTIVE = {"air": 1.7415e-4, "N2": 1.7415e-4, "CO2": 1.9027e-4, "H2/He": 6.6e-5}
# Which correlation of [2]: by body, not by gas, for it is made for each.
NONE, EARTH, MARS = range(3)
RADIATIVE = {"Earth": EARTH, "Mars": MARS}
NOT_IN_NUMBER = "radiation is not in this number; at Venus and Jupiter it can exceed it"

_EARTH_V = np.concatenate([np.arange(9000.0, 11001.0, 250.0), np.arange(11500.0, 16001.0, 500.0)])
_EARTH_F = np.array([
    1.5, 4.3, 9.7, 19.5, 35, 55, 81, 115, 151, 238, 359, 495, 660, 850, 1065, 1313, 1550, 1780, 2040,
])  # fmt: skip
_MARS_V = np.concatenate([
    np.array([6000.0, 6150.0, 6300.0, 6500.0, 6700.0, 6900.0, 7000.0]), np.arange(7200.0, 9001.0, 200.0),
])  # fmt: skip
_MARS_F = np.array([
    0.2, 1.0, 1.95, 3.42, 5.1, 7.1, 8.1, 10.2, 12.5, 14.8, 17.1, 19.2, 21.4, 24.1, 26.0, 28.9, 32.8,
])  # fmt: skip


@njit(cache=True)
def convective_w_cm2(density_kg_m3, speed_km_s, nose_m, k):
    """[1]; W/cm^2."""
    return 1e-4 * k * math.sqrt(density_kg_m3 / nose_m) * (1e3 * speed_km_s) ** 3


@njit(cache=True)
def radiative_w_cm2(density_kg_m3, speed_km_s, nose_m, which):
    """[2]; W/cm^2. Below the least speed of its table nothing, above the greatest the value there."""
    speed = 1e3 * speed_km_s
    if which == NONE or density_kg_m3 <= 0.0:
        return 0.0
    if which == EARTH:
        if speed < _EARTH_V[0]:
            return 0.0
        most = 1.0 if nose_m < 1.0 else (0.6 if nose_m <= 2.0 else 0.5)
        power = min(most, 1.072e6 * speed**-1.88 * density_kg_m3**-0.325)
        return 4.736e4 * nose_m**power * density_kg_m3**1.22 * np.interp(speed, _EARTH_V, _EARTH_F)
    if speed < _MARS_V[0]:
        return 0.0
    return 2.35e4 * nose_m**0.526 * density_kg_m3**1.19 * np.interp(speed, _MARS_V, _MARS_F)


def is_heating_known(body: str, speed_km_s: float) -> bool:
    """Whether the heat flux of an entry at this speed has its radiation in it."""
    most = {"Earth": _EARTH_V[-1], "Mars": _MARS_V[-1]}.get(body, 0.0)
    return bool(1e3 * speed_km_s <= most)
