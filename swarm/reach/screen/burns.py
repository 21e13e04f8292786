"""The burn of one release slot for one encounter date: two-body arc, then corrected in the field of the planets.

For a burn at t_b and an encounter at t_e the burn is a Lambert arc from the mothership to the target, less the
mothership's velocity. A mothership pulled by planets is off its two-body arc by delta(t_b, t_e) = P(t_e) - two-body;
the probe is pulled alike, so the arc is aimed at T(t_e) - delta. With no displacement to make the burn is exactly zero,
and for small burns this agrees to first order with the difference of two Lambert solutions, without asking for a
second arc whose plane may be undefined. What is tabulated is then corrected by shooting in the planets' field, which
costs a few motions of a hundred steps only for what is kept.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit

from swarm.reach.arcs.lambert import DEGENERATE_PLANE, NO_CONVERGENCE, NO_SOLUTION, OK, lambert
from swarm.reach.arcs.transition import fill_position_by_velocity
from targets.base.constants import GM_SUN_KM3_S2
from targets.ephemeris.planets import hermite_position
from targets.motion.perturbed import DEFAULT_STEP_S, move
from targets.motion.twobody import drift

_TWO_PI = 2.0 * math.pi
# Both senses of an arc are tried where its plane stands steeper than this to the mothership's (cosine).
_STEEP = 0.3
_MOST_SHOTS = 8
_HIT_KM = 0.1


class Limits(NamedTuple):
    """What an arc may be, for compiled code: km/s, s."""

    burn_km_s: float
    arc_min_s: float
    arc_max_s: float
    revolutions_max: int
    both_directions: bool
    pulled: bool  # whether mothership and probe feel the planets


class Slot(NamedTuple):
    """A release slot: its burn, the mothership's state then (6,), and the angle it has swept until then (rad)."""

    burn_s: float
    state: np.ndarray
    swept: float


class Track(NamedTuple):
    """The mothership's nodes: (m, 6) states, epoch of the first, spacing, (m,) angle swept since the first (rad)."""

    states: np.ndarray
    start_s: float
    step_s: float
    swept: np.ndarray


class Body(NamedTuple):
    """A body's states at the mothership's nodes, (k, 6), and the epoch of the first of them."""

    states: np.ndarray
    start_s: float


class Burn(NamedTuple):
    """A burn onto a Lambert arc, all as floats: km/s, and the whole turns of the arc."""

    status: float
    x: float
    y: float
    z: float
    arrival_vx: float
    arrival_vy: float
    arrival_vz: float
    turns: float


class Shot(NamedTuple):
    """A burn corrected in the field of the planets, all as floats: km/s."""

    status: float
    x: float
    y: float
    z: float
    arrival_vx: float
    arrival_vy: float
    arrival_vz: float


@njit(cache=True)
def _none(status, turns):
    """No burn, for a reason."""
    nan = math.nan
    return Burn(float(status), nan, nan, nan, nan, nan, nan, float(turns))


@njit(cache=True)
def _whole_turns(angle, swept):
    """Whole turns of the arc through `angle` that is nearest to what the mothership itself sweeps."""
    turned = swept + (angle - swept) - _TWO_PI * np.round((angle - swept) / _TWO_PI)
    return int(math.floor(turned / _TWO_PI))


@njit(cache=True)
def _burn_of_sense(at_burn, goal, tof, normal, turns, least_burn):
    """The smaller of `least_burn` and the burns of the one or two branches with so many turns one way round."""
    rx, ry, rz = goal
    for branch in range(1 if turns == 0 else 2):
        status, ux, uy, uz, vx, vy, vz = lambert(
            at_burn[0], at_burn[1], at_burn[2], rx, ry, rz, tof, GM_SUN_KM3_S2, normal, turns, branch == 1
        )
        if status != OK:
            if least_burn.status != OK:
                least_burn = _none(status, turns)
            continue
        bx, by, bz = ux - at_burn[3], uy - at_burn[4], uz - at_burn[5]
        if bx * bx + by * by + bz * bz < _squared(least_burn):
            least_burn = Burn(float(OK), bx, by, bz, vx, vy, vz, float(turns))
    return least_burn


@njit(cache=True)
def _squared(burn):
    """Square of a burn, infinite where there is none."""
    if burn.status != OK:
        return math.inf
    return burn.x * burn.x + burn.y * burn.y + burn.z * burn.z


@njit(cache=True)
def _burn_to(at_burn, swept, goal, tof, limits):
    """Smallest burn onto an arc to `goal` (three numbers).

    at_burn : (6) the mothership's state at the burn

    `swept` is the angle the mothership itself turns through: the probe, never far from it, turns through the nearest
    angle that ends at the target, which fixes the whole turns.
    """
    rx, ry, rz = goal
    hx = at_burn[1] * at_burn[5] - at_burn[2] * at_burn[4]
    hy = at_burn[2] * at_burn[3] - at_burn[0] * at_burn[5]
    hz = at_burn[0] * at_burn[4] - at_burn[1] * at_burn[3]
    cx = at_burn[1] * rz - at_burn[2] * ry
    cy = at_burn[2] * rx - at_burn[0] * rz
    cz = at_burn[0] * ry - at_burn[1] * rx
    h = math.sqrt(hx * hx + hy * hy + hz * hz)
    c = math.sqrt(cx * cx + cy * cy + cz * cz)
    along = (cx * hx + cy * hy + cz * hz) / h
    if not c > 0.0:
        return _none(DEGENERATE_PLANE, 0)
    dot = at_burn[0] * rx + at_burn[1] * ry + at_burn[2] * rz
    steep = abs(along) < _STEEP * c
    least_burn = _none(NO_SOLUTION, 0)
    for sense in range(2):
        normal = 1.0 if (along >= 0.0) == (sense == 0) else -1.0
        if sense == 1 and not (limits.both_directions or steep):
            break
        turns = 0  # the other way round the Sun: no burn of a probe does that, but the study asked to look
        if sense == 0 or steep:
            turns = _whole_turns(math.atan2(normal * c, dot), swept)
        if 0 <= turns <= limits.revolutions_max:
            least_burn = _burn_of_sense(at_burn, goal, tof, normal, turns, least_burn)
    return least_burn


