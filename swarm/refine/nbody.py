"""Motion under Sun, planets, Moon, relativity and solar pressure, on DE440's own polynomials. Compiled.

Heliocentric ICRF, km, km/s, s. The pulling bodies are evaluated from the Chebyshev records of the kernel, so that
there is no error of theirs to state. The integrator is the explicit Runge-Kutta pair of order 8 with error estimates
of order 5 and 3 [1]; its coefficients are read from scipy's published class.

    a = -(mu - beta) r/r^3 - sum GM_j (d_j/d_j^3 + r_j/r_j^3) + relativity,   d_j = r - r_j
    relativity = mu/(c^2 r^3) ((4 mu/r - v^2) r + 4 (r.v) v)          the Sun's field, harmonic coordinates [2]
    beta = 1 au^2 (P/c) reflectivity area/mass                          a flat plate that faces the Sun

References
----------
[1] Hairer, Norsett, Wanner, "Solving Ordinary Differential Equations I", 2nd ed., sec. II.5: DOP853
[2] IERS Conventions (2010), Technical Note 36, eq. 10.12, first term (beta = gamma = 1)
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import DOP853
from scipy.optimize import brentq

from targets.base import constants as k
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2, SPEED_OF_LIGHT_KM_S
from targets.ephemeris import spice

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
# Radiation pressure of a perfect absorber at 1 au: 1361 W/m^2 (Kopp & Lean 2011) over the speed of light.
PRESSURE_1AU_N_M2 = 1361.0 / (SPEED_OF_LIGHT_KM_S * 1e3)
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

_A = np.ascontiguousarray(DOP853.A[:12, :12])
_B = np.ascontiguousarray(DOP853.B)
_C = np.ascontiguousarray(DOP853.C[:12])
_E3 = np.ascontiguousarray(DOP853.E3)
_E5 = np.ascontiguousarray(DOP853.E5)
_PER_C2 = 1.0 / SPEED_OF_LIGHT_KM_S**2


class Tables(NamedTuple):
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


@dataclass(frozen=True, eq=False)
class Field:
    """Forces over [first_tdb_s, last_tdb_s]."""

    tables: Tables
    first_tdb_s: float
    last_tdb_s: float

    def without(self, *names: str, relativity: bool = True) -> Field:
        """The same field with the pull of some bodies (names of NAMES), or relativity, off."""
        gm = np.where(np.isin(NAMES, names), 0.0, self.tables.gm)
        return replace(self, tables=self.tables._replace(gm=gm, relativity=float(relativity)))


def make_field(first_tdb_s: float, last_tdb_s: float) -> Field:
    """Read the kernel's polynomials over a span. Raises InputError where the kernel does not cover it."""
    parts = [spice.polynomials(body, center, (first_tdb_s, last_tdb_s)) for body, center, _ in BODIES]
    sizes = [part.coefficients.size for part in parts]
    offsets = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    layout = np.array(
        [
            [at, part.coefficients.shape[0], part.coefficients.shape[2]]
            for at, part in zip(offsets, parts, strict=True)
        ],
        dtype=np.int64,
    )
    tables = Tables(
        np.concatenate([part.coefficients.ravel() for part in parts]),
        layout,
        np.array([part.start_tdb_s for part in parts]),
        np.array([part.length_s for part in parts]),
        np.array([gm for _, _, gm in BODIES]),
        1.0,
    )
    return Field(tables, first_tdb_s, last_tdb_s)


def pressure_km3_s2(area_m2: float, mass_kg: float, reflectivity: float) -> float:
    """Return beta: solar pressure as what it takes off the Sun's GM.

    reflectivity : 1 where all light is absorbed, 2 where all of it is thrown back
    """
    return 1e-3 * PRESSURE_1AU_N_M2 * reflectivity * area_m2 / mass_kg * AU_KM**2


class Lost(ArithmeticError):
    """A trajectory that could not be computed, with the reason."""


class Outside(Lost):
    """It leaves the dates of its field."""


def _lost(status: int) -> Lost:
    return (Outside if status == OUTSIDE else Lost)(REASONS[status])


def propagate(
    field: Field, states: ArrayLike, from_tdb_s: ArrayLike, to_tdb_s: ArrayLike, *, beta: float = 0.0
) -> Floats:
    """Return (n, 6) states moved from (n,) epochs to (n,) epochs; rows that could not be are NaN."""
    start = np.array(np.atleast_2d(np.asarray(states, dtype=float)), order="C")
    begin, end = (
        np.ascontiguousarray(np.broadcast_to(np.asarray(t, float), len(start)))
        for t in (from_tdb_s, to_tdb_s)
    )
    out, status = np.empty_like(start), np.zeros(len(start), dtype=np.int64)
    _move_many(start, begin, end, beta, field.tables, (field.first_tdb_s, field.last_tdb_s), out, status)
    return out


