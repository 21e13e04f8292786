"""Motion under Sun, planets, Moon, relativity and solar pressure, on DE440's own polynomials. Compiled.

States are heliocentric ICRF, km, km/s, s; steps are taken about the centre of mass of the solar system, where the Sun
moves as the kernel says. So the pull of asteroids on the Sun, which is in the kernel, is in the motion about it: some
100 m in 300 days, and what any integrator on the kernel's Sun and planets gives. (Their pull on the probe itself is as
small, and left out.) The pulling bodies are evaluated from the Chebyshev records of the kernel, so that there is no
error of theirs to state. The integrator is the pair of order 8 of `targets.motion.order8`.

    a = -(mu - beta) r/r^3 - sum GM_j d_j/d_j^3 + relativity,   r from the Sun, d_j from body j
    relativity = mu/(c^2 r^3) ((4 mu/r - v^2) r + 4 (r.v) v)          the Sun's field, harmonic coordinates [1]
    beta = 1 au^2 (P/c) reflectivity area/mass                          a flat plate that faces the Sun

References
----------
[1] IERS Conventions (2010), Technical Note 36, eq. 10.12, first term (beta = gamma = 1)
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from targets.base import constants as k
from targets.base.constants import DAY_S, GM_SUN_KM3_S2, SPEED_OF_LIGHT_KM_S
from targets.motion.order8 import C, error_of, next_factor, to_end, to_stage, transition_rates

Floats = NDArray[np.float64]

# SPICE id, centre it is given about, GM. The Earth and the Moon are given about their common centre of mass.
BODIES = (
    (10, 0, 0.0),  # the Sun: its pull is the first term
    (3, 0, 0.0),
    (1, 0, k.GM_MERCURY_KM3_S2),
    (2, 0, k.GM_VENUS_KM3_S2),
    (4, 0, k.GM_MARS_SYSTEM_KM3_S2),
    (5, 0, k.GM_JUPITER_SYSTEM_KM3_S2),
    (6, 0, k.GM_SATURN_SYSTEM_KM3_S2),
    (7, 0, k.GM_URANUS_SYSTEM_KM3_S2),
    (8, 0, k.GM_NEPTUNE_SYSTEM_KM3_S2),
    (399, 3, k.GM_EARTH_KM3_S2),
    (301, 3, k.GM_MOON_KM3_S2),
)
NAMES = (
    "Sun",
    "Earth and Moon",
    "Mercury",
    "Venus",
    "Mars",
    "Jupiter",
    "Saturn",
    "Uranus",
    "Neptune",
    "Earth",
    "Moon",
)
_SUN, _EMB, _EARTH = 0, 1, 9
# Error allowed per step, relative to distance and speed: closes 400 days within a metre (tests/refine).
TOLERANCE = 1e-13
# No step is longer: a close pass of a planet must not be stepped over.
STEP_MAX_S = 8.0 * DAY_S
_STEPS_MAX = 200_000
OK, TOO_MANY_STEPS, OUTSIDE = 0, 1, 2
REASONS = (
    "",
    "the integrator takes too many steps: a body is hit or nearly so",
    "an epoch outside the dates the forces were read for",
)

_PER_C2 = 1.0 / SPEED_OF_LIGHT_KM_S**2


class PullingBodies(NamedTuple):
    """What compiled code reads: records of all bodies end to end.

    records : flat Chebyshev coefficients, per record x, y, z
    layout  : (11, 3) int offset, number of records, coefficients per axis
    start_s, length_s : (11,) first epoch and length of a record
    gm      : (11,)
    relativity : 1 or 0
    """

    records: Floats
    layout: NDArray[np.int64]
    start_s: Floats
    length_s: Floats
    gm: Floats
    relativity: float


@njit(cache=True)
def _chebyshev(body, t, tables):
    """Position of a row of BODIES about its own centre."""
    at, count, terms = tables.layout[body, 0], tables.layout[body, 1], tables.layout[body, 2]
    since = (t - tables.start_s[body]) / tables.length_s[body]
    record = min(max(int(math.floor(since)), 0), count - 1)
    u = 2.0 * (since - record) - 1.0
    at += record * 3 * terms
    two_u = 2.0 * u
    x1 = x2 = y1 = y2 = z1 = z2 = 0.0
    for j in range(terms - 1, 0, -1):  # Clenshaw
        x1, x2 = two_u * x1 - x2 + tables.records[at + j], x1
        y1, y2 = two_u * y1 - y2 + tables.records[at + terms + j], y1
        z1, z2 = two_u * z1 - z2 + tables.records[at + 2 * terms + j], z1
    return (
        u * x1 - x2 + tables.records[at],
        u * y1 - y2 + tables.records[at + terms],
        u * z1 - z2 + tables.records[at + 2 * terms],
    )


@njit(cache=True)
def _sun(t, tables):
    """State of the Sun about the centre of mass."""
    at, count, terms = tables.layout[_SUN, 0], tables.layout[_SUN, 1], tables.layout[_SUN, 2]
    length = tables.length_s[_SUN]
    since = (t - tables.start_s[_SUN]) / length
    record = min(max(int(math.floor(since)), 0), count - 1)
    u = 2.0 * (since - record) - 1.0
    out = np.empty(6)
    for axis in range(3):
        first = at + (3 * record + axis) * terms
        p1 = p2 = d1 = d2 = 0.0
        for j in range(terms - 1, 0, -1):  # Clenshaw, and its derivative
            d1, d2 = 2.0 * p1 + 2.0 * u * d1 - d2, d1
            p1, p2 = 2.0 * u * p1 - p2 + tables.records[first + j], p1
        out[axis] = u * p1 - p2 + tables.records[first]
        out[3 + axis] = (p1 + u * d1 - d2) * 2.0 / length
    return out


@njit(cache=True)
def _heliocentric(body, t, tables):
    sx, sy, sz = _chebyshev(_SUN, t, tables)
    x, y, z = _chebyshev(body, t, tables)
    if body >= _EARTH:
        ex, ey, ez = _chebyshev(_EMB, t, tables)
        x, y, z = x + ex, y + ey, z + ez
    return x - sx, y - sy, z - sz


@njit(cache=True)
def _places(body, epochs, tables):
    """States; velocity by a central difference over two minutes (1e-9 km/s)."""
    out = np.empty((epochs.size, 6))
    for n in range(epochs.size):
        t = epochs[n]
        out[n, 0], out[n, 1], out[n, 2] = _heliocentric(body, t, tables)
        a, b = _heliocentric(body, t + 60.0, tables), _heliocentric(body, t - 60.0, tables)
        c, d = _heliocentric(body, t + 120.0, tables), _heliocentric(body, t - 120.0, tables)
        for i in range(3):
            out[n, 3 + i] = (8.0 * (a[i] - b[i]) - (c[i] - d[i])) / 720.0
    return out


@njit(cache=True)
def _rates(t, y, beta, tables, out, gradient):
    """Right-hand side about the centre of mass; with 42 values the transition matrix, row by row, is carried along."""
    sun = _sun(t, tables)
    x, yy, z = y[0] - sun[0], y[1] - sun[1], y[2] - sun[2]
    vx, vy, vz = y[3] - sun[3], y[4] - sun[4], y[5] - sun[5]
    r2 = x * x + yy * yy + z * z
    r = math.sqrt(r2)
    pull = (GM_SUN_KM3_S2 - beta) / (r2 * r)
    ax, ay, az = -pull * x, -pull * yy, -pull * z
    wide = y.size == 42
    if wide:
        _add_gradient(x, yy, z, pull, r2, gradient, True)
    if tables.relativity != 0.0:
        factor = GM_SUN_KM3_S2 * _PER_C2 / (r2 * r)
        along = 4.0 * GM_SUN_KM3_S2 / r - (vx * vx + vy * vy + vz * vz)
        turn = 4.0 * (x * vx + yy * vy + z * vz)
        ax += factor * (along * x + turn * vx)
        ay += factor * (along * yy + turn * vy)
        az += factor * (along * z + turn * vz)
    ex, ey, ez = _chebyshev(_EMB, t, tables)
    for body in range(2, tables.gm.size):
        gm = tables.gm[body]
        if gm == 0.0:
            continue
        px, py, pz = _chebyshev(body, t, tables)
        if body >= _EARTH:
            px, py, pz = px + ex, py + ey, pz + ez
        dx, dy, dz = y[0] - px, y[1] - py, y[2] - pz
        d2 = dx * dx + dy * dy + dz * dz
        near = gm / (d2 * math.sqrt(d2))
        ax -= near * dx
        ay -= near * dy
        az -= near * dz
        if wide:
            _add_gradient(dx, dy, dz, near, d2, gradient, False)
    out[0], out[1], out[2], out[3], out[4], out[5] = y[3], y[4], y[5], ax, ay, az
    if wide:
        transition_rates(y, gradient, out)


@njit(cache=True)
def _add_gradient(dx, dy, dz, pull, d2, gradient, fresh):
    d = (dx, dy, dz)
    for i in range(3):
        for j in range(3):
            part = 3.0 * pull * d[i] * d[j] / d2 - (pull if i == j else 0.0)
            gradient[i, j] = part if fresh else gradient[i, j] + part


@njit(cache=True)
def _step(t, y, h, beta, tables, stages, work, gradient, new):
    """One step into `new`; return its error in units of the tolerance. stages[0] holds the rates at t."""
    for s in range(1, 12):
        to_stage(s, y, h, stages, work)
        _rates(t + C[s] * h, work, beta, tables, stages[s], gradient)
    to_end(y, h, stages, new)
    _rates(t + h, new, beta, tables, stages[12], gradient)
    return error_of(h, stages, new, TOLERANCE)


@njit(cache=True)
def _move_one(y, begin, end, beta, tables, stages, work, gradient, new):
    """Move y, heliocentric, in place from `begin` to `end`; return the status.

    Time is counted from `begin`: a double is finer.
    """
    span = end - begin
    if span == 0.0:
        return OK
    y[:6] += _sun(begin, tables)
    sign = 1.0 if span > 0.0 else -1.0
    done = 0.0
    h = min(abs(span), 0.5 * DAY_S)
    _rates(begin, y, beta, tables, stages[0], gradient)
    for _ in range(_STEPS_MAX):
        left = abs(span) - done
        last = h >= left
        if last:
            h = left
        error = _step(begin + sign * done, y, sign * h, beta, tables, stages, work, gradient, new)
        if not math.isfinite(error):
            return TOO_MANY_STEPS
        factor = next_factor(error)
        if error <= 1.0:
            for i in range(y.size):
                y[i] = new[i]
                stages[0, i] = stages[12, i]
            if last:
                y[:6] -= _sun(end, tables)
                return OK
            done += h
        else:
            factor = min(factor, 0.9)
        h = min(h * factor, STEP_MAX_S)
    return TOO_MANY_STEPS


@njit(cache=True)
def _move_many(start, begin, end, beta, tables, covered, out, status):
    size = start.shape[1]
    stages, work, new = np.empty((13, size)), np.empty(size), np.empty(size)
    gradient, y = np.zeros((3, 3)), np.empty(size)
    for n in range(start.shape[0]):
        y[:] = start[n]
        if min(begin[n], end[n]) < covered[0] or max(begin[n], end[n]) > covered[1]:
            status[n] = OUTSIDE
        elif not math.isfinite(y.sum()):
            status[n] = TOO_MANY_STEPS
        else:
            status[n] = _move_one(y, begin[n], end[n], beta, tables, stages, work, gradient, new)
        for i in range(size):
            out[n, i] = y[i] if status[n] == OK else math.nan
