"""The burn that makes a probe pass a body as asked, in the field: Newton's method from the unburned path. Compiled."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.reach.approach.field import HIT, NOT_MET, OK, OUTSIDE, PlanetField, fly_to_closest, relative_to
from swarm.reach.approach.goals import aim_of, fill_aim_by_state, frame_of, miss_of

Floats = NDArray[np.float64]

WITHIN_KM = 0.01
_ITERATIONS = 30
NOT_CONVERGED, BOUND = 5, 6
REASONS = (
    "",
    "the integrator takes too many steps near a body",
    "dates outside the field's",
    "the path does not come near the body in time",
    "something else is hit first",
    "no burn was found that meets the pass asked for",
    "the probe is bound to the body: it does not pass",
)


@dataclass(frozen=True)
class Shots:
    """n rows.

    status       : (n,) index of REASONS; what follows is NaN where it is not OK
    burn_km_s    : (n, 3)
    closest_s    : (n,) epoch of closest approach
    state        : (n, 6) there, about the planet's centre
    relative     : (n, 6) there, relative to the body
    b_km         : (n, 2) T, R of the aim point
    v_inf_km_s   : (n,) relative to the body, of the unburned path where it comes near
    s            : (n, 3) its incoming asymptote
    unburned_km  : (n, 2) T, R of where it goes without a burn
    by_state     : (n, 2, 6) d(B.T, B.R) by the state at the burn
    """

    status: NDArray[np.int64]
    burn_km_s: Floats
    closest_s: Floats
    state: Floats
    relative: Floats
    b_km: Floats
    v_inf_km_s: Floats
    s: Floats
    unburned_km: Floats
    by_state: Floats


@njit(cache=True)
def begin_flight(state, burn, y):
    """Put a state after a burn, and the transition matrix of no time at all, into y, (42,)."""
    y[:] = 0.0
    for i in range(3):
        y[i], y[3 + i] = state[i], state[3 + i] + burn[i]
    for i in range(6):
        y[6 + 6 * i + i] = 1.0


@njit(cache=True)
def _aim_by_start(relative, frame, y, by_start):
    """Write d(B.T, B.R) by the state at the start, (2, 6), from the transition matrix in y."""
    by_state = np.empty((2, 6))
    fill_aim_by_state(relative, frame, by_state)
    back_to_start(by_state, y, by_start)


@njit(cache=True)
def back_to_start(by_state, y, by_start):
    """Turn what goals change by the state at the end, (k, 6), into the same by the state at the start."""
    for i in range(by_state.shape[0]):
        for j in range(6):
            total = 0.0
            for m in range(6):
                total += by_state[i, m] * y[6 + 6 * m + j]
            by_start[i, j] = total


@njit(cache=True)
def _improve(by_start, miss, burn):
    """Make the burn the shortest that meets the aim to first order; False where there is none."""
    a = b = c = 0.0
    p, q = -miss[0], -miss[1]
    for j in range(3):
        s, t = by_start[0, 3 + j], by_start[1, 3 + j]
        a += s * s
        b += s * t
        c += t * t
        p += s * burn[j]
        q += t * burn[j]
    determinant = a * c - b * b
    if not determinant > 1e-18 * a * c:
        return False
    first, second = (c * p - b * q) / determinant, (a * q - b * p) / determinant
    for j in range(3):
        burn[j] = by_start[0, 3 + j] * first + by_start[1, 3 + j] * second
    return True


@njit(cache=True)
def _unburned(state, begin, target, mu, window, gate_km, field, y, relative, by_start):
    """Return status, epoch and B-plane of the path without a burn; y, relative and by_start are filled."""
    begin_flight(state, np.zeros(3), y)
    met = fly_to_closest(y, begin, target, window, gate_km, field)
    relative[:] = relative_to(target, met.epoch_s, y, field)
    frame = frame_of(relative, mu)
    if met.status != OK:
        return met.status, met.epoch_s, frame
    if not math.isfinite(frame.v_inf):
        return BOUND, met.epoch_s, frame
    _aim_by_start(relative, frame, y, by_start)
    return OK, met.epoch_s, frame


@njit(cache=True)
def _shoot_one(state, begin, target, mu, window, goal, field, frame, relative, burn, y, by_start):
    """Return status and epoch of closest approach; burn, y and by_start are filled.

    frame, relative, by_start : of the path without a burn
    """
    burn[:] = 0.0
    for _ in range(_ITERATIONS):
        if not _improve(by_start, miss_of(relative, goal, frame), burn):
            break
        begin_flight(state, burn, y)
        met = fly_to_closest(y, begin, target, window, 0.0, field)
        if met.status != OK:
            return met.status, met.epoch_s
        relative[:] = relative_to(target, met.epoch_s, y, field)
        _aim_by_start(relative, frame, y, by_start)
        miss = miss_of(relative, goal, frame)
        nearest = math.sqrt(relative[0] ** 2 + relative[1] ** 2 + relative[2] ** 2)
        if math.hypot(miss[0], miss[1]) < 0.5 * WITHIN_KM and abs(nearest - goal[0]) < WITHIN_KM:
            return OK, met.epoch_s
    return NOT_CONVERGED, 0.0


@njit(cache=True)
def _alike(a, b, states, begin, targets, mus, windows, gates):
    """Whether two rows begin as one and lead to one body: then their unburned paths are one."""
    same = begin[a] == begin[b] and targets[a] == targets[b] and mus[a] == mus[b] and gates[a] == gates[b]
    same = same and windows[a, 0] == windows[b, 0] and windows[a, 1] == windows[b, 1]
    for i in range(6):
        same = same and states[a, i] == states[b, i]
    return same


@njit(cache=True)
def _shoot_many(states, begin, targets, mus, windows, gates, goals, field, covered, out):
    status, burns, closest, ends, relatives, bs, v_infs, ss, unburned, by_starts = out
    y, by_start, burn = np.empty(42), np.empty((2, 6)), np.empty(3)
    relative, first_by_start, first_relative = np.empty(6), np.empty((2, 6)), np.empty(6)
    first, epoch, frame = OUTSIDE, 0.0, frame_of(np.ones(6), 1.0)
    known = -1  # the row whose unburned path is known
    for n in range(states.shape[0]):
        if begin[n] < covered[0] or windows[n, 1] > covered[1]:
            status[n] = OUTSIDE
            continue
        if known < 0 or not _alike(known, n, states, begin, targets, mus, windows, gates):
            known = n
            first, epoch, frame = _unburned(
                states[n], begin[n], targets[n], mus[n], windows[n], gates[n], field, y, first_relative,
                first_by_start,
            )  # fmt: skip
        status[n] = first
        if first != OK:
            continue
        relative[:], by_start[:] = first_relative, first_by_start
        status[n], epoch = _shoot_one(
            states[n],
            begin[n],
            targets[n],
            mus[n],
            windows[n],
            goals[n],
            field,
            frame,
            relative,
            burn,
            y,
            by_start,
        )
        if status[n] == OK:
            closest[n], burns[n], by_starts[n], ends[n] = epoch, burn, by_start, y[:6]
            relatives[n, :] = relative_to(targets[n], epoch, y, field)
            bs[n, :] = aim_of(relatives[n], frame)
            v_infs[n] = frame.v_inf
            ss[n, :] = frame.s
            unburned[n, :] = aim_of(first_relative, frame)


def shoot(
    states: Floats,
    begin_s: Floats,
    *,
    targets: NDArray[np.int64],
    gm_km3_s2: Floats,
    windows_s: Floats,
    gates_km: Floats,
    goals: Floats,
    field: PlanetField,
    covered_s: tuple[float, float],
) -> Shots:
    """Shoot n rows.

    Parameters
    ----------
    states    : (n, 6) unburned, at the burn, about the planet's centre
    begin_s   : (n,) epochs of the burns
    targets   : (n,) index of the body in the field (`about.index_of`)
    gm_km3_s2 : (n,) of the body
    windows_s : (n, 2) epochs between which the body is met
    gates_km  : (n,) how near the unburned path is followed for the first step: before the body bends it
    goals     : (n, 2) periapsis distance km, clock angle rad from T towards R
    """
    n = len(begin_s)
    shapes = ((n, 3), (n,), (n, 6), (n, 6), (n, 2), (n,), (n, 3), (n, 2), (n, 2, 6))
    out = (np.zeros(n, dtype=np.int64), *(np.full(shape, np.nan) for shape in shapes))
    arrays = (np.ascontiguousarray(a, dtype=float) for a in (gm_km3_s2, windows_s, gates_km, goals))
    _shoot_many(
        np.ascontiguousarray(states, dtype=float), np.ascontiguousarray(begin_s, dtype=float),
        np.ascontiguousarray(targets, dtype=np.int64), *arrays, field, covered_s, out,
    )  # fmt: skip
    return Shots(*out)


__all__ = ["BOUND", "HIT", "NOT_CONVERGED", "NOT_MET", "REASONS", "WITHIN_KM", "Shots", "shoot"]
