"""Quality averaged over a delivery about an aim point. Compiled.

Points on lines along the long axis of the delivery, a few sigmas out, each line cut where passes are too far and where
they are too near to count, so that no point falls beside the ring that does. All points of an average are laid out
first and then weighed in one loop that becomes vector instructions: no branch, no call of a library, an exponential
and an arc sine by their series. Most of the time of judging is spent here.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from swarm.encounter.quality import LIT_FULL, PHASE_WINDOW_DEG

# Points of the average along an axis: the least and the most of a rough and of an exact average, and their spacing in
# the stretched coordinate of `_stretched`.
ROUGH, EXACT = (4, 8, 1.0), (8, 32, 0.3)
# Distances at which the score of the distance is kept.
RADII = 2048
# How many sigmas the average reaches out.
_WIDTH = 3.0
# Lines, and stretches of them: before and behind the target.
_LINES = EXACT[1]
_POINTS = 2 * _LINES * EXACT[1]

_NEAR_EDGE, _NEAR_FULL, _FAR_FULL, _FAR_EDGE = PHASE_WINDOW_DEG
_COS_NEAR, _COS_FAR = math.cos(math.radians(_NEAR_FULL)), math.cos(math.radians(_FAR_FULL))
_COS_EDGE = math.cos(math.radians(_FAR_EDGE))
# The far shoulder is told by the angle from its middle, which is small.
_FAR_MIDDLE = 0.5 * (_FAR_FULL + _FAR_EDGE)
_COS_MIDDLE, _SIN_MIDDLE = math.cos(math.radians(_FAR_MIDDLE)), math.sin(math.radians(_FAR_MIDDLE))
_DEGREES = math.degrees(1.0)
_side_by_side = njit(cache=True, error_model="numpy", fastmath={"contract"})


@njit(cache=True)
def new_work():
    """What an average is computed in: (points and weights along the short axis, points, stretches of lines)."""
    return np.empty((2, _LINES)), np.empty((4, _POINTS)), np.empty((2 * _LINES, 3))


@njit(cache=True)
def axes_of(cov):
    """Principal axis of (TT, RR, TR): cosine and sine of its clock angle, larger and smaller sigma."""
    angle = 0.5 * math.atan2(2.0 * cov[2], cov[0] - cov[1])
    middle, half = 0.5 * (cov[0] + cov[1]), math.sqrt(0.25 * (cov[0] - cov[1]) ** 2 + cov[2] ** 2)
    larger, smaller = math.sqrt(max(middle + half, 0.0)), math.sqrt(max(middle - half, 0.0))
    return math.cos(angle), math.sin(angle), larger, smaller


@_side_by_side
def _bell(square):
    """exp(-square / 2) for 0 <= square <= 9: the series about the middle of an eighth of it, three times squared."""
    x = 0.28125 - 0.0625 * square
    high = 1 / 5040 + x * (
        1 / 40320 + x * (1 / 362880 + x * (1 / 3628800 + x * (1 / 39916800 + x * (1 / 479001600))))
    )
    eighth = 1.0 + x * (
        1.0 + x * (1 / 2 + x * (1 / 6 + x * (1 / 24 + x * (1 / 120 + x * (1 / 720 + x * high)))))
    )
    eighth *= 0.7548396019890073  # exp(-0.28125)
    fourth = eighth * eighth
    half = fourth * fourth
    return half * half


@njit(cache=True)
def _stretch(x):
    """asinh x, to rounding of 1, in half the library's time."""
    grown = math.log(abs(x) + math.sqrt(x * x + 1.0))
    return grown if x >= 0.0 else -grown


@njit(cache=True)
def _stretched(center, sigma, low, high, scale, effort):
    """Points of a normal density over [low, high] and a few sigmas: (how many, first, step, weight of all).

    Points lie in even steps of asinh(x / scale): evenly within it, in steps per factor beyond, where quality changes
    less. The weights are to add up to the chance of being there, so that a delivery much wider than what counts is
    integrated as well as a narrow one; the tail beyond a few sigmas goes to them where it is not cut off by a limit.
    """
    if sigma <= 0.0:
        return (1 if low <= center <= high else 0), 0.0, 0.0, 1.0
    left, right = max(center - _WIDTH * sigma, low), min(center + _WIDTH * sigma, high)
    if left >= right:
        return 0, 0.0, 0.0, 0.0
    first, last = _stretch(left / scale), _stretch(right / scale)
    count = int(min(max(math.ceil((last - first) / effort[2]), effort[0]), effort[1]))
    root = math.sqrt(2.0) * sigma
    above = 1.0 if right < high else math.erf((right - center) / root)
    below = -1.0 if left > low else math.erf((left - center) / root)
    return count, first, (last - first) / count, 0.5 * (above - below)


@njit(cache=True)
def _fill_axis(center, sigma, low, high, scale, effort, axis):
    """Points (axis[0]) and weights (axis[1]) along the short axis; return how many."""
    count, first, step, share = _stretched(center, sigma, low, high, scale, effort)
    if count == 0 or sigma <= 0.0:
        axis[0, 0], axis[1, 0] = center, 1.0
        return count
    grown, factor, total = 0.5 * scale * math.exp(first + 0.5 * step), math.exp(step), 0.0
    shrunk, per_factor, per_sigma = 0.25 * scale * scale / grown, 1.0 / factor, 1.0 / sigma
    for i in range(count):
        axis[0, i] = grown - shrunk  # scale * sinh(u)
        axis[1, i] = (grown + shrunk) * _bell(((axis[0, i] - center) * per_sigma) ** 2)
        total += axis[1, i]
        grown *= factor
        shrunk *= per_factor
    for i in range(count):
        axis[1, i] *= share / total
    return count