def path(
    field: Field, state: ArrayLike, from_tdb_s: float, epochs_tdb_s: ArrayLike, *, beta: float = 0.0
) -> Floats:
    """Return (m, 6) states of one body at epochs in order of travel (falling for backward)."""
    epochs = np.asarray(epochs_tdb_s, dtype=float)
    out = np.empty((len(epochs), 6))
    now, t = np.asarray(state, dtype=float), from_tdb_s
    for j, epoch in enumerate(epochs):
        now = moved(field, now, t, float(epoch), beta=beta)
        out[j], t = now, float(epoch)
    return out


def moved(field: Field, state: ArrayLike, from_tdb_s: float, to_tdb_s: float, *, beta: float = 0.0) -> Floats:
    """Return the (6,) state at another epoch. Raises Lost."""
    start = np.array(np.asarray(state, dtype=float).reshape(1, 6), order="C")
    out, status = np.empty_like(start), np.zeros(1, dtype=np.int64)
    epochs = np.array([from_tdb_s], dtype=float), np.array([to_tdb_s], dtype=float)
    _move_many(start, *epochs, beta, field.tables, (field.first_tdb_s, field.last_tdb_s), out, status)
    if status[0] != OK:
        raise _lost(int(status[0]))
    return out[0]


def moved_with_transition(
    field: Field, state: ArrayLike, from_tdb_s: float, to_tdb_s: float, *, beta: float = 0.0
) -> tuple[Floats, Floats]:
    """Return the (6,) state and the (6, 6) transition matrix by the variational equations. Raises Lost.

    In the matrix relativity's own gradient is left out: 1e-8 of the Sun's.
    """
    start = np.zeros((1, 42))
    start[0, :6] = state
    start[0, 6:] = np.eye(6).ravel()
    out, status = np.empty_like(start), np.zeros(1, dtype=np.int64)
    epochs = np.array([from_tdb_s], dtype=float), np.array([to_tdb_s], dtype=float)
    _move_many(start, *epochs, beta, field.tables, (field.first_tdb_s, field.last_tdb_s), out, status)
    if status[0] != OK:
        raise _lost(int(status[0]))
    return out[0, :6].copy(), out[0, 6:].reshape(6, 6).copy()


def place(field: Field, name: str, tdb_s: ArrayLike) -> Floats:
    """Return (n, 6) heliocentric states of a body of NAMES as the forces see it."""
    epochs = np.atleast_1d(np.asarray(tdb_s, dtype=float))
    return _places(NAMES.index(name), epochs, field.tables)


def closest_to(
    field: Field, name: str, state: ArrayLike, span_tdb_s: tuple[float, float], *, look_s: float = DAY_S / 4.0
) -> tuple[float, Floats]:
    """Return epoch and (6,) state relative to a body of NAMES at the least distance inside a span.

    Every change of sign of the range rate between looks is followed to its root. Raises Lost.
    """

    def relative(t: float, at: tuple[float, Floats]) -> Floats:
        return moved(field, at[1], at[0], t) - place(field, name, t)[0]

    def rate(t: float, at: tuple[float, Floats]) -> float:
        x = relative(t, at)
        return float(x[:3] @ x[3:])

    begin, end = span_tdb_s
    epochs = np.linspace(begin, end, max(2, math.ceil((end - begin) / look_s) + 1))
    states = path(field, state, begin, epochs)
    apart = states - place(field, name, epochs)
    rates = np.einsum("ij,ij->i", apart[:, :3], apart[:, 3:])
    found = [int(np.argmin(np.linalg.norm(apart[:, :3], axis=1)))]
    best, best_x = float(epochs[found[0]]), apart[found[0]]
    for j in np.flatnonzero((rates[:-1] < 0.0) & (rates[1:] >= 0.0)):
        at = (float(epochs[j]), states[j])
        t = float(brentq(rate, epochs[j], epochs[j + 1], args=(at,), xtol=1e-4))
        x = relative(t, at)
        if np.linalg.norm(x[:3]) < np.linalg.norm(best_x[:3]):
            best, best_x = t, x
    return best, best_x


