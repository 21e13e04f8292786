"""The one door to the Galilean moons' series: L1.2, through a library.

The series is Lainey, Duriez, Vienne 2006, "Synthetic representation of the Galilean satellites' orbital motions from L1
ephemerides", A&A 456:783; the library keeps a shortened form of it, good to some hundred kilometres.
"""

from __future__ import annotations

import astronomy
import numpy as np
from numpy.typing import NDArray

from targets.base.constants import AU_KM, DAY_S

MOONS = ("Io", "Europa", "Ganymede", "Callisto")
SOURCE = "L1.2 series (Lainey et al. 2006)"
# Own estimate: the library's documentation gives no figure, the shortened series drops terms of some 1e-4 of a radius.
ERROR_KM = 300.0
_VELOCITY_S = 60.0


def galilean_states(tdb_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """States (4, n, 6) about Jupiter's centre, ICRF, km and km/s, in the order of MOONS.

    TT is taken for TDB: 2 ms are 40 m of Io's path. Velocities are slopes of the positions, so that both interpolate
    as one curve.
    """
    out = np.empty((len(MOONS), len(tdb_s), 6))
    for k, t in enumerate(tdb_s):
        before, now, later = (_positions_km(float(t) + shift) for shift in (-_VELOCITY_S, 0.0, _VELOCITY_S))
        out[:, k, :3] = now
        out[:, k, 3:] = (later - before) / (2.0 * _VELOCITY_S)
    return out


def _positions_km(tdb_s: float) -> NDArray[np.float64]:
    found = astronomy.JupiterMoons(astronomy.Time.FromTerrestrialTime(tdb_s / DAY_S))
    moons = (found.io, found.europa, found.ganymede, found.callisto)
    return AU_KM * np.array([(moon.x, moon.y, moon.z) for moon in moons])