@njit(cache=True)
def coast(slot, tof):
    """State of the mothership on its two-body arc, `tof` after the burn of a slot, as six floats."""
    s = slot.state
    return drift(s[0], s[1], s[2], s[3], s[4], s[5], GM_SUN_KM3_S2, tof)


@njit(cache=True)
def coast_pulled(slot, tof, planets):
    """The same in the field of the planets."""
    s = slot.state
    states, start_s, step_s, gm = planets
    return move(
        s[0], s[1], s[2], s[3], s[4], s[5], slot.burn_s, tof, DEFAULT_STEP_S, states, start_s, step_s, gm
    )


@njit(cache=True)
def burn_onto(t, slot, target, mothership, track, limits):
    """Burn of a slot for an encounter at `t`, where target and unburned mothership are at these places then."""
    tof = t - slot.burn_s
    free = coast(slot, tof)
    goal = (
        target[0] - (mothership[0] - free[0]),
        target[1] - (mothership[1] - free[1]),
        target[2] - (mothership[2] - free[2]),
    )
    return _burn_to(slot.state, _swept_at(track, t) - slot.swept, goal, tof, limits)


@njit(cache=True)
def aimed_burn(t, slot, body, track, limits):
    """Burn of one slot for an encounter at `t`; both places from their one-day nodes by Hermite."""
    target = hermite_position(body.states, body.start_s, track.step_s, t)
    mothership = hermite_position(track.states, track.start_s, track.step_s, t)
    return burn_onto(t, slot, target, mothership, track, limits)


@njit(cache=True)
def _swept_at(track, t):
    """Angle swept by the mothership since the path's start, linear between nodes."""
    u = (t - track.start_s) / track.step_s
    i = min(max(int(u), 0), track.swept.shape[0] - 2)
    return track.swept[i] + (u - i) * (track.swept[i + 1] - track.swept[i])


@njit(cache=True)
def size_of(burn):
    """Size of a burn in km/s, infinite where there is none."""
    if burn.status != OK:
        return math.inf
    return math.sqrt(burn.x**2 + burn.y**2 + burn.z**2)


@njit(cache=True)
def shoot(slot, t, burn, goal, planets):
    """Correct a two-body burn in the field of the planets.

    `goal` (3) is where the probe has to be at `t` if the mothership, unburned, moved in exactly this field. Newton's
    iteration with the two-body transition block, whose planets' share is small: each step leaves about a hundredth of
    the miss.
    """
    nan = math.nan
    states, start_s, step_s, gm = planets
    at_burn, tof = slot.state, t - slot.burn_s
    ux, uy, uz = burn.x, burn.y, burn.z
    block = np.empty((3, 3))
    before = math.inf
    for _ in range(_MOST_SHOTS):
        vx, vy, vz = at_burn[3] + ux, at_burn[4] + uy, at_burn[5] + uz
        end = move(
            at_burn[0], at_burn[1], at_burn[2], vx, vy, vz, slot.burn_s, tof, DEFAULT_STEP_S,
            states, start_s, step_s, gm,
        )  # fmt: skip
        mx, my, mz = goal[0] - end[0], goal[1] - end[1], goal[2] - end[2]
        miss = math.sqrt(mx * mx + my * my + mz * mz)
        if miss < _HIT_KM:
            return Shot(float(OK), ux, uy, uz, end[3], end[4], end[5])
        if not miss < before:
            break
        before = miss
        fill_position_by_velocity(at_burn[0], at_burn[1], at_burn[2], vx, vy, vz, GM_SUN_KM3_S2, tof, block)
        sx, sy, sz = _solve(block, mx, my, mz)
        ux, uy, uz = ux + sx, uy + sy, uz + sz
    return Shot(float(NO_CONVERGENCE), nan, nan, nan, nan, nan, nan)


@njit(cache=True)
def _solve(m, x, y, z):
    """Solution of a 3 x 3 system by cofactors (Cramer's rule); not finite where the matrix is singular."""
    c00 = m[1, 1] * m[2, 2] - m[1, 2] * m[2, 1]
    c01 = m[1, 2] * m[2, 0] - m[1, 0] * m[2, 2]
    c02 = m[1, 0] * m[2, 1] - m[1, 1] * m[2, 0]
    det = m[0, 0] * c00 + m[0, 1] * c01 + m[0, 2] * c02
    if det == 0.0:
        return math.nan, math.nan, math.nan
    c10 = m[0, 2] * m[2, 1] - m[0, 1] * m[2, 2]
    c11 = m[0, 0] * m[2, 2] - m[0, 2] * m[2, 0]
    c12 = m[0, 1] * m[2, 0] - m[0, 0] * m[2, 1]
    c20 = m[0, 1] * m[1, 2] - m[0, 2] * m[1, 1]
    c21 = m[0, 2] * m[1, 0] - m[0, 0] * m[1, 2]
    c22 = m[0, 0] * m[1, 1] - m[0, 1] * m[1, 0]
    return (
        (c00 * x + c10 * y + c20 * z) / det,
        (c01 * x + c11 * y + c21 * z) / det,
        (c02 * x + c12 * y + c22 * z) / det,
    )
