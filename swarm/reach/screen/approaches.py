"""The sweep: when is a body close enough to a mothership's path to be worth a closer look.

Bodies move two-body from the nearest prepared node; what that misses is covered by the node's drift allowance.
Two looks, both of which drop a body only where it provably stays outside the reach bound:

* coarse: one state every COARSE_S, shared by all motherships. Over half a step either side the relative motion is a
  straight line but for half the relative acceleration times the time squared (`stays_outside`).
* fine: where the coarse look cannot tell, steps as long as the gap cannot close (`safe_skip`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit

from swarm.reach.mothership.path import Path
from swarm.reach.screen.reach_bound import ReachBound
from targets.base.constants import DAY_S, GM_SUN_KM3_S2
from targets.ephemeris.planets import hermite_position, hermite_velocity
from targets.motion.perturbed import Prepared
from targets.motion.twobody import drift, drift_states

COARSE_S = 46.0 * DAY_S
# Interpolating the path, the pull of planets on the mothership within a step, and rounding.
_SLACK_KM = 2.0e4
_FINE_STEP_S = DAY_S
# Of so many legs a body is expected near one; where it is near more, the sweep is made again with the room it takes.
_LEGS_A_ROW = 16
# In this time nothing closes more than half the slack.
_SHORTEST_SKIP_S = 150.0
# The mothership's two-body pull is raised by this for the planets' share.
_PLANETS_SHARE = 1.01


@dataclass(frozen=True)
class MothershipLeg:
    """A ballistic stretch of one mothership: its path, and how far a burn of each slot reaches from it.

    mothership : which mothership of those screened together
    slots   : (s,) number of each slot of `bound` among the study's release slots
    """

    mothership: int
    path: Path
    bound: ReachBound
    slots: np.ndarray


@dataclass(frozen=True)
class Approaches:
    """Times at which bodies are within the reach bound.

    body            : (k,) int   row of the prepared catalogue
    enter_s, leave_s: (k,)       TDB seconds; merged, in order of body and time
    """

    body: np.ndarray
    enter_s: np.ndarray
    leave_s: np.ndarray


@njit(cache=True)
def safe_skip(gap_km, closing_km_s, pull_km_s2):
    """Time over which a body at `gap_km` outside the bound stays outside.

    Guarantee: the distance along the present line of sight, gap - closing t - pull t^2 / 2, never exceeds the
    true distance, because the relative acceleration along that line is at most `pull_km_s2`.
    Tested in tests/reach/screen/test_bounds.py.
    """
    return (math.sqrt(closing_km_s * closing_km_s + 2.0 * pull_km_s2 * gap_km) - closing_km_s) / pull_km_s2


@njit(cache=True)
def stays_outside(dx, dy, dz, wx, wy, wz, half_s, pull_km_s2, bound_km):
    """Whether a body at relative state (d, w) stays farther than the bound for `half_s` before and after.

    Guarantee: true only if |d + w t| - pull t^2 / 2 > bound for every |t| <= half_s, the relative acceleration being at
    most `pull_km_s2`. Tested in tests/reach/screen/test_bounds.py.
    """
    w2 = wx * wx + wy * wy + wz * wz
    t = 0.0
    if w2 > 0.0:
        t = min(half_s, max(-half_s, -(dx * wx + dy * wy + dz * wz) / w2))
    x, y, z = dx + wx * t, dy + wy * t, dz + wz * t
    limit = bound_km + 0.5 * pull_km_s2 * half_s * half_s
    return x * x + y * y + z * z > limit * limit


@njit(cache=True)
def strongest_pull(r_km, v_km_s, perihelion_km, half_s):
    """Bound on the Sun's pull on a body within `half_s` of being at `r_km` with speed `v_km_s`.

    While it stays beyond 0.6 r its speed is under that of a fall to there, so it cannot leave 0.6 r sooner than it
    could fly; otherwise its perihelion bounds the pull.
    """
    near = 0.6 * r_km
    fastest = math.sqrt(v_km_s * v_km_s + 2.0 * GM_SUN_KM3_S2 * (1.0 / near - 1.0 / r_km))
    closest = near if r_km - fastest * half_s >= near else 0.0
    closest = max(closest, perihelion_km)
    return GM_SUN_KM3_S2 / (closest * closest)


@njit(cache=True)
def _perihelion(state):
    """Perihelion distance of the osculating conic."""
    r = math.sqrt(state[0] ** 2 + state[1] ** 2 + state[2] ** 2)
    v2 = state[3] ** 2 + state[4] ** 2 + state[5] ** 2
    rv = state[0] * state[3] + state[1] * state[4] + state[2] * state[5]
    p = (r * r * v2 - rv * rv) / GM_SUN_KM3_S2
    e2 = max(0.0, 1.0 + (v2 - 2.0 * GM_SUN_KM3_S2 / r) * p / GM_SUN_KM3_S2)
    return p / (1.0 + math.sqrt(e2))


@njit(cache=True)
def _append(out, count, leg, body, enter, leave):
    """Write a row if there is room; the count wanted either way."""
    if count < out.shape[0]:
        out[count, 0] = leg
        out[count, 1] = body
        out[count, 2] = enter
        out[count, 3] = leave
    return count + 1


@njit(cache=True)
def _fine(state, node_s, first_s, last_s, allowance, any_km, pull, path, out, count, leg, body):
    """Append the times in [first, last] at which one body may be within a leg's bound; the new count."""
    path_states, path_start, path_step = path
    last_node = any_km.shape[0] - 1
    a = max(int((first_s - path_start) / path_step) - 1, 0)
    b = min(int((last_s - path_start) / path_step) + 3, last_node + 1)
    largest = 0.0
    for k in range(a, b):
        largest = max(largest, any_km[k])
    if largest == 0.0:
        return count
    t = first_s
    inside_since = math.nan
    while True:
        x, y, z, vx, vy, vz = drift(
            state[0], state[1], state[2], state[3], state[4], state[5], GM_SUN_KM3_S2, t - node_s
        )
        px, py, pz = hermite_position(path_states, path_start, path_step, t)
        ux, uy, uz = hermite_velocity(path_states, path_start, path_step, t)
        dx, dy, dz = x - px, y - py, z - pz
        wx, wy, wz = vx - ux, vy - uy, vz - uz
        d = math.sqrt(dx * dx + dy * dy + dz * dz)
        gap = d - allowance - largest
        within = False
        if gap > 0.0:
            closing = -(dx * wx + dy * wy + dz * wz) / max(d, 1.0)
            step = max(safe_skip(gap, closing, pull), _SHORTEST_SKIP_S)
        else:
            step = min(_FINE_STEP_S, path_step)
            k = min(max(int((t - path_start) / path_step), 0), last_node)
            here = max(
                max(any_km[max(k - 1, 0)], any_km[k]),
                max(any_km[min(k + 1, last_node)], any_km[min(k + 2, last_node)]),
            )
            speed = math.sqrt(wx * wx + wy * wy + wz * wz)
            within = d - speed * step - 0.5 * pull * step * step <= here + allowance
        if within and math.isnan(inside_since):
            inside_since = t
        if not within and not math.isnan(inside_since):
            count = _append(out, count, leg, body, inside_since, t)
            inside_since = math.nan
        if t >= last_s:
            break
        t = min(t + step, last_s)
    if not math.isnan(inside_since):
        count = _append(out, count, leg, body, inside_since, last_s)
    return count