@njit(cache=True, error_model="numpy")
def _lay(center, sigma, first, step, count, scale, q, points, start):
    """Lay a stretch's points from `start` on: places along the line and off it, stretching, squared sigmas off."""
    if sigma <= 0.0:
        points[0, start], points[1, start], points[2, start], points[3, start] = center, q, 1.0, 0.0
        return
    grown, factor = 0.5 * scale * math.exp(first + 0.5 * step), math.exp(step)
    shrunk, per_factor, per_sigma = 0.25 * scale * scale / grown, 1.0 / factor, 1.0 / sigma
    for i in range(start, start + count):
        place = grown - shrunk  # scale * sinh(u)
        off = (place - center) * per_sigma
        points[0, i], points[1, i], points[2, i], points[3, i] = place, q, grown + shrunk, off * off
        grown *= factor
        shrunk *= per_factor


@_side_by_side
def _small_arc_sine(x):
    """asin x for |x| < 0.1: the series to x^15."""
    q = x * x
    high = 105 / 3456 + q * (945 / 42240 + q * (10395 / 599040 + q * (135135 / 9676800)))
    return x * (1.0 + q * (1 / 6 + q * (3 / 40 + q * (15 / 336 + q * high))))


@njit(
    cache=True, error_model="numpy", fastmath={"contract"}, inline="always"
)  # too long for LLVM to do by itself
def side_of(cos_phase):
    """`quality.side_at` without a branch: shoulders of the phase's window by small angles."""
    c = min(max(cos_phase, -1.0), 1.0)
    near = 2.0 * _DEGREES * _small_arc_sine(math.sqrt(0.5 * (1.0 - max(c, _COS_NEAR))))
    far_c = min(max(c, _COS_EDGE), _COS_FAR)
    off = _DEGREES * _small_arc_sine(math.sqrt(1.0 - far_c * far_c) * _COS_MIDDLE - far_c * _SIN_MIDDLE)
    rising = (near - _NEAR_EDGE) / (_NEAR_FULL - _NEAR_EDGE)
    falling = (_FAR_EDGE - _FAR_MIDDLE - off) / (_FAR_EDGE - _FAR_FULL)
    phase = (rising if c > _COS_NEAR else 1.0) * (falling if c < _COS_FAR else 1.0)
    return max(phase, 0.0) * min((0.5 / LIT_FULL) * (1.0 + c), 1.0)


@_side_by_side
def _weigh(points, count, axes, view):
    """Turn what `_lay` laid into places among the kept scores (-1: worth nothing), scores of the side, and weights."""
    _, far_km, near_km, _, sun_x, sun_y = view
    # the Sun in the axes of the delivery, where the points are
    sun_p, sun_q = sun_x * axes[0] + sun_y * axes[1], sun_y * axes[0] - sun_x * axes[1]
    along, beside, stretching, square = points[0], points[1], points[2], points[3]
    per_far = 1.0 / far_km
    for i in range(count):
        p, q = along[i], beside[i]
        b = math.sqrt(p * p + q * q)
        place = math.sqrt(b * per_far) * (RADII - 1.0)
        along[i] = place if (b < far_km) & (b >= near_km) else -1.0
        beside[i] = side_of((p * sun_p + q * sun_q) / b)
        stretching[i] *= _bell(square[i])


@njit(cache=True, error_model="numpy")
def _seen(points, start, end, scores):
    """Mean of what counts over the points of a stretch."""
    total = seen = 0.0
    for i in range(start, end):
        place, weight = points[0, i], points[2, i]
        total += weight
        if place >= 0.0:
            k = min(int(place), RADII - 2)
            seen += weight * points[1, i] * (scores[k] + (place - k) * (scores[k + 1] - scores[k]))
    return seen / total


@njit(cache=True)
def average_at(x, y, axes, view, effort, work):
    """Mean of `value_at` over a delivery about the aim point (x, y).

    axes : `axes_of` its covariance; view : `_view_of` the encounter; effort : ROUGH or EXACT; work : `new_work()`
    """
    axis, points, stretches = work
    far_km, near_km = view[1], view[2]
    center, beside = x * axes[0] + y * axes[1], y * axes[0] - x * axes[1]
    lines = _fill_axis(beside, axes[3], -far_km, far_km, near_km, effort, axis)
    laid = used = 0
    for j in range(lines):
        q = axis[0, j]
        outer = math.sqrt(max(far_km * far_km - q * q, 0.0))
        inner = math.sqrt(max(near_km * near_km - q * q, 0.0))
        parts, scale = 1 if inner == 0.0 else 2, max(near_km, abs(q))
        for part in range(parts):
            low = -outer if parts == 1 or part == 0 else inner
            high = outer if parts == 1 or part == 1 else -inner
            count, first, step, share = _stretched(center, axes[2], low, high, scale, effort)
            if count > 0:
                _lay(center, axes[2], first, step, count, scale, q, points, laid)
                stretches[used, 0], stretches[used, 1], stretches[used, 2] = laid, count, share * axis[1, j]
                laid, used = laid + count, used + 1
    _weigh(points, laid, axes, view)
    mean = 0.0
    for s in range(used):
        start = int(stretches[s, 0])
        mean += stretches[s, 2] * _seen(points, start, start + int(stretches[s, 1]), view[0])
    return min(mean, 1.0)
