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

from swarm.encounter import PIXELS_MIN, SLEW_END, SMEAR_BAD_PX, Optics, capture_at, quality_at

Floats: TypeAlias = NDArray[np.float64]

# Directions and distances of the grid, hills that are climbed: own choices; a fine grid never finds more than a
# fraction of a percent (tests/delivery/test_aim.py).
CLOCKS, DISTANCES, CLIMBS = 12, 8, 3
# Points of the average along an axis: the least and the most of a rough and of an exact average, and their spacing as
# a share of the nearest useful distance, on whose scale quality changes.
ROUGH, EXACT = (4, 6, 1.0), (6, 16, 0.4)
# How many sigmas the average reaches out.
_WIDTH = 3.0
# Grid distances as shares of the distance at which the target is too small: from the first to the last.
_NEAREST, _FARTHEST = 0.02, 0.95
# First and last steps of the pattern search with a rough and with an exact average, as shares of the distance and in
# radians; a hill is climbed to the top if the rough average puts it at this share of the highest.
_ROUGH_STEPS, _EXACT_STEPS, _WORTH = (0.25, 0.1), (0.25, 4e-3), 0.9
_CLIMB_MAX = 400


@njit(cache=True)
def _axes_of(cov):
    """Principal axis of (TT, RR, TR): cosine and sine of its clock angle, larger and smaller sigma."""
    angle = 0.5 * math.atan2(2.0 * cov[2], cov[0] - cov[1])
    middle, half = 0.5 * (cov[0] + cov[1]), math.sqrt(0.25 * (cov[0] - cov[1]) ** 2 + cov[2] ** 2)
    larger, smaller = math.sqrt(max(middle + half, 0.0)), math.sqrt(max(middle - half, 0.0))
    return math.cos(angle), math.sin(angle), larger, smaller


@njit(cache=True)
def nearest_km(optics):
    """Distance under which every pass is worth nothing: turn rate, blur, keep-out."""
    turning = optics.v_rel_km_s / (SLEW_END * optics.slew_limit_rad_s)
    blurred = optics.v_rel_km_s * optics.smear_s / (SMEAR_BAD_PX * optics.pixel_rad)
    return max(turning, blurred, optics.keepout_km + 0.5 * optics.diameter_km)


@njit(cache=True)
def _fill_axis(center, sigma, low, high, count, points, weights):
    """Points and weights of the normal density over [low, high] and a few sigmas; return how many.

    The weights add up to the chance of being there, so that a delivery much wider than what counts is integrated as
    well as a narrow one.
    """
    if sigma <= 0.0:
        points[0], weights[0] = center, 1.0
        return 1 if low <= center <= high else 0
    left, right = max(center - _WIDTH * sigma, low), min(center + _WIDTH * sigma, high)
    if left >= right:
        return 0
    step, total = (right - left) / count, 0.0
    for i in range(count):
        points[i] = left + (i + 0.5) * step
        weights[i] = math.exp(-0.5 * ((points[i] - center) / sigma) ** 2)
        total += weights[i]
    # the tail beyond a few sigmas goes to the nearest points, where it is not cut off by a limit
    root = math.sqrt(2.0) * sigma
    above = 1.0 if right < high else math.erf((right - center) / root)
    below = -1.0 if left > low else math.erf((left - center) / root)
    for i in range(count):
        weights[i] *= 0.5 * (above - below) / total
    return count


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
def _points(sigma, near_km, far_km, effort):
    """How many points an axis gets: few where the delivery is narrow, more where it spans what quality depends on."""
    span = 2.0 * min(_WIDTH * sigma, far_km)
    return int(min(max(math.ceil(span / (effort[2] * near_km)), effort[0]), effort[1]))


