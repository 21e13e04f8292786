"""Quality averaged over a delivery point by point, in plain code: what `swarm.encounter.averaging` is held against."""

from __future__ import annotations

import math

from numba import njit

from swarm.encounter.averaging import _WIDTH, RADII
from swarm.encounter.quality import side_at


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
def plain_average(x, y, axes, view, effort, work):
    """Mean of `value_at` over a delivery about the aim point (x, y).

    axes : `axes_of` its covariance; view : `_view_of` the encounter; effort : ROUGH or EXACT; work : (4, 32)

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
