"""The sweep: when is a body close enough to the carrier's path to be worth a closer look.

Bodies move two-body from the nearest prepared node; what that misses is covered by the node's drift allowance.
A body is skipped over a time in which it provably stays outside the reach bound.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit

from swarm.mothership.path import Path
from swarm.screening.bound import ReachBound
from targets.constants import GM_SUN_KM3_S2
from targets.motion import Prepared
from targets.planets import hermite_position, hermite_velocity
from targets.twobody import drift

# Interpolating the path, the perturbations of the carrier within a skip, and rounding.
_SLACK_KM = 2.0e4
_COARSEST_STEP_S = 86_400.0
# In this time nothing closes more than half the slack.
_SHORTEST_SKIP_S = 150.0


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
    Tested in tests/reach/test_skip_rule.py.
    """
    return (math.sqrt(closing_km_s * closing_km_s + 2.0 * pull_km_s2 * gap_km) - closing_km_s) / pull_km_s2


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
def _sweep_window(state, node_s, first_s, last_s, bound, any_km, bound_max, pull, path, out, count):
    """Append the times in [first, last] at which one body is within the bound; the new count."""
    path_states, path_start, path_step = path
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
        closing = -(dx * wx + dy * wy + dz * wz) / max(d, 1.0)
        gap = d - bound - bound_max
        if gap > 0.0:
            # outside even the window's largest bound
            if inside_since == inside_since:
                if count < out.shape[0]:
                    out[count, 0] = inside_since
                    out[count, 1] = t
                count += 1
                inside_since = math.nan
            step = max(safe_skip(gap, closing, pull), _SHORTEST_SKIP_S)
        else:
            speed = math.sqrt(wx * wx + wy * wy + wz * wz)
            step = min(_COARSEST_STEP_S, path_step)
            k = min(max(int((t - path_start) / path_step), 0), any_km.shape[0] - 2)
            here = max(
                any_km[k], any_km[k + 1], any_km[max(k - 1, 0)], any_km[min(k + 2, any_km.shape[0] - 1)]
            )
            within = d - speed * step - 0.5 * pull * step * step <= here + bound
            if within and inside_since != inside_since:
                inside_since = t
            if not within and inside_since == inside_since:
                if count < out.shape[0]:
                    out[count, 0] = inside_since
                    out[count, 1] = t
                count += 1
                inside_since = math.nan
        if t >= last_s:
            break
        t = min(t + step, last_s)
    if inside_since == inside_since:
        if count < out.shape[0]:
            out[count, 0] = inside_since
            out[count, 1] = last_s
        count += 1
    return count


@njit(cache=True)
def _sweep(nodes_s, states, allowance, any_km, path, out, body):
    """All bodies, all windows; how many rows were wanted (more than out holds: call again with more room)."""
    path_states, path_start, path_step = path
    spacing = nodes_s[1] - nodes_s[0]
    windows = nodes_s.shape[0]
    largest = np.zeros(windows)
    carrier_pull = np.zeros(windows)
    for j in range(windows):
        first = max(nodes_s[0], nodes_s[j] - 0.5 * spacing)
        last = min(nodes_s[-1], nodes_s[j] + 0.5 * spacing)
        a = max(int((first - path_start) / path_step) - 1, 0)
        b = min(int((last - path_start) / path_step) + 3, any_km.shape[0])
        for k in range(a, b):
            s = path_states[k]
            largest[j] = max(largest[j], any_km[k])
            carrier_pull[j] = max(carrier_pull[j], GM_SUN_KM3_S2 / (s[0] ** 2 + s[1] ** 2 + s[2] ** 2))
    count = 0
    for n in range(states.shape[1]):
        for j in range(windows):
            if largest[j] == 0.0 or math.isnan(states[j, n, 0]):
                continue
            pull = 1.01 * carrier_pull[j] + GM_SUN_KM3_S2 / _perihelion(states[j, n]) ** 2
            before = count
            count = _sweep_window(
                states[j, n],
                nodes_s[j],
                max(nodes_s[0], nodes_s[j] - 0.5 * spacing),
                min(nodes_s[-1], nodes_s[j] + 0.5 * spacing),
                allowance[j, n] + _SLACK_KM,
                any_km,
                largest[j],
                pull,
                path,
                out,
                count,
            )
            for k in range(before, min(count, out.shape[0])):
                body[k] = n
    return count


def _merged(body: np.ndarray, enter_s: np.ndarray, leave_s: np.ndarray, within_s: float) -> Approaches:
    """Join times of one body that follow each other within `within_s` (windows meet, steps overlap)."""
    if not len(body):
        return Approaches(body, enter_s, leave_s)
    starts = np.ones(len(body), dtype=bool)
    starts[1:] = (body[1:] != body[:-1]) | (enter_s[1:] > leave_s[:-1] + within_s)
    first = np.flatnonzero(starts)
    last = np.append(first[1:], len(body)) - 1
    return Approaches(body[first], enter_s[first], leave_s[last])


def find_approaches(prepared: Prepared, path: Path, bound: ReachBound) -> Approaches:
    """Every time at which a body of the prepared catalogue may be within the reach bound.

    Guarantee
    ---------
    A body that is within the bound at some time is within an interval returned for it (perturbed motion, as
    far as the drift allowance of `prepared` holds). Tested in tests/reach/test_nothing_is_lost.py.
    """
    room = 1024 + 4 * prepared.states.shape[1]
    table = (path.states, path.start_tdb_s, path.step_s)
    while True:
        out = np.empty((room, 2))
        body = np.empty(room, dtype=np.int64)
        count = _sweep(
            prepared.nodes_tdb_s, prepared.states, prepared.allowance_km, bound.any_km, table, out, body
        )
        if count <= room:
            return _merged(body[:count], out[:count, 0], out[:count, 1], 2.0 * path.step_s)
        room = count
