"""A low orbit in the full field: turning, all its terms, the bodies beside it: as refinement flies it. Compiled.

The integrator is the pair of order 8 of `targets.motion.order8`. Periapses are found where the range turns.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from swarm.encounter.orbit.surroundings import Surroundings, fill_axes, fill_others, ground_radius, pull_at
from targets.base.constants import DAY_S
from targets.motion.order8 import C, error_of, next_factor, to_end, to_stage

Floats = NDArray[np.float64]

# A share of place and speed a step: metres in a month (tests).
TOLERANCE = 1e-10
_STEPS_MAX = 2_000_000
# Between two looks at the ground a step goes no further than this share of a revolution.
_SHARE_OF_TURN = 1.0 / 24.0
# r.v at which the range has turned, km^2/s: half a metre a second off, which is a metre of height.
_TURNED = 1e-2


@dataclass(frozen=True, eq=False)
class Flown:
    """States (n, 6) at epochs (n,), ICRF about the body's centre; heights (m,) over the ellipsoid at each periapsis.

    hit     : whether it met the ground, which is where the last state is then
    """

    tdb_s: Floats
    states: Floats
    low_tdb_s: Floats
    low_km: Floats
    hit: bool


def fly(
    state: ArrayLike, begin_tdb_s: float, days: float, around: Surroundings, *, every_s: float = DAY_S,
    tolerance: float = TOLERANCE,
) -> Flown:  # fmt: skip
    """Follow a probe for so many days or until it meets the ground; states are kept at least `every_s` apart."""
    y = np.array(state, dtype=float)
    rows = int(days * DAY_S / every_s) + 3
    kept, lows = np.empty((rows, 7)), np.empty((200_000, 2))
    count, low_count, hit = _fly(y, begin_tdb_s, days * DAY_S, every_s, tolerance, around, kept, lows)
    kept, lows = kept[:count], lows[:low_count]
    return Flown(kept[:, 0], kept[:, 1:], lows[:, 0], lows[:, 1], bool(hit))


@njit(cache=True)
def rates_in_field(t, y, around, work, out):
    """Fill out (6,) with the rates of a state (6,); work: room for axes, places of others, and two of harmonics."""
    axes, places, v, w = work
    fill_axes(t, around, axes)
    fill_others(t, around, places)
    out[0], out[1], out[2] = y[3], y[4], y[5]
    pull_at(y[:3], around, axes, places, v, w, True, out[3:6])


@njit(cache=True)
def _height(t, y, around, axes):
    """Height over the ellipsoid."""
    fill_axes(t, around, axes)
    r = math.sqrt(y[0] * y[0] + y[1] * y[1] + y[2] * y[2])
    sine = (axes[2, 0] * y[0] + axes[2, 1] * y[1] + axes[2, 2] * y[2]) / r
    return r - ground_radius(sine, around) + around.ground_km


@njit(cache=True)
def _step(t, y, h, around, stages, place, work, new, tolerance):
    for s in range(1, 12):
        to_stage(s, y, h, stages, place)
        rates_in_field(t + C[s] * h, place, around, work, stages[s])
    to_end(y, h, stages, new)
    rates_in_field(t + h, new, around, work, stages[12])
    return error_of(h, stages, new, tolerance)


@njit(cache=True)
def _low(t, y, h, closing, opening, around, stages, place, work, there, axes, tolerance):
    """Epoch and height of the least range within a step: r.v is near straight over it, and secants find its zero."""
    first, last, r0, r1 = 0.0, h, closing, opening
    tried = h
    for _ in range(4):
        tried = first - r0 * (last - first) / (r1 - r0)
        _step(t, y, tried, around, stages, place, work, there, tolerance)
        value = there[0] * there[3] + there[1] * there[4] + there[2] * there[5]
        if value < 0.0:
            first, r0 = tried, value
        else:
            last, r1 = tried, value
        if abs(value) < _TURNED:
            break
    return t + tried, _height(t + tried, there, around, axes)


@njit(cache=True)
def _fly(y, begin, span, every, tolerance, around, kept, lows):
    """Fill states kept and lowest passes; return how many of each, and whether the ground was met."""
    columns = around.field.c.shape[1] + 2
    axes, places = np.empty((3, 3)), np.empty((around.other_gm.size, 3))
    work = (np.empty((3, 3)), places, np.empty((3, columns)), np.empty((3, columns)))
    stages, place, new, there = np.empty((13, 6)), np.empty(6), np.empty(6), np.empty(6)
    r = math.sqrt(y[0] ** 2 + y[1] ** 2 + y[2] ** 2)
    longest = _SHARE_OF_TURN * 2.0 * math.pi * math.sqrt(r**3 / around.field.gm_km3_s2)
    done, h, next_kept, count, low_count = 0.0, 0.2 * longest, every, 1, 0
    kept[0, 0], kept[0, 1:] = begin, y
    rates_in_field(begin, y, around, work, stages[0])
    closing = y[0] * y[3] + y[1] * y[4] + y[2] * y[5]
    for _ in range(_STEPS_MAX):
        h = min(h, span - done)
        error = _step(begin + done, y, h, around, stages, place, work, new, tolerance)
        if not math.isfinite(error):
            break
        factor = next_factor(error)
        if error > 1.0:
            h *= min(factor, 0.9)
            continue
        t, opening = begin + done, new[0] * new[3] + new[1] * new[4] + new[2] * new[5]
        if closing < 0.0 and opening >= 0.0 and low_count < lows.shape[0]:
            lows[low_count, 0], lows[low_count, 1] = _low(
                t, y, h, closing, opening, around, stages, place, work, there, axes, tolerance
            )
            low_count += 1
            rates_in_field(t + h, new, around, work, stages[12])
        closing = opening
        y[:] = new
        stages[0, :] = stages[12]
        done += h
        under = _height(begin + done, y, around, axes) <= around.ground_km
        over = under or done >= span - 1e-6
        if (over or done >= next_kept) and count < kept.shape[0]:
            kept[count, 0], kept[count, 1:] = begin + done, y
            count += 1
            next_kept += every
        if over:
            return count, low_count, under
        h = min(h * factor, longest)
    return count, low_count, False
