"""What an orbit sees of the ground in its life: hours and passes below a height in a band of latitudes, counts, pixels.

Every sample has its own height. A counter looks at discs of ground of one radius: of the time in the band, the share
counts in which such a disc lies within a height of the point below, for a disc that may lie anywhere in the band:

    t = time in the band * min(1, cap of angle h/R / area of the band),   Z^2 = sum (f(h) d)^2 C t     (instruments.py)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.orbit.mean_life import Life
from swarm.encounter.orbit.mean_rates import look
from swarm.encounter.orbit.surroundings import Surroundings

Floats = NDArray[np.float64]

# Points of a revolution: 0.5 deg. A pass below a height at the pole of an eccentric orbit is some degrees long.
_POINTS = 720
_BETWEEN = 4  # looks between two steps of a life
_LEAST_KM = 0.1  # no height over a disc is less


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
    south, north = np.sin(np.radians([band.south_deg, band.north_deg]))
    asked = np.array([band.below_km, south, north, band.share_of_sphere])
    worth = np.zeros(3) if counter is None else np.array(
        [counter.radius_km, counter.contrast, counter.counts_per_s]
    )  # fmt: skip
    by_latitude = np.zeros(18)
    end = min(float(life.tdb_s[-1]), until_tdb_s)
    sums = _sum(life.tdb_s, life.elements, life.a_km, end, asked, worth, around, by_latitude)
    return Seen(sums[0] / 3600.0, sums[1], sums[2], math.sqrt(sums[3]), by_latitude / 3600.0)


@njit(cache=True)
def _sum(epochs, elements, a, end, asked, worth, around, by_latitude):
    """Seconds, passes, least height and squared significance in the band; by_latitude gets seconds below the height."""
    work = (np.empty(_POINTS), np.empty(_POINTS), np.empty(_POINTS), np.empty(_POINTS))
    period = 2.0 * math.pi * math.sqrt(a**3 / around.field.gm_km3_s2)
    seconds = passes = squared = 0.0
    lowest = math.inf
    for k in range(epochs.size - 1):
        begin, last = epochs[k], min(epochs[k + 1], end)
        if last <= begin:
            break
        span = (last - begin) / _BETWEEN
        for m in range(_BETWEEN):
            # the orbit in the middle of a short span, straight between two steps
            t = begin + (m + 0.5) * span
            share = (t - begin) / (epochs[k + 1] - begin)
            y = (1.0 - share) * elements[k] + share * elements[k + 1]
            more = _revolution(t, y, a, span, asked, worth, around, by_latitude, work)
            seconds += more[0]
            passes += span / period * more[1]
            lowest = min(lowest, more[2])
            squared += more[3]
    return seconds, passes, lowest, squared


@njit(cache=True)
def _revolution(t, y, a, span, asked, worth, around, by_latitude, work):
    """The same of revolutions that fill a span: seconds, stretches inside, least height, squared significance.

    Between two points height, sine of latitude and the time that an angle takes go straight: a stretch begins where the
    limit is met, not at the next point.
    """
    heights, sines, longitudes, shares = work
    look(t, y, a, around, _POINTS, heights, sines, longitudes, shares)
    seconds = squared = 0.0
    lowest, runs = math.inf, 0
    joined = _inside(heights[_POINTS - 1], sines[_POINTS - 1], asked)
    for j in range(_POINTS):
        i = j - 1  # -1 is the last
        low, high = _part_below(heights[i], heights[j], asked[0], 0.0, 1.0)
        _to_bin(by_latitude, i, low, high, sines, shares, span)
        low, high = _part_below(sines[i], sines[j], asked[2], low, high)
        low, high = _part_below(-sines[i], -sines[j], -asked[1], low, high)
        if high <= low:
            joined = False
            continue
        runs += 0 if joined and low == 0.0 else 1
        joined = high == 1.0
        time = _time(i, low, high, shares, span)
        seconds += time
        ends = _between(heights[i], heights[j], low), _between(heights[i], heights[j], high)
        lowest = min(lowest, ends[0], ends[1])
        above = max(0.5 * (ends[0] + ends[1]), _LEAST_KM)
        cap = 0.5 * (1.0 - math.cos(min(above / around.radius_km, math.pi)))
        shown = (1.0 - 1.0 / math.sqrt(1.0 + (worth[0] / above) ** 2)) * worth[1]
        squared += shown * shown * worth[2] * time * min(cap / asked[3], 1.0)
    if seconds > 0.0 and runs == 0:
        runs = 1  # a whole revolution inside is one pass
    return seconds, runs, lowest, squared


@njit(cache=True)
def _part_below(first, second, limit, low, high):
    """The part of [low, high], in shares of the way between two points, where what goes straight is at most limit."""
    if first <= limit and second <= limit:
        return low, high
    if first > limit and second > limit:
        return 1.0, 0.0
    at = (limit - first) / (second - first)
    return (low, min(high, at)) if first <= limit else (max(low, at), high)


@njit(cache=True)
def _between(first, second, share):
    return first + share * (second - first)


@njit(cache=True)
def _time(i, low, high, shares, span):
    """Seconds of a part of the way from point i to the next."""
    return (high - low) * _between(shares[i], shares[i + 1], 0.5 * (low + high)) * span


@njit(cache=True)
def _to_bin(by_latitude, i, low, high, sines, shares, span):
    """Seconds below the height to the 10 deg of latitude where the middle of the part is."""
    if high <= low:
        return
    sine = min(max(_between(sines[i], sines[i + 1], 0.5 * (low + high)), -1.0), 1.0)
    by_latitude[min(int((math.degrees(math.asin(sine)) + 90.0) / 10.0), 17)] += _time(
        i, low, high, shares, span
    )


@njit(cache=True)
def _inside(height, sine, asked):
    return height <= asked[0] and asked[1] <= sine <= asked[2]
