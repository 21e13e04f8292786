"""Aim point: the place in the B-plane where quality, averaged over the delivery, is greatest. Compiled.

The closest pass is not the best one: turn rate, smear and keep-out set a distance, the phase at closest approach sets a
side, and the spread of the delivery blurs both. A grid over clock angle and distance finds the hills, a pattern search
climbs the best of them.
"""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.quality import (
    PIXELS_MIN,
    SLEW_END,
    SMEAR_BAD_PX,
    Optics,
    capture_at,
    quality_at,
    side_at,
)

Floats: TypeAlias = NDArray[np.float64]

# Directions and distances of the grid, hills that are climbed: own choices, good enough that a fine grid finds nothing
# better (tests/encounter/test_aim.py).
CLOCKS, DISTANCES, CLIMBS = 16, 10, 8
# Points of the average along an axis: the least and the most of a rough and of an exact average, and their spacing in
# the stretched coordinate of `_fill_axis`.
ROUGH, EXACT = (4, 8, 1.0), (8, 32, 0.3)
# Distances at which the score of the distance is kept.
RADII = 2048
# How many sigmas the average reaches out.
_WIDTH = 3.0
# Grid distances as shares of the distance at which the target is too small: from the first to the last.
_NEAREST, _FARTHEST = 0.02, 0.95
# First and last steps of the pattern search with a rough and with an exact average, as shares of the distance and in
# radians; a hill is climbed to the top if the rough average puts it at this share of the highest.
_ROUGH_STEPS, _EXACT_STEPS, _WORTH = (0.25, 0.1), (0.25, 1e-3), 0.7
_CLIMB_MAX = 400
# Climbs that end nearer to one another than this share of the distance stand on one hill.
_SAME = 0.05
# Moves of the pattern search: along the ridges first, then across them, where a kink of the quality bends a ridge.
_TURNS, _FARTHER = (1, -1, 0, 0, 1, 1, -1, -1), (0, 0, 1, -1, 1, -1, 1, -1)


@njit(cache=True)
def _axes_of(cov):
    """Principal axis of (TT, RR, TR): cosine and sine of its clock angle, larger and smaller sigma."""
    angle = 0.5 * math.atan2(2.0 * cov[2], cov[0] - cov[1])
    middle, half = 0.5 * (cov[0] + cov[1]), math.sqrt(0.25 * (cov[0] - cov[1]) ** 2 + cov[2] ** 2)
    larger, smaller = math.sqrt(max(middle + half, 0.0)), math.sqrt(max(middle - half, 0.0))
    return math.cos(angle), math.sin(angle), larger, smaller


@njit(cache=True)
def keepout_km(optics):
    """Distance from the centre under which no probe is aimed, however wide its delivery: it might hit."""
    return optics.keepout_km + 0.5 * optics.diameter_km


@njit(cache=True)
def nearest_km(optics):
    """Distance under which every pass is worth nothing: turn rate, blur, keep-out."""
    turning = optics.v_rel_km_s / (SLEW_END * optics.slew_limit_rad_s)
    blurred = optics.v_rel_km_s * optics.smear_s / (SMEAR_BAD_PX * optics.pixel_rad)
    return max(turning, blurred, keepout_km(optics))


@njit(cache=True)
def value_at(x, y, sun, optics, along):
    """Quality times the chance of capture at a miss vector (x, y).

    sun   : (T, R) parts of the unit vector from the target to the Sun
    along : (sigma of the error along v_rel in km, half field of view in rad); sigma 0 where the camera tracks by itself
    """
    b = math.sqrt(x * x + y * y)
    if b * PIXELS_MIN * optics.pixel_rad >= optics.diameter_km or b <= 0.0:
        return 0.0
    quality = quality_at(b, (x * sun[0] + y * sun[1]) / b, optics)
    if quality > 0.0 and along[0] > 0.0:
        quality *= capture_at(b, along[0], along[1])
    return quality


@njit(cache=True)
def _reach_km(optics):
    """Distance from which on the target is too small to be worth anything."""
    return optics.diameter_km / (PIXELS_MIN * optics.pixel_rad)