@njit(cache=True)
def average_at(x, y, axes, sun, optics, along, effort, work):
    """Mean of `value_at` over a delivery about the aim point (x, y).

    axes : `_axes_of` its covariance; effort : ROUGH or EXACT; work : (4, EXACT[1]) scratch

    Lines along its long axis, each cut where passes are too far and where they are too near to count, so that no point
    falls beside the ring that does.
    """
    far_km = optics.diameter_km / (PIXELS_MIN * optics.pixel_rad)
    near_km = min(nearest_km(optics), far_km)
    cos, sin = axes[0], axes[1]
    center = x * cos + y * sin
    m = _points(axes[3], near_km, far_km, effort)
    m = _fill_axis(y * cos - x * sin, axes[3], -far_km, far_km, m, work[2], work[3])
    most = _points(axes[2], near_km, far_km, effort)
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
            n = _fill_axis(center, axes[2], low, high, most, work[0], work[1])
            for i in range(n):
                p = work[0, i]
                line += work[1, i] * value_at(p * cos - q * sin, p * sin + q * cos, sun, optics, along)
        total += work[3, j] * line
    return total


@njit(cache=True)
def _climb(x, y, effort, steps, axes, sun, optics, along, work):
    """Pattern search from (x, y): nearer, farther and round, steps halved when none of them is better.

    steps : (first, last), shares of the distance and radians

    Quality is nearly a product of distance and clock angle, so these are the directions in which it has its ridges.
    """
    step, moves = steps[0], 0
    best = average_at(x, y, axes, sun, optics, along, effort, work)
    while step > steps[1] and moves < _CLIMB_MAX:
        found = False
        for k in range(4):
            moves += 1
            turn = (step, -step, 0.0, 0.0)[k]
            scale = (1.0, 1.0, 1.0 + step, 1.0 / (1.0 + step))[k]
            cos, sin = scale * math.cos(turn), scale * math.sin(turn)
            to_x, to_y = x * cos - y * sin, x * sin + y * cos
            value = average_at(to_x, to_y, axes, sun, optics, along, effort, work)
            if value > best:
                x, y, best, found = to_x, to_y, value, True
                break
        if not found:
            step *= 0.5
    return x, y, best


@njit(cache=True)
def _start_at(k, reach_km, sun_clock):
    """Grid point k: clock angles from the Sun's side on, distances in even steps per factor."""
    angle = sun_clock + 2.0 * math.pi * (k // DISTANCES) / CLOCKS
    b = reach_km * _NEAREST * (_FARTHEST / _NEAREST) ** ((k % DISTANCES) / (DISTANCES - 1.0))
    return b * math.cos(angle), b * math.sin(angle)


@njit(cache=True)
def _forget(values, start):
    """Take a hill's start and its neighbours off the grid, so that the next climb starts elsewhere."""
    clock, distance = start // DISTANCES, start % DISTANCES
    for dk in range(-1, 2):
        for dj in range(-1, 2):
            if 0 <= distance + dj < DISTANCES:
                values[((clock + dk) % CLOCKS) * DISTANCES + distance + dj] = 0.0


@njit(cache=True)
def best_aim(cov, sun, optics, along):
    """Return the aim point (T, R in km) and the averaged quality there; zeros where every pass is worth nothing.

    cov : (TT, RR, TR) of the delivery
    """
    reach_km = optics.diameter_km / (PIXELS_MIN * optics.pixel_rad)
    axes, sun_clock = _axes_of(cov), math.atan2(sun[1], sun[0])
    work, values = np.empty((4, EXACT[1])), np.empty(CLOCKS * DISTANCES)
    for k in range(values.size):
        x, y = _start_at(k, reach_km, sun_clock)
        values[k] = average_at(x, y, axes, sun, optics, along, ROUGH, work)
    hills = np.zeros((CLIMBS, 3))
    for n in range(CLIMBS):
        start = int(np.argmax(values))
        if values[start] <= 0.0:
            break
        x, y = _start_at(start, reach_km, sun_clock)
        hills[n] = _climb(x, y, ROUGH, _ROUGH_STEPS, axes, sun, optics, along, work)
        _forget(values, start)
    highest = hills[:, 2].max()
    best_x = best_y = best = 0.0
    for n in range(CLIMBS):
        if hills[n, 2] <= 0.0 or hills[n, 2] < _WORTH * highest:
            continue
        x, y, value = _climb(hills[n, 0], hills[n, 1], EXACT, _EXACT_STEPS, axes, sun, optics, along, work)
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
    return float(average_at(aim_t_km, aim_r_km, _axes_of(cov_km2), sun, optics, along, EXACT, work))
