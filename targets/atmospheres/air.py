"""The air at a height, compiled: logarithms of density and pressure linear between rows of a table."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Air(NamedTuple):
    """An atmosphere as compiled code reads it; (n,) rows that rise in height.

    height_km       : above the ellipsoid
    log_density     : of kg/m^3
    log_pressure    : of Pa
    temperature_k   : linear between rows, constant above the last
    heat_ratio      : of specific heats, for the speed of sound
    """

    height_km: Floats
    log_density: Floats
    log_pressure: Floats
    temperature_k: Floats
    heat_ratio: float


@njit(cache=True)
def row_below(height_km, air):
    """The row from which a height is interpolated; the last pair of rows above the table, the first below it."""
    low, high = 0, air.height_km.size - 2
    while low < high:
        middle = (low + high + 1) // 2
        if air.height_km[middle] <= height_km:
            low = middle
        else:
            high = middle - 1
    return low


@njit(cache=True)
def density_kg_m3(height_km, air):
    k = row_below(height_km, air)
    share = (height_km - air.height_km[k]) / (air.height_km[k + 1] - air.height_km[k])
    return math.exp(air.log_density[k] + share * (air.log_density[k + 1] - air.log_density[k]))


@njit(cache=True)
def pressure_pa(height_km, air):
    k = row_below(height_km, air)
    share = (height_km - air.height_km[k]) / (air.height_km[k + 1] - air.height_km[k])
    return math.exp(air.log_pressure[k] + share * (air.log_pressure[k + 1] - air.log_pressure[k]))


@njit(cache=True)
def temperature_k(height_km, air):
    k = row_below(height_km, air)
    share = (height_km - air.height_km[k]) / (air.height_km[k + 1] - air.height_km[k])
    share = min(max(share, 0.0), 1.0)
    return air.temperature_k[k] + share * (air.temperature_k[k + 1] - air.temperature_k[k])


@njit(cache=True)
def scale_height_km(height_km, air):
    """Of density, between the rows about a height."""
    k = row_below(height_km, air)
    return (air.height_km[k + 1] - air.height_km[k]) / (air.log_density[k] - air.log_density[k + 1])


@njit(cache=True)
def sound_km_s(height_km, air):
    """Speed of sound, sqrt(ratio of heats * p / rho)."""
    return 1e-3 * math.sqrt(air.heat_ratio * pressure_pa(height_km, air) / density_kg_m3(height_km, air))


@njit(cache=True)
def height_of_pressure_km(wanted_pa, air):
    """The height at which a pressure is met; below the table by its lowest rows."""
    wanted = math.log(wanted_pa)
    low, high = 0, air.height_km.size - 2
    while low < high:
        middle = (low + high + 1) // 2
        if air.log_pressure[middle] >= wanted:
            low = middle
        else:
            high = middle - 1
    share = (wanted - air.log_pressure[low]) / (air.log_pressure[low + 1] - air.log_pressure[low])
    return air.height_km[low] + share * (air.height_km[low + 1] - air.height_km[low])


@njit(cache=True)
def height_of_temperature_km(wanted_k, air):
    """The greatest height below which it is hotter than wanted all the way down; NaN where the lowest row is cooler."""
    if air.temperature_k[0] < wanted_k:
        return math.nan
    for k in range(1, air.height_km.size):
        if air.temperature_k[k] < wanted_k:
            share = (wanted_k - air.temperature_k[k - 1]) / (air.temperature_k[k] - air.temperature_k[k - 1])
            return air.height_km[k - 1] + share * (air.height_km[k] - air.height_km[k - 1])
    return air.height_km[-1]
