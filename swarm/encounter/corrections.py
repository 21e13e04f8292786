"""When a probe corrects its path, and what a correction does to the miss. Compiled; km, km/s, s; B-plane T, R.

A velocity change dv at time t moves the miss by M dv, M = (T, R) Phi_rv, a position change by N = (T, R) Phi_rr
(two-body transition matrix from t to the encounter). Corrections (trajectory correction manoeuvres) come so many days
after the burn, so many days before the encounter, and once the camera has seen the target.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.error_model import CORRECTIONS_MAX
from swarm.reach.arcs.transition import fill_transition
from targets.base.constants import DAY_S, GM_SUN_KM3_S2
from targets.motion.twobody import drift

Floats = NDArray[np.float64]

# Kinds of corrections and what they are called in the run's table `corrections`: the first two rest on tracking from
# the ground, the last on images of the target.
AFTER_BURN, BEFORE_ENCOUNTER, IN_SIGHT = 0, 1, 2
KINDS = ("after-burn", "before-encounter", "in-sight")
# A ground correction where the smaller singular value of M is under this share of the time left is left out: near such
# an arc geometry it would cost many times what the next one does (own choice).
_WEAK = 0.05
# How many sigmas of the miss the first correction in sight leaves room for in the camera's range (own choice).
_ROOM_SIGMAS = 3.0
# Own tracking finds a target that passes within this share of the range at which it is seen head-on.
_ROOM_LEAST = 0.5
# The first sighting gets a correction of its own if it comes this many times earlier than the last one (own choice).
_EARLY = 1.5


@njit(cache=True)
def fill_influence(state, axes, before_s, by_velocity, by_position):
    """Write d(S, T, R) at the encounter / d velocity and d position `before_s` earlier, (3, 3) each.

    state : six numbers at the encounter; axes : (3, 3) rows S, T, R
    """
    then = drift(state[0], state[1], state[2], state[3], state[4], state[5], GM_SUN_KM3_S2, -before_s)
    stm = np.zeros((6, 6))
    fill_transition(then[0], then[1], then[2], then[3], then[4], then[5], GM_SUN_KM3_S2, before_s, stm)
    for i in range(3):
        for j in range(3):
            vel = pos = 0.0
            for k in range(3):
                pos += axes[i, k] * stm[k, j]
                vel += axes[i, k] * stm[k, 3 + j]
            by_position[i, j] = pos
            by_velocity[i, j] = vel


@njit(cache=True)
def add_outer(rows, scale, out):
    """Add scale * (rows 1, 2)(rows 1, 2)^T to out = (TT, RR, TR)."""
    for j in range(3):
        out[0] += scale * rows[1, j] * rows[1, j]
        out[1] += scale * rows[2, j] * rows[2, j]
        out[2] += scale * rows[1, j] * rows[2, j]


@njit(cache=True)
def _fill_inverse(by_velocity, inverse):
    """Write M^+ = M^T (M M^T)^-1, (3, 2); return the smaller singular value of M."""
    tt = rr = tr = 0.0
    for j in range(3):
        tt += by_velocity[1, j] ** 2
        rr += by_velocity[2, j] ** 2
        tr += by_velocity[1, j] * by_velocity[2, j]
    det = tt * rr - tr * tr
    middle = 0.5 * (tt + rr)
    smaller = max(middle - math.sqrt(max(middle * middle - det, 0.0)), 0.0)
    if det <= 0.0:
        return 0.0
    for j in range(3):
        inverse[j, 0] = (rr * by_velocity[1, j] - tr * by_velocity[2, j]) / det
        inverse[j, 1] = (tt * by_velocity[2, j] - tr * by_velocity[1, j]) / det
    return math.sqrt(smaller)


class Corrections(NamedTuple):
    """Up to CORRECTIONS_MAX corrections in order of time; arrays with one entry each."""

    planned: int
    optical: int  # how many of them wait for the target to be seen
    before_s: Floats  # before the encounter
    kind: Floats  # AFTER_BURN, BEFORE_ENCOUNTER or IN_SIGHT
    influence: Floats  # (k, 3, 3) rows S, T, R by velocity
    inverse: Floats  # (k, 3, 2)
    unknown: Floats  # (k, 3) covariance of what tracking does not know, TT, RR, TR
    unknown_along: Floats  # (k,) and its variance along S


@njit(cache=True)
def sight_s(range_km, speed_km_s, miss_sigma_km, along_sigma_km):
    """Time before closest approach from which the target is surely seen, whatever the miss and the error along."""
    room = _ROOM_SIGMAS * miss_sigma_km
    seen_km = math.sqrt(max(range_km * range_km - room * room, 0.0)) - _ROOM_SIGMAS * along_sigma_km
    return max(seen_km, _ROOM_LEAST * range_km) / speed_km_s


@njit(cache=True)
def _sorted_times(cruise_s, seen_s, errors, with_optical, times, kinds):
    """Fill times (before the encounter, falling) and kinds; return how many, and how many are optical."""
    n = 0
    for after in errors.after_burn_s:
        if cruise_s - after > errors.last_before_s:
            times[n], kinds[n] = cruise_s - after, AFTER_BURN
            n += 1
    for before in errors.before_s:
        if errors.last_before_s < before < cruise_s - DAY_S:
            times[n], kinds[n] = before, BEFORE_ENCOUNTER
            n += 1
    optical = 0
    first = min(seen_s - errors.turnaround_s, cruise_s - DAY_S)
    if with_optical and first >= errors.last_min_s:
        last = min(first, errors.last_before_s)
        if first >= _EARLY * last:
            times[n], kinds[n] = first, IN_SIGHT
            n, optical = n + 1, optical + 1
        times[n], kinds[n] = last, IN_SIGHT
        n, optical = n + 1, optical + 1
    _sort_falling(n, times, kinds)
    return n, optical


@njit(cache=True)
def _sort_falling(n, times, kinds):
    """Insertion sort of a handful; equal times keep their order."""
    for i in range(1, n):
        time, kind, j = times[i], kinds[i], i
        while j > 0 and times[j - 1] < time:
            times[j], kinds[j] = times[j - 1], kinds[j - 1]
            j -= 1
        times[j], kinds[j] = time, kind


@njit(cache=True)
def plan_corrections(state, axes, cruise_s, seen_s, errors, with_optical):
    """Return the corrections of an arc of `cruise_s` whose target is seen `seen_s` before the encounter."""
    times, kinds = np.empty(CORRECTIONS_MAX), np.empty(CORRECTIONS_MAX)
    planned, optical = _sorted_times(cruise_s, seen_s, errors, with_optical, times, kinds)
    influence, inverse = np.empty((CORRECTIONS_MAX, 3, 3)), np.empty((CORRECTIONS_MAX, 3, 2))
    unknown, along = np.zeros((CORRECTIONS_MAX, 3)), np.zeros(CORRECTIONS_MAX)
    position = np.empty((3, 3))
    n = 0
    for k in range(planned):
        fill_influence(state, axes, times[k], influence[n], position)
        smaller = _fill_inverse(influence[n], inverse[n])
        if smaller < _WEAK * times[k]:
            optical -= 1 if kinds[k] == IN_SIGHT else 0
            continue
        unknown[n] = 0.0
        add_outer(position, errors.probe_km**2, unknown[n])
        add_outer(influence[n], errors.probe_km_s**2, unknown[n])
        along[n] = 0.0
        for j in range(3):
            along[n] += (errors.probe_km * position[0, j]) ** 2 + (
                errors.probe_km_s * influence[n, 0, j]
            ) ** 2
        times[n], kinds[n] = times[k], kinds[k]
        n += 1
    return Corrections(n, optical, times, kinds, influence, inverse, unknown, along)