@njit(cache=True)
def _sweep(nodes_s, states, allowance, samples, fleet, out):
    """All bodies, windows, coarse samples and legs; how many rows were wanted (more than out holds: once more)."""
    # arrays of the legs are (samples, legs): a thousand legs are gone through in the order in which they lie
    sample_s, sample_node, half_s, leg_states, leg_bound, leg_pull, leg_speed = samples
    path_states, path_any, offsets, starts, steps = fleet
    legs = starts.shape[0]
    count = 0
    for n in range(states.shape[1]):
        node_before = -1
        perihelion = 0.0
        x0 = y0 = z0 = vx0 = vy0 = vz0 = 0.0
        for k in range(sample_s.shape[0]):
            j = sample_node[k]
            if j != node_before:
                # slices of arrays cost as much as a drift: once a node
                x0, y0, z0, vx0, vy0, vz0 = states[j, n]
                perihelion = _perihelion(states[j, n])
                node_before = j
            if math.isnan(x0):
                continue
            x, y, z, vx, vy, vz = drift(x0, y0, z0, vx0, vy0, vz0, GM_SUN_KM3_S2, sample_s[k] - nodes_s[j])
            r = math.sqrt(x * x + y * y + z * z)
            v = math.sqrt(vx * vx + vy * vy + vz * vz)
            pull = strongest_pull(r, v, perihelion, half_s)
            extra = allowance[j, n] + _SLACK_KM
            for c in range(legs):
                if leg_bound[k, c] == 0.0:
                    continue
                dx, dy, dz = x - leg_states[k, c, 0], y - leg_states[k, c, 1], z - leg_states[k, c, 2]
                # farther than both could fly towards each other: most are, and `stays_outside` would say so, too
                reach = half_s * (v + leg_speed[k, c] + 0.5 * half_s * (pull + leg_pull[k, c]))
                reach += leg_bound[k, c] + extra
                if dx * dx + dy * dy + dz * dz > reach * reach:
                    continue
                if stays_outside(
                    dx, dy, dz,
                    vx - leg_states[k, c, 3], vy - leg_states[k, c, 4], vz - leg_states[k, c, 5],
                    half_s, pull + leg_pull[k, c], leg_bound[k, c] + extra,
                ):  # fmt: skip
                    continue
                a, b = offsets[c], offsets[c + 1]
                end = starts[c] + (b - a - 1) * steps[c]
                first = max(starts[c], sample_s[k] - half_s)
                last = min(end, sample_s[k] + half_s)
                count = _fine(
                    states[j, n], nodes_s[j], first, last, extra, path_any[a:b], pull + leg_pull[k, c],
                    (path_states[a:b], starts[c], steps[c]), out, count, c, n,
                )  # fmt: skip
    return count


