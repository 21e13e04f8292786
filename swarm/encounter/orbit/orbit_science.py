"""What an orbit sees of the ground in its life: hours and passes below a height in a band of latitudes, counts, pixels.

Every sample has its own height. A counter looks at discs of ground of one radius: of the time in the band, the share
counts in which such a disc lies within a height of the point below, for a disc that may lie anywhere in the band:

    t = time in the band * min(1, cap of angle h/R / area of the band),   Z^2 = sum (f(h) d)^2 C t     (instruments.py)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.instruments import share_from_disc
from swarm.encounter.orbit.mean_life import Life
from swarm.encounter.orbit.mean_rates import look
from swarm.encounter.orbit.surroundings import Surroundings

Floats = NDArray[np.float64]

# Points of a revolution: 0.5 deg. A pass below a height at the pole of an eccentric orbit is some degrees long.
_POINTS = 720
_BETWEEN = 4  # looks between two steps of a life


@dataclass(frozen=True)
class Band:
    """Below a height over the ellipsoid, between two geocentric latitudes."""

    below_km: float
    south_deg: float = -90.0
    north_deg: float = 90.0

    @property
    def share_of_sphere(self) -> float:
        return 0.5 * (math.sin(math.radians(self.north_deg)) - math.sin(math.radians(self.south_deg)))


@dataclass(frozen=True)
class Counter:
    """A counter of the leakage of the ground: disc radius km, contrast of the disc, counts a second."""

    radius_km: float
    contrast: float
    counts_per_s: float


@dataclass(frozen=True, eq=False)
class Seen:
    """What came of a life; `hours_by_latitude`: (18,) below the height, in bands of 10 deg from the south."""

    hours: float
    passes: float
    lowest_km: float
    count_sigma: float
    hours_by_latitude: Floats


def what_is_seen(
    life: Life,
    band: Band,
    around: Surroundings,
    *,
    counter: Counter | None = None,
    until_tdb_s: float = math.inf,
) -> Seen:
    """Sum over a life, or its first part."""
    heights, sines = np.empty(_POINTS), np.empty(_POINTS)
    longitudes, shares = np.empty(_POINTS), np.empty(_POINTS)
    period = 2.0 * math.pi * math.sqrt(life.a_km**3 / around.field.gm_km3_s2)
    edges = np.sin(np.radians([band.south_deg, band.north_deg]))
    hours = passes = squared = 0.0
    lowest = math.inf
    by_latitude = np.zeros(18)
    end = min(float(life.tdb_s[-1]), until_tdb_s)
    for t, span, elements in _looks(life, end):
        look(t, elements, life.a_km, around, _POINTS, heights, sines, longitudes, shares)
        low = heights <= band.below_km
        seconds = shares * span
        by_latitude += np.histogram(
            np.degrees(np.arcsin(sines[low])), bins=18, range=(-90.0, 90.0), weights=seconds[low]
        )[0]
        inside = low & (sines >= edges[0]) & (sines <= edges[1])
        if not inside.any():
            continue
        hours += float(seconds[inside].sum()) / 3600.0
        passes += span / period * _runs(inside)
        lowest = min(lowest, float(heights[inside].min()))
        if counter is not None:
            squared += _squared(heights[inside], seconds[inside], counter, band, around.radius_km)
    return Seen(hours, passes, lowest, math.sqrt(squared), by_latitude / 3600.0)


def _looks(life: Life, end: float) -> list[tuple[float, float, Floats]]:
    """Middles of short spans of a life, how long they are, and the elements there, straight between two steps."""
    found = []
    for k in range(len(life.tdb_s) - 1):
        begin, last = float(life.tdb_s[k]), min(float(life.tdb_s[k + 1]), end)
        if last <= begin:
            break
        whole = float(life.tdb_s[k + 1]) - begin
        span = (last - begin) / _BETWEEN
        for m in range(_BETWEEN):
            t = begin + (m + 0.5) * span
            share = (t - begin) / whole
            found.append((t, span, (1.0 - share) * life.elements[k] + share * life.elements[k + 1]))
    return found


def _runs(inside: NDArray[np.bool_]) -> int:
    """How many stretches of a closed revolution are inside."""
    return max(int((inside & ~np.roll(inside, 1)).sum()), 1)


def _squared(heights: Floats, seconds: Floats, counter: Counter, band: Band, radius_km: float) -> float:
    above = np.maximum(heights, 0.1)
    cap = 0.5 * (1.0 - np.cos(np.minimum(above / radius_km, math.pi)))
    near = np.minimum(cap / band.share_of_sphere, 1.0)
    shown = share_from_disc(counter.radius_km, above) * counter.contrast
    return float((shown**2 * counter.counts_per_s * seconds * near).sum())