@njit(cache=True)
def _view_of(sun, optics, along):
    """What averages read: (scores by distance, farthest and nearest distance that count, keep-out, T and R of the Sun).

    `value_at` is a score of the distance times one of the side (`side_at`), and the first is most of the work: it is
    kept at RADII distances, closer together near the target, where it changes most.
    """
    far_km = _reach_km(optics)
    scores = np.zeros(RADII)
    for k in range(1, RADII):
        b = far_km * (k / (RADII - 1.0)) ** 2
        # at a right angle to the Sun: a full score of the side
        scores[k] = value_at(0.0, b, (1.0, 0.0), optics, along)
    return scores, far_km, min(nearest_km(optics), far_km), keepout_km(optics), sun[0], sun[1]


@njit(cache=True)
def _fill_axis(center, sigma, low, high, scale, effort, points, weights):
    """Points and weights of the normal density over [low, high] and a few sigmas; return how many.

    scale : points lie in even steps of asinh(x / scale): evenly within it, in steps per factor beyond, where quality
            changes less

    The weights add up to the chance of being there, so that a delivery much wider than what counts is integrated as
    well as a narrow one.
    """
    if sigma <= 0.0:
        points[0], weights[0] = center, 1.0
        return 1 if low <= center <= high else 0
    left, right = max(center - _WIDTH * sigma, low), min(center + _WIDTH * sigma, high)
    if left >= right:
        return 0
    first, last = math.asinh(left / scale), math.asinh(right / scale)
    count = int(min(max(math.ceil((last - first) / effort[2]), effort[0]), effort[1]))
    step, total = (last - first) / count, 0.0
    grown, factor = 0.5 * scale * math.exp(first + 0.5 * step), math.exp(step)
    for i in range(count):
        shrunk = 0.25 * scale * scale / grown
        points[i] = grown - shrunk  # scale * sinh(u)
        weights[i] = (grown + shrunk) * math.exp(-0.5 * ((points[i] - center) / sigma) ** 2)
        total += weights[i]
        grown *= factor
    # the tail beyond a few sigmas goes to the nearest points, where it is not cut off by a limit
    root = math.sqrt(2.0) * sigma
    above = 1.0 if right < high else math.erf((right - center) / root)
    below = -1.0 if left > low else math.erf((left - center) / root)
    for i in range(count):
        weights[i] *= 0.5 * (above - below) / total
    return count


@njit(cache=True)
def _seen_at(x, y, view):
    """`value_at` by the kept scores."""
    scores, far_km, near_km, _, sun_x, sun_y = view
    b = math.sqrt(x * x + y * y)
    if b >= far_km or b < near_km:
        return 0.0
    place = math.sqrt(b / far_km) * (RADII - 1.0)
    k = min(int(place), RADII - 2)
    score = scores[k] + (place - k) * (scores[k + 1] - scores[k])
    return score * side_at((x * sun_x + y * sun_y) / b) if score > 0.0 else 0.0


@njit(cache=True)
def average_at(x, y, axes, view, effort, work):
    """Mean of `value_at` over a delivery about the aim point (x, y).

    axes : `_axes_of` its covariance; view : `_view_of` the encounter; effort : ROUGH or EXACT; work : (4, EXACT[1])

    Lines along its long axis, each cut where passes are too far and where they are too near to count, so that no point
    falls beside the ring that does.
    """
    far_km, near_km = view[1], view[2]
    cos, sin = axes[0], axes[1]
    center = x * cos + y * sin
    m = _fill_axis(y * cos - x * sin, axes[3], -far_km, far_km, near_km, effort, work[2], work[3])
    total = 0.0
    for j in range(m):
        q = work[2, j]
        outer = math.sqrt(max(far_km * far_km - q * q, 0.0))
        inner = math.sqrt(max(near_km * near_km - q * q, 0.0))
        parts = 1 if inner == 0.0 else 2
        line = 0.0
        for part in range(parts):
            low = -outer if parts == 1 or part == 0 else inner
            high = outer if parts == 1 or part == 1 else -inner
            n = _fill_axis(center, axes[2], low, high, max(near_km, abs(q)), effort, work[0], work[1])
            for i in range(n):
                p = work[0, i]
                line += work[1, i] * _seen_at(p * cos - q * sin, p * sin + q * cos, view)
        total += work[3, j] * line
    return min(total, 1.0)


