"""The burn that makes a probe enter as asked, in the field: Newton on angle, clock angle and arrival. Compiled.

Two goals are points of the B-plane, as of a low pass; the third is the epoch at the interface. Without an arrival asked
for, the burn is the shortest that meets the other two.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.reach.approach.entry_goals import (
    ABOVE,
    Interface,
    angle_below_horizon,
    entry_aim_km,
    entry_aim_slope,
    fly_to_interface,
    height_and_up,
)
from swarm.reach.approach.field import OK, OUTSIDE, PlanetField, fly_to_closest, relative_to
from swarm.reach.approach.goals import aim_of, fill_aim_by_state, frame_of
from swarm.reach.approach.shoot import (
    BOUND,
    NOT_CONVERGED,
    REASONS,
    WITHIN_KM,
    back_to_start,
    begin_flight,
)

Floats = NDArray[np.float64]

WITHIN_S = 1.0
_ITERATIONS = 40
# A step turns the angle by no more than this: far from the goal the slope of |B| is not that at the goal.
_TURN_MAX = 0.3
ENTRY_REASONS = (*REASONS, "the path stays above the interface")


@dataclass(frozen=True)
class EntryShots:
    """n rows.

    status      : (n,) index of ENTRY_REASONS; what follows is NaN where it is not OK
    burn_km_s   : (n, 3)
    entry_s     : (n,) epoch at the interface
    relative    : (n, 6) there, from the body's centre, ICRF
    angle_rad   : (n,) inertial, below the horizon, there
    b_km        : (n, 2) T, R of the aim point
    v_inf_km_s  : (n,) relative to the body, of the unburned path where it comes near
    s           : (n, 3) its incoming asymptote
    unburned_km : (n, 2) T, R of where it goes without a burn
    by_state    : (n, 3, 6) d(B.T, B.R, epoch at the interface) by the state at the burn
    """

    status: NDArray[np.int64]
    burn_km_s: Floats
    entry_s: Floats
    relative: Floats
    angle_rad: Floats
    b_km: Floats
    v_inf_km_s: Floats
    s: Floats
    unburned_km: Floats
    by_state: Floats


@njit(cache=True)
def _goals_by_start(relative, frame, interface, y, by_start):
    """Write d(B.T, B.R, epoch) by the state at the start, (3, 6), from the transition matrix in y."""
    by_state = np.zeros((3, 6))
    fill_aim_by_state(relative, frame, by_state[:2])
    _, ux, uy, uz = height_and_up(relative, interface)
    sinking = relative[3] * ux + relative[4] * uy + relative[5] * uz
    by_state[2, 0], by_state[2, 1], by_state[2, 2] = -ux / sinking, -uy / sinking, -uz / sinking
    back_to_start(by_state, y, by_start)


@njit(cache=True)
def _change(by_start, miss, burn, timed):
    """Change the burn to meet what is missed, to first order; False where there is no such burn.

    Without a date: the shortest whole burn that meets two goals. With one: the burn that meets three; the epoch is
    counted as the way flown in it, so that the three rows are alike.
    """
    if timed:
        slopes, wanted = np.empty((3, 3)), np.empty(3)
        for i in range(3):
            size = math.sqrt(by_start[i, 3] ** 2 + by_start[i, 4] ** 2 + by_start[i, 5] ** 2)
            if not size > 0.0:
                return False
            for j in range(3):
                slopes[i, j] = by_start[i, 3 + j] / size
            wanted[i] = -miss[i] / size
        if not abs(np.linalg.det(slopes)) > 1e-9:
            return False
        burn += np.linalg.solve(slopes, wanted)
        return True
    slopes2 = np.ascontiguousarray(by_start[:2, 3:])
    p = slopes2 @ burn - miss[:2]
    square = slopes2 @ slopes2.T
    determinant = square[0, 0] * square[1, 1] - square[0, 1] ** 2
    if not determinant > 1e-18 * square[0, 0] * square[1, 1]:
        return False
    burn[:] = slopes2.T @ np.linalg.solve(square, p)
    return True


@njit(cache=True)
def _missed(relative, frame, goal, epoch, entered, interface, miss):
    """Fill (B.T, B.R, epoch) less what is asked for; goal: angle, clock, epoch."""
    b_t, b_r = aim_of(relative, frame)
    if entered:
        angle = angle_below_horizon(relative, interface)
        turn = max(-_TURN_MAX, min(_TURN_MAX, goal[0] - angle))
        # by the mean of both ends' slopes: one of them is flat where the path is level
        slope = 0.5 * (
            entry_aim_slope(relative, angle, frame.v_inf)
            + entry_aim_slope(relative, angle + turn, frame.v_inf)
        )
        size = math.hypot(b_t, b_r) + slope * turn
    else:
        size = entry_aim_km(goal[0], frame.v_inf, frame.mu, interface)
    miss[0], miss[1] = b_t - size * math.cos(goal[1]), b_r - size * math.sin(goal[1])
    miss[2] = epoch - goal[2]


@njit(cache=True)
def _shoot_entry(state, begin, target, mu, window, gate_km, goal, interface, field, burn, y, by_start):
    """Return status, epoch at the interface, B-plane, unburned aim; burn, y and by_start are filled."""
    relative, miss = np.empty(6), np.zeros(3)
    timed = not math.isnan(goal[2])
    burn[:] = 0.0
    begin_flight(state, burn, y)
    met = fly_to_closest(y, begin, target, window, gate_km, field)
    relative[:] = relative_to(target, met.epoch_s, y, field)
    frame = frame_of(relative, mu)
    unburned = aim_of(relative, frame)
    if met.status != OK:
        return met.status, met.epoch_s, frame, unburned
    if not math.isfinite(frame.v_inf):
        return BOUND, met.epoch_s, frame, unburned
    _goals_by_start(relative, frame, interface, y, by_start)
    _missed(relative, frame, goal, met.epoch_s, False, interface, miss)
    possible = _change(by_start, miss, burn, False)
    for _ in range(_ITERATIONS):
        if not possible:
            break
        begin_flight(state, burn, y)
        met = fly_to_interface(y, begin, target, window, interface, field)
        if met.status != OK and met.status != ABOVE:
            return met.status, met.epoch_s, frame, unburned
        relative[:] = relative_to(target, met.epoch_s, y, field)
        entered = met.status == OK
        _goals_by_start(relative, frame, interface, y, by_start)
        _missed(relative, frame, goal, met.epoch_s, entered, interface, miss)
        if entered and math.hypot(miss[0], miss[1]) < WITHIN_KM and (not timed or abs(miss[2]) < WITHIN_S):
            return OK, met.epoch_s, frame, unburned
        possible = _change(by_start, miss, burn, timed and entered)
    return NOT_CONVERGED, met.epoch_s, frame, unburned


@njit(cache=True)
def _shoot_entries(states, begin, target, mu, windows, gate, goals, interface, field, covered, out):
    status, burns, epochs, relatives, angles, bs, v_infs, ss, unburned, by_starts = out
    y, by_start, burn = np.empty(42), np.empty((3, 6)), np.empty(3)
    for n in range(states.shape[0]):
        if begin[n] < covered[0] or windows[n, 1] > covered[1]:
            status[n] = OUTSIDE
            continue
        status[n], epoch, frame, aim = _shoot_entry(
            states[n], begin[n], target, mu, windows[n], gate, goals[n], interface, field, burn, y, by_start
        )
        if status[n] == OK:
            epochs[n], burns[n], by_starts[n] = epoch, burn, by_start
            relatives[n, :] = relative_to(target, epoch, y, field)
            angles[n] = angle_below_horizon(relatives[n], interface)
            bs[n, :] = aim_of(relatives[n], frame)
            v_infs[n] = frame.v_inf
            ss[n, :] = frame.s
            unburned[n, :] = aim


def shoot_entries(
    states: Floats,
    begin_s: Floats,
    *,
    target: int,
    gm_km3_s2: float,
    windows_s: Floats,
    gate_km: float,
    goals: Floats,
    interface: Interface,
    field: PlanetField,
    covered_s: tuple[float, float],
) -> EntryShots:
    """Shoot n rows.

    Parameters
    ----------
    states    : (n, 6) unburned, at the burn, about the planet's centre
    begin_s   : (n,) epochs of the burns
    target    : index of the body in the field (`about.index_of`)
    windows_s : (n, 2) epochs between which the interface is met
    gate_km   : how near the unburned path is followed for the first step: before the body bends it
    goals     : (n, 3) angle rad below the horizon (inertial), clock angle rad from T towards R, epoch s or NaN
    """
    n = len(begin_s)
    shapes = ((n, 3), (n,), (n, 6), (n,), (n, 2), (n,), (n, 3), (n, 2), (n, 3, 6))
    out = (np.zeros(n, dtype=np.int64), *(np.full(shape, np.nan) for shape in shapes))
    arrays = [np.ascontiguousarray(a, dtype=float) for a in (states, begin_s, windows_s, goals)]
    _shoot_entries(
        arrays[0], arrays[1], target, float(gm_km3_s2), arrays[2], float(gate_km), arrays[3], interface, field,
        covered_s, out,
    )  # fmt: skip
    return EntryShots(*out)
