"""Bodies moved in the forces of `forces`: states from epoch to epoch, transition matrices, closest approaches.

Heliocentric ICRF, km, km/s, s.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from swarm.refine.forces import BODIES, NAMES, OK, OUTSIDE, REASONS, PullingBodies, _move_many, _places
from targets.base.constants import AU_KM, DAY_S, SPEED_OF_LIGHT_KM_S
from targets.ephemeris import spice

Floats = NDArray[np.float64]

# Radiation pressure of a perfect absorber at 1 au: 1361 W/m^2 (Kopp & Lean 2011) over the speed of light.
PRESSURE_1AU_N_M2 = 1361.0 / (SPEED_OF_LIGHT_KM_S * 1e3)


@dataclass(frozen=True, eq=False)
class Field:
    """Forces over [first_tdb_s, last_tdb_s]."""

    tables: PullingBodies
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
    tables = PullingBodies(
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
    nearest = [int(np.argmin(np.linalg.norm(apart[:, :3], axis=1)))]
    best, best_x = float(epochs[nearest[0]]), apart[nearest[0]]
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
