"""The pulling bodies: sampled once from DE440, interpolated in compiled code.

Heliocentric ICRF states on a one-day grid. Between grid points a cubic Hermite polynomial is good to
about 20 km for Mercury and 3 km for the Moon, far below what a kick on a small body can notice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numba import njit

from targets.base import constants as k
from targets.ephemeris import spice

# (SPICE id, name, GM). The first eight are the planet systems that pull from afar; close to the Earth its
# system (row EARTH_SYSTEM) is replaced by the Earth and the Moon, the last two rows.
BODIES = (
    (1, "Mercury", k.GM_MERCURY_KM3_S2),
    (2, "Venus", k.GM_VENUS_KM3_S2),
    (3, "Earth and Moon", k.GM_EARTH_KM3_S2 + k.GM_MOON_KM3_S2),
    (4, "Mars", k.GM_MARS_SYSTEM_KM3_S2),
    (5, "Jupiter", k.GM_JUPITER_SYSTEM_KM3_S2),
    (6, "Saturn", k.GM_SATURN_SYSTEM_KM3_S2),
    (7, "Uranus", k.GM_URANUS_SYSTEM_KM3_S2),
    (8, "Neptune", k.GM_NEPTUNE_SYSTEM_KM3_S2),
    (399, "Earth", k.GM_EARTH_KM3_S2),
    (301, "Moon", k.GM_MOON_KM3_S2),
)
SYSTEMS = 8
EARTH_SYSTEM, EARTH, MOON = 2, 8, 9
GRID_S = k.DAY_S


@dataclass(frozen=True)
class PlanetTable:
    """Pulling bodies on a uniform grid of epochs.

    start_tdb_s : float            epoch of the first grid point
    step_s      : float            grid spacing
    states      : (10, m, 6)       heliocentric ICRF km, km/s, rows as in BODIES
    gm_km3_s2   : (10,)            zero where the body is switched off
    """

    start_tdb_s: float
    step_s: float
    states: np.ndarray
    gm_km3_s2: np.ndarray

    @property
    def end_tdb_s(self) -> float:
        return self.start_tdb_s + self.step_s * (self.states.shape[1] - 1)

    def kernel_table(self) -> tuple[np.ndarray, float, float, np.ndarray]:
        """What compiled code takes: states, start, step, GM."""
        return self.states, self.start_tdb_s, self.step_s, self.gm_km3_s2

    def without(self, *names: str) -> PlanetTable:
        """The same table with some bodies' pull switched off (for tests and what-ifs)."""
        unknown = set(names) - {name for _, name, _ in BODIES}
        if unknown:
            raise ValueError(f"no such pulling bodies: {sorted(unknown)}")
        gm = np.array(
            [0.0 if name in names else gm for (_, name, _), gm in zip(BODIES, self.gm_km3_s2, strict=True)]
        )
        return PlanetTable(self.start_tdb_s, self.step_s, self.states, gm)

    def state(self, body: int, tdb_s: np.ndarray | float) -> np.ndarray:
        """Interpolated (n, 6) states of one row of BODIES."""
        return _interpolate_many(
            self.states[body], self.start_tdb_s, self.step_s, np.atleast_1d(tdb_s).astype(float)
        )


def sample_planets(first_tdb_s: float, last_tdb_s: float) -> PlanetTable:
    """Sample every pulling body from `first` to `last` (either order), a few grid points wider."""
    low = math.floor(min(first_tdb_s, last_tdb_s) / GRID_S) - 3
    high = math.ceil(max(first_tdb_s, last_tdb_s) / GRID_S) + 3
    return _sampled(low, high)


@lru_cache(maxsize=16)
def _sampled(low: int, high: int) -> PlanetTable:
    """Kept: the stages of a run ask for the same days, half a second each time. Nobody writes into the states."""
    epochs = np.arange(low, high + 1) * GRID_S
    states = np.stack([spice.sample(body, epochs) for body, _, _ in BODIES])
    return PlanetTable(float(epochs[0]), GRID_S, states, np.array([gm for _, _, gm in BODIES]))


@njit(cache=True)
def hermite_position(states, start_s, step_s, t):
    """Position on a uniform grid of (m, 6) states by the cubic Hermite polynomial."""
    u = (t - start_s) / step_s
    i = int(math.floor(u))
    i = min(max(i, 0), states.shape[0] - 2)
    u -= i
    w = 1.0 - u
    h00 = (1.0 + 2.0 * u) * w * w
    h01 = (1.0 + 2.0 * w) * u * u
    h10 = u * w * w * step_s
    h11 = -w * u * u * step_s
    a, b = states[i], states[i + 1]
    return (
        h00 * a[0] + h01 * b[0] + h10 * a[3] + h11 * b[3],
        h00 * a[1] + h01 * b[1] + h10 * a[4] + h11 * b[4],
        h00 * a[2] + h01 * b[2] + h10 * a[5] + h11 * b[5],
    )


@njit(cache=True)
def hermite_velocity(states, start_s, step_s, t):
    """Derivative of `hermite_position`."""
    u = (t - start_s) / step_s
    i = int(math.floor(u))
    i = min(max(i, 0), states.shape[0] - 2)
    u -= i
    w = 1.0 - u
    slope = 6.0 * u * w / step_s
    h10 = w * (1.0 - 3.0 * u)
    h11 = u * (1.0 - 3.0 * w)
    a, b = states[i], states[i + 1]
    return (
        slope * (b[0] - a[0]) + h10 * a[3] + h11 * b[3],
        slope * (b[1] - a[1]) + h10 * a[4] + h11 * b[4],
        slope * (b[2] - a[2]) + h10 * a[5] + h11 * b[5],
    )


@njit(cache=True)
def _interpolate_many(states, start_s, step_s, epochs):
    out = np.empty((epochs.shape[0], 6))
    for n in range(epochs.shape[0]):
        r = hermite_position(states, start_s, step_s, epochs[n])
        v = hermite_velocity(states, start_s, step_s, epochs[n])
        for c in range(3):
            out[n, c] = r[c]
            out[n, 3 + c] = v[c]
    return out