def closest_pass(
    field: Field, probe: Floats, target: Floats, tdb_s: float, *, beta: float = 0.0
) -> tuple[float, Floats, Floats]:
    """Return epoch and both (6,) states at the closest approach of two bodies near a common epoch. Raises Lost.

    Newton on the range rate of nearly straight relative motion; for targets too small to bend the path.
    """
    t = tdb_s
    for _ in range(8):
        x = probe - target
        step = -float(x[:3] @ x[3:]) / float(x[3:] @ x[3:])
        probe, target = moved(field, probe, t, t + step, beta=beta), moved(field, target, t, t + step)
        t += step
        if abs(step) < 1e-5:
            break
    return t, probe, target


def span_with(epochs_tdb_s: Sequence[float], *, margin_s: float = 2.0 * DAY_S) -> tuple[float, float]:
    """Return first and last of some epochs, a margin wider: what a field must cover."""
    return min(epochs_tdb_s) - margin_s, max(epochs_tdb_s) + margin_s


def span_in_kernel(epochs_tdb_s: Sequence[float], *, margin_s: float) -> tuple[float, float]:
    """The same as far as the kernel goes, so that dates near its end can still be flown."""
    first, last = spice.coverage_tdb_s(spice.SUN)
    low, high = span_with(epochs_tdb_s, margin_s=margin_s)
    return max(low, first), min(high, last)


# --- compiled -----------------------------------------------------------------------------------------------


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
    """Right-hand side; with 42 values the transition matrix, row by row, is carried along."""
    x, yy, z, vx, vy, vz = y[0], y[1], y[2], y[3], y[4], y[5]
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
    sx, sy, sz = _chebyshev(_SUN, t, tables)
    ex, ey, ez = _chebyshev(_EMB, t, tables)
    for body in range(2, tables.gm.size):
        gm = tables.gm[body]
        if gm == 0.0:
            continue
        px, py, pz = _chebyshev(body, t, tables)
        if body >= _EARTH:
            px, py, pz = px + ex, py + ey, pz + ez
        px, py, pz = px - sx, py - sy, pz - sz
        dx, dy, dz = x - px, yy - py, z - pz
        d2 = dx * dx + dy * dy + dz * dz
        p2 = px * px + py * py + pz * pz
        near = gm / (d2 * math.sqrt(d2))
        far = gm / (p2 * math.sqrt(p2))
        ax -= near * dx + far * px
        ay -= near * dy + far * py
        az -= near * dz + far * pz
        if wide:
            _add_gradient(dx, dy, dz, near, d2, gradient, False)
    out[0], out[1], out[2], out[3], out[4], out[5] = vx, vy, vz, ax, ay, az
    if wide:
        for i in range(3):
            for j in range(6):
                out[6 + 6 * i + j] = y[24 + 6 * i + j]
                total = 0.0
                for m in range(3):
                    total += gradient[i, m] * y[6 + 6 * m + j]
                out[24 + 6 * i + j] = total


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
    size = y.size
    for s in range(1, 12):
        for i in range(size):
            total = 0.0
            for j in range(s):
                if _A[s, j] != 0.0:
                    total += _A[s, j] * stages[j, i]
            work[i] = y[i] + h * total
        _rates(t + _C[s] * h, work, beta, tables, stages[s], gradient)
    for i in range(size):
        total = 0.0
        for j in range(12):
            total += _B[j] * stages[j, i]
        new[i] = y[i] + h * total
    _rates(t + h, new, beta, tables, stages[12], gradient)
    worst = 0.0
    for part in range(2):
        low = 3 * part
        e3 = e5 = scale = 0.0
        for i in range(low, low + 3):
            a = b = 0.0
            for j in range(13):
                a += _E3[j] * stages[j, i]
                b += _E5[j] * stages[j, i]
            e3 += a * a
            e5 += b * b
            scale += new[i] * new[i]
        if e5 > 0.0:
            error = abs(h) * e5 / math.sqrt((e5 + 0.01 * e3) * scale) / TOLERANCE
            worst = max(worst, error)
    return worst


@njit(cache=True)
def _move_one(y, begin, end, beta, tables, stages, work, gradient, new):
    """Move y in place from `begin` to `end`; return the status. Time is counted from `begin`: a double is finer."""
    span = end - begin
    if span == 0.0:
        return OK
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
        factor = 5.0 if error == 0.0 else min(5.0, max(0.2, 0.9 * error ** (-0.125)))
        if error <= 1.0:
            for i in range(y.size):
                y[i] = new[i]
                stages[0, i] = stages[12, i]
            if last:
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
