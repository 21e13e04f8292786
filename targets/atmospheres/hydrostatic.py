"""An atmosphere at rest from its temperature by pressure: dh = -(R T / (M g)) d ln p, g falling with the square."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

GAS_CONSTANT_J_MOL_K = 8.314_462_618  # exact since 2019
_STEPS = 100


def hydrostatic_rows(
    pressure_pa: Floats,
    temperature_k: Floats,
    *,
    at_zero_pa: float,
    molar_g: float,
    gravity_m_s2: float,
    radius_km: float,
) -> list[Floats]:
    """Rows of height km, density, pressure, temperature, rising in height; temperature linear in ln p.

    pressure_pa, temperature_k : (n,) the stated temperatures, falling in pressure
    at_zero_pa                 : pressure at height 0
    gravity_m_s2, radius_km    : there; what of gravity is the body's turning is in the first
    """
    stated = np.log(pressure_pa)
    log_p = np.linspace(stated[0], stated[-1], _STEPS)
    temperature = np.interp(log_p[::-1], stated[::-1], temperature_k[::-1])[::-1]
    gas = 1e3 * GAS_CONSTANT_J_MOL_K / molar_g
    # in geopotential height z the gravity is one number; h = r z / (r - z)
    rise = gas * temperature / gravity_m_s2 * 1e-3
    middle = 0.5 * (rise[1:] + rise[:-1]) * -np.diff(log_p)
    z = np.concatenate([[0.0], np.cumsum(middle)])
    z = z - np.interp(-np.log(at_zero_pa), -log_p, z)
    pressure = np.exp(log_p)
    return [radius_km * z / (radius_km - z), pressure / (gas * temperature), pressure, temperature]
