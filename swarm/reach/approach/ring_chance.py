"""Chance that a point of the B-plane lies in a ring: impact on a disc, or a corridor between two. Compiled; km."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# Eight sigma leave 1e-15. Between the marks the integrand is smooth enough for twelve nodes (tests: 1e-10).
_ALONG = np.array([-8.5, -5.0, -2.5, 0.0, 2.5, 5.0, 8.5])
_ACROSS = np.array([-5.0, -2.0, 0.0, 2.0, 5.0])
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(14)
_ROOT_HALF = math.sqrt(0.5)
_LEAST_SIGMA_KM = 1e-9


@njit(cache=True)
def _principal(cov):
    """Larger and smaller sigma, and the direction (cos, sin) of the larger, of (TT, RR, TR)."""
    middle, half = 0.5 * (cov[0] + cov[1]), 0.5 * (cov[0] - cov[1])
    spread = math.sqrt(half * half + cov[2] * cov[2])
    angle = 0.5 * math.atan2(cov[2], half) if spread > 0.0 else 0.0
    large = math.sqrt(max(middle + spread, 0.0))
    small = math.sqrt(max(middle - spread, 0.0))
    return (
        max(large, _LEAST_SIGMA_KM),
        max(small, _LEAST_SIGMA_KM, 1e-7 * large),
        math.cos(angle),
        math.sin(angle),
    )


@njit(cache=True)
def _within_strip(half_width, offset, sigma):
    """P(|y| <= half_width), y normal about offset >= 0; keeps its digits in the tail."""
    upper, lower = (half_width - offset) / sigma * _ROOT_HALF, (-half_width - offset) / sigma * _ROOT_HALF
    if upper < 0.0:
        return 0.5 * (math.erfc(-upper) - math.erfc(-lower))
    return 0.5 * (math.erf(upper) - math.erf(lower))


@njit(cache=True)
def _disc(radius, along, across, large, small):
    """P(|B| <= radius): along the larger axis x = radius sin(angle), across it the error function."""
    if radius <= 0.0:
        return 0.0
    low, high = max(along - 8.5 * large, -radius), min(along + 8.5 * large, radius)
    if low >= high:
        return 0.0
    marks = np.empty(2 + _ALONG.size + 2 * _ACROSS.size)
    marks[0], marks[1] = low, high
    count = 2
    for k in _ALONG:
        marks[count] = along + k * large
        count += 1
    for k in _ACROSS:
        # where the edge of the disc is k sigma beyond the offset
        edge = across + k * small
        reach = math.sqrt(max(radius * radius - edge * edge, 0.0)) if edge > -radius else 0.0
        marks[count], marks[count + 1] = reach, -reach
        count += 2
    marks = np.sort(np.minimum(np.maximum(marks, low), high))
    total = 0.0
    for k in range(count - 1):
        if marks[k + 1] - marks[k] <= 1e-12 * radius:
            continue
        begin, end = math.asin(marks[k] / radius), math.asin(marks[k + 1] / radius)
        middle, half = 0.5 * (begin + end), 0.5 * (end - begin)
        for j in range(_NODES.size):
            angle = middle + half * _NODES[j]
            x, height = radius * math.sin(angle), radius * math.cos(angle)
            away = (x - along) / large
            density = math.exp(-0.5 * away * away) / (large * math.sqrt(2.0 * math.pi))
            total += _WEIGHTS[j] * half * height * density * _within_strip(height, across, small)
    return min(total, 1.0)


@njit(cache=True)
def ring_chance_at(b_t, b_r, cov, inner_km, outer_km):
    """P(inner <= |B| <= outer) for B normal about (b_t, b_r) with covariance (TT, RR, TR)."""
    large, small, c, s = _principal(cov)
    along, across = abs(c * b_t + s * b_r), abs(c * b_r - s * b_t)
    return max(
        _disc(outer_km, along, across, large, small) - _disc(inner_km, along, across, large, small), 0.0
    )


@njit(cache=True)
def _ring_chances(b, cov, inner, outer):
    out = np.empty(b.shape[0])
    for n in range(b.shape[0]):
        out[n] = ring_chance_at(b[n, 0], b[n, 1], cov[n], inner[n], outer[n])
    return out


def ring_chance(b_km: ArrayLike, cov_km2: ArrayLike, inner_km: ArrayLike, outer_km: ArrayLike) -> Floats:
    """P(inner <= |B| <= outer), (n,).

    Parameters
    ----------
    b_km    : (n, 2) aim points, T and R
    cov_km2 : (n, 3) TT, RR, TR
    inner_km, outer_km : (n,) or one for all
    """
    b = np.ascontiguousarray(np.atleast_2d(np.asarray(b_km, dtype=float)))
    cov = np.ascontiguousarray(np.broadcast_to(np.atleast_2d(np.asarray(cov_km2, dtype=float)), (len(b), 3)))
    edges = [
        np.ascontiguousarray(np.broadcast_to(np.asarray(x, dtype=float), len(b)))
        for x in (inner_km, outer_km)
    ]
    return _ring_chances(b, cov, *edges)


def offset_for_chance_km(cov_km2: ArrayLike, clock_rad: float, radius_km: float, limit: float) -> float:
    """Least distance of an aim point, at a clock angle, at which the chance of a disc is no more than `limit`."""
    cov = np.asarray(cov_km2, dtype=float)
    direction = np.array([math.cos(clock_rad), math.sin(clock_rad)])

    def chance(distance_km: float) -> float:
        return float(ring_chance(distance_km * direction, cov, 0.0, radius_km)[0])

    if chance(0.0) <= limit:
        return 0.0
    low, high = 0.0, radius_km + float(np.sqrt(cov[0] + cov[1]))
    while chance(high) > limit:
        low, high = high, 2.0 * high
    for _ in range(60):  # a bisection to 1e-12 of the distance
        middle = 0.5 * (low + high)
        low, high = (middle, high) if chance(middle) > limit else (low, middle)
    return high