@njit(cache=True)
def _climb(x, y, effort, steps, axes, view, work):
    """Pattern search from (x, y): nearer, farther and round, steps halved when none of them is better.

    steps : (first, last), shares of the distance and radians

    Quality is nearly a product of distance and clock angle, so these are the directions in which it has its ridges.
    """
    step, moves, last = steps[0], 0, 0
    best = average_at(x, y, axes, view, effort, work)
    while step > steps[1] and moves < _CLIMB_MAX:
        higher = False
        for n in range(8):
            k = (last + n) % 8  # what went up a moment ago is tried first
            moves += 1
            turn = step * _TURNS[k]
            scale = (1.0 + step) ** _FARTHER[k]
            cos, sin = scale * math.cos(turn), scale * math.sin(turn)
            to_x, to_y = x * cos - y * sin, x * sin + y * cos
            if math.hypot(to_x, to_y) < view[3]:
                continue
            value = average_at(to_x, to_y, axes, view, effort, work)
            if value > best:
                x, y, best, higher, last = to_x, to_y, value, True, k
                break
        if not higher:
            step *= 0.5
    return x, y, best


@njit(cache=True)
def _start_at(k, reach_km, least_km, sun_clock):
    """Grid point k: clock angles from the Sun's side on, distances in even steps per factor."""
    angle = sun_clock + 2.0 * math.pi * (k // DISTANCES) / CLOCKS
    nearest = max(least_km, _NEAREST * reach_km)
    b = nearest * (_FARTHEST * reach_km / nearest) ** ((k % DISTANCES) / (DISTANCES - 1.0))
    return b * math.cos(angle), b * math.sin(angle)


@njit(cache=True)
def _forget(values, start):
    """Take a hill's start and its neighbours off the grid, so that the next climb starts elsewhere."""
    clock, distance = start // DISTANCES, start % DISTANCES
    for turn in range(-2, 3):
        for out in range(-1, 2):
            if 0 <= distance + out < DISTANCES:
                values[((clock + turn) % CLOCKS) * DISTANCES + distance + out] = 0.0


@njit(cache=True)
def _met_before(hills, n):
    """Whether an earlier climb ended at this place too."""
    for k in range(n):
        gap = math.hypot(hills[n, 0] - hills[k, 0], hills[n, 1] - hills[k, 1])
        if gap < _SAME * math.hypot(hills[n, 0], hills[n, 1]):
            return True
    return False


@njit(cache=True)
def best_aim(cov, sun, optics, along):
    """Return the aim point (T, R in km) and the averaged quality there; zeros where every pass is worth nothing.

    No aim point is nearer than the keep-out distance, though a wide delivery might gain by it: that would be aiming to
    hit.

    cov : (TT, RR, TR) of the delivery
    """
    if keepout_km(optics) >= _FARTHEST * _reach_km(optics):
        return 0.0, 0.0, 0.0
    view = _view_of(sun, optics, along)
    reach_km, least_km, axes, sun_clock = view[1], view[3], _axes_of(cov), math.atan2(sun[1], sun[0])
    work, values = np.empty((4, EXACT[1])), np.empty(CLOCKS * DISTANCES)
    for k in range(values.size):
        x, y = _start_at(k, reach_km, least_km, sun_clock)
        values[k] = average_at(x, y, axes, view, ROUGH, work)
    hills = np.zeros((CLIMBS, 3))
    for n in range(CLIMBS):
        start = int(np.argmax(values))
        if values[start] <= 0.0:
            break
        x, y = _start_at(start, reach_km, least_km, sun_clock)
        hills[n] = _climb(x, y, ROUGH, _ROUGH_STEPS, axes, view, work)
        _forget(values, start)
    highest = hills[:, 2].max()
    best_x = best_y = best = 0.0
    for n in range(CLIMBS):
        if hills[n, 2] <= 0.0 or hills[n, 2] < _WORTH * highest or _met_before(hills, n):
            continue
        x, y, value = _climb(hills[n, 0], hills[n, 1], EXACT, _EXACT_STEPS, axes, view, work)
        if value > best:
            best_x, best_y, best = x, y, value
    return best_x, best_y, best


def expected_quality(
    aim_t_km: float,
    aim_r_km: float,
    *,
    cov_km2: Floats,
    sun: tuple[float, float],
    optics: Optics,
    along: tuple[float, float] = (0.0, 0.0),
) -> float:
    """Return the quality averaged over the delivery for any aim point (what `best_aim` makes greatest)."""
    work = np.empty((4, EXACT[1]))
    return float(average_at(aim_t_km, aim_r_km, _axes_of(cov_km2), _view_of(sun, optics, along), EXACT, work))
