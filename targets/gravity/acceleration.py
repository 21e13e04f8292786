"""Acceleration in a field of normalised spherical harmonics, without a singular point but the centre. Compiled.

The solid harmonics V, W of [1, 2] by columns: forward in degree at one order, which is stable, with the factors of
the fully normalised form [2, 3]. A field whose degree falls with its order (zonals to 50 beside all terms to 10) costs
what it holds.

References
----------
[1] Cunningham 1970, "On the computation of the spherical harmonic terms needed during the numerical integration of the
    orbital motion of an artificial satellite", Celest. Mech. 2:207
[2] Montenbruck, Gill, "Satellite Orbits", sec. 3.2.4-3.2.5, eq. (3.29)-(3.33): not normalised, from memory
[3] Heiskanen, Moritz, "Physical Geodesy", sec. 1-14: the normalisation
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


class Harmonics(NamedTuple):
    """What compiled code reads.

    c, s   : (orders, degrees) normalised coefficients, by order first
    top    : (orders,) highest degree of an order
    climb, fall : (orders + 1, degrees + 1) factors of the recursion; lift : (orders + 1,) of the sectorial terms
    up, level, down : (orders, degrees) factors of the terms of order m + 1, m and m - 1 in the acceleration
    """

    gm_km3_s2: float
    radius_km: float
    c: Floats
    s: Floats
    top: NDArray[np.int64]
    climb: Floats
    fall: Floats
    lift: Floats
    up: Floats
    level: Floats
    down: Floats


def harmonics(gm_km3_s2: float, radius_km: float, c: Floats, s: Floats, top: NDArray[np.int64]) -> Harmonics:
    """Make the factors once; c, s as of `Harmonics`, c[0, 0] = 1 with the central term."""
    # a column of the recursion serves three orders: it goes as far as any order from its own on asks for
    top = np.maximum.accumulate(top[::-1])[::-1]
    orders, degrees = c.shape
    n, m = np.meshgrid(np.arange(degrees + 1.0), np.arange(orders + 1.0))
    inside = n > m
    span = np.where(inside, (n - m) * (n + m), 1.0)
    climb = np.where(inside, np.sqrt(np.maximum((2 * n - 1) * (2 * n + 1), 0.0) / span), 0.0)
    below = np.where(
        n > m + 1, (2 * n + 1) * (n + m - 1) * (n - m - 1) / (span * np.where(n < 2, 1.0, 2 * n - 3)), 0.0
    )
    order = np.arange(orders + 1.0)
    lift = np.sqrt((2 * order + 1) / np.maximum(2 * order, 1.0) * np.where(order == 1, 2.0, 1.0))
    n, m = n[:orders, :degrees], m[:orders, :degrees]
    share = (2 * n + 1) / (2 * n + 3)
    there = n >= m
    first = np.where(m == 0, 0.5, 1.0)
    up = np.where(there, np.sqrt(np.where(there, first * share * (n + m + 1) * (n + m + 2), 0.0)), 0.0)
    level = np.sqrt(np.where(there, share * (n + m + 1) * (n - m + 1), 0.0))
    down = np.sqrt(np.where(there, np.where(m == 1, 2.0, 1.0) * share * (n - m + 1) * (n - m + 2), 0.0))
    return Harmonics(
        gm_km3_s2, radius_km, np.ascontiguousarray(c), np.ascontiguousarray(s), top.astype(np.int64), climb,
        np.sqrt(below), lift, up, level, down,
    )  # fmt: skip


@njit(cache=True)
def _column(m, last, z, r2, sector_v, sector_w, field, v, w):
    """Write V, W of order m for degrees m to `last` into v, w."""
    v[m], w[m] = sector_v, sector_w
    if last > m:
        v[m + 1] = field.climb[m, m + 1] * z * sector_v
        w[m + 1] = field.climb[m, m + 1] * z * sector_w
    for n in range(m + 2, last + 1):
        up, back = field.climb[m, n] * z, field.fall[m, n] * r2
        v[n] = up * v[n - 1] - back * v[n - 2]
        w[n] = up * w[n - 1] - back * w[n - 2]


@njit(cache=True)
def acceleration_at(x, y, z, field, v, w, central):
    """Three numbers, km/s^2, in the frame that turns with the body.

    v, w    : (3, degrees + 2) work
    central : whether the pull of the body as a point is in it
    """
    radius = field.radius_km
    d2 = x * x + y * y + z * z
    px, py, pz, r2 = radius * x / d2, radius * y / d2, radius * z / d2, radius * radius / d2
    orders = field.top.size
    ax = ay = az = 0.0
    sector_v, sector_w = math.sqrt(r2), 0.0
    # three columns are held: of the order before, of this one and of the next
    before, here, after = 0, 1, 2
    _column(0, field.top[0] + 1, pz, r2, sector_v, sector_w, field, v[here], w[here])
    for m in range(orders):
        sector_v, sector_w = (
            field.lift[m + 1] * (px * sector_v - py * sector_w),
            field.lift[m + 1] * (px * sector_w + py * sector_v),
        )
        last = field.top[m] + 1
        _column(m + 1, last, pz, r2, sector_v, sector_w, field, v[after], w[after])
        for n in range(m if central else max(m, 1), last):
            c, s = field.c[m, n], field.s[m, n]
            az -= field.level[m, n] * (c * v[here, n + 1] + s * w[here, n + 1])
            if m == 0:
                ax -= field.up[0, n] * c * v[after, n + 1]
                ay -= field.up[0, n] * c * w[after, n + 1]
                continue
            up, down = 0.5 * field.up[m, n], 0.5 * field.down[m, n]
            ax += down * (c * v[before, n + 1] + s * w[before, n + 1])
            ax -= up * (c * v[after, n + 1] + s * w[after, n + 1])
            ay += down * (s * v[before, n + 1] - c * w[before, n + 1])
            ay += up * (s * v[after, n + 1] - c * w[after, n + 1])
        before, here, after = here, after, before
    scale = field.gm_km3_s2 / (radius * radius)
    return scale * ax, scale * ay, scale * az


@njit(cache=True)
def work_of(field):
    """Room for `acceleration_at`."""
    return np.zeros((3, field.c.shape[1] + 2)), np.zeros((3, field.c.shape[1] + 2))


@njit(cache=True)
def _accelerations(places, field, central):
    out = np.empty_like(places)
    v, w = work_of(field)
    for k in range(places.shape[0]):
        out[k] = acceleration_at(places[k, 0], places[k, 1], places[k, 2], field, v, w, central)
    return out


def accelerations_km_s2(places_km: ArrayLike, field: Harmonics, *, central: bool = True) -> Floats:
    """Accelerations (n, 3) at places (n, 3), both in the frame that turns with the body."""
    return _accelerations(
        np.ascontiguousarray(np.atleast_2d(np.asarray(places_km, dtype=float))), field, central
    )