def _coarse_samples(
    nodes_s: np.ndarray, legs: tuple[MothershipLeg, ...]
) -> tuple[np.ndarray, np.ndarray, float, np.ndarray, np.ndarray, np.ndarray]:
    """Midpoints of equal steps over the span; per leg the state there, the largest bound and pull in the step.

    Each sample belongs to the node nearest to it, and no step reaches past half way to the next node: the drift
    allowance holds over all of it.
    """
    spacing = nodes_s[1] - nodes_s[0]
    per_half = max(1, math.ceil(0.5 * spacing / COARSE_S))
    width = 0.5 * spacing / per_half
    count = 2 * per_half * (len(nodes_s) - 1)
    times = nodes_s[0] + width * (np.arange(count) + 0.5)
    node = np.round((times - nodes_s[0]) / spacing).astype(np.int64)
    half = 0.5 * width
    states = np.zeros((len(legs), count, 6))
    bound = np.zeros((len(legs), count))
    pull = np.zeros((len(legs), count))
    for c, leg in enumerate(legs):
        epochs = leg.path.epochs_tdb_s
        sun_pull = (
            _PLANETS_SHARE
            * GM_SUN_KM3_S2
            / np.einsum("ij,ij->i", leg.path.states[:, :3], leg.path.states[:, :3])
        )
        inside = np.clip(times, epochs[0], epochs[-1])
        at = leg.path.at(inside)
        # past an end of the leg its motion goes on as two-body: only the part inside the leg is looked at afterwards
        states[c] = np.hstack(drift_states(at[:, :3], at[:, 3:], times - inside))
        low = np.searchsorted(epochs, times - half, side="right") - 2
        high = np.searchsorted(epochs, times + half, side="left") + 2
        for k in np.flatnonzero((times + half >= epochs[0]) & (times - half <= epochs[-1])):
            part = slice(max(low[k], 0), max(high[k], 1))
            bound[c, k] = leg.bound.any_km[part].max(initial=0.0)
            pull[c, k] = sun_pull[part].max(initial=0.0)
    return times, node, half, states, bound, pull


def _merged(body: np.ndarray, enter_s: np.ndarray, leave_s: np.ndarray, within_s: float) -> Approaches:
    """Join times of one body that follow each other within `within_s` (windows meet, steps overlap)."""
    if not len(body):
        return Approaches(body, enter_s, leave_s)
    starts = np.ones(len(body), dtype=bool)
    starts[1:] = (body[1:] != body[:-1]) | (enter_s[1:] > leave_s[:-1] + within_s)
    first = np.flatnonzero(starts)
    last = np.append(first[1:], len(body)) - 1
    return Approaches(body[first], enter_s[first], leave_s[last])


def find_approaches(prepared: Prepared, legs: tuple[MothershipLeg, ...]) -> tuple[Approaches, ...]:
    """Every time at which a body of the prepared catalogue may be within the reach bound, leg by leg.

    Guarantee
    ---------
    A body that is within the bound at some time is within an interval returned for it (perturbed motion, as
    far as the drift allowance of `prepared` holds). Tested in tests/reach/screen/test_nothing_is_lost.py.
    """
    times, node, half_s, *by_leg_first = _coarse_samples(prepared.nodes_tdb_s, legs)
    by_sample = [np.ascontiguousarray(part.swapaxes(0, 1)) for part in by_leg_first]
    speed = np.sqrt(np.einsum("kci,kci->kc", by_sample[0][:, :, 3:], by_sample[0][:, :, 3:]))
    samples = (times, node, half_s, *by_sample, speed)
    fleet = (
        np.concatenate([leg.path.states for leg in legs]),
        np.concatenate([leg.bound.any_km for leg in legs]),
        np.cumsum([0, *(len(leg.path.states) for leg in legs)]),
        np.array([leg.path.start_tdb_s for leg in legs]),
        np.array([leg.path.step_s for leg in legs]),
    )
    # few bodies come near any one leg: for a thousand legs and 20 000 bodies this is 40 MB, not 640
    room = 1024 + prepared.states.shape[1] * (1 + len(legs) // _LEGS_A_ROW)
    while True:
        out = np.empty((room, 4))
        count = _sweep(prepared.nodes_tdb_s, prepared.states, prepared.allowance_km, samples, fleet, out)
        if count <= room:
            break
        room = count
    close = out[:count]
    by_leg = []
    for c, leg in enumerate(legs):
        rows = close[close[:, 0] == c]
        by_leg.append(
            _merged(rows[:, 1].astype(np.int64), rows[:, 2], rows[:, 3], 2.0 * max(leg.path.step_s, DAY_S))
        )
    return tuple(by_leg)
