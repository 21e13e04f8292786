"""From approaches to opportunities: local minima of the burn over the encounter date, per release slot.

For a burn at t_b and an encounter at t_e the burn is a Lambert arc from the mothership to the target, less the
mothership's velocity. A mothership pulled by planets is off its two-body arc by delta(t_b, t_e) = P(t_e) - two-body;
the probe is pulled alike, so the arc is aimed at T(t_e) - delta. With no displacement to make the burn is exactly zero,
and for small burns this agrees to first order with the difference of two Lambert solutions, without asking for a
second arc whose plane may be undefined. What is tabulated is then corrected by shooting in the planets' field, which
costs a few motions of a hundred steps only for what is kept.

The burn is evaluated along each approach in steps that follow how fast it changes, and every local minimum
(an end of the allowed time counts) is polished. A linear estimate would not save anything here: the transition
matrix costs as much as the Lambert arc.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit

from swarm.reach.arcs.lambert import DEGENERATE_PLANE, NO_CONVERGENCE, NO_SOLUTION, OK, lambert
from swarm.reach.arcs.transition import fill_position_by_velocity
from swarm.reach.mothership.path import Path, state_between
from swarm.reach.screen.approaches import Approaches, MothershipLeg
from targets.base.constants import GM_SUN_KM3_S2
from targets.ephemeris.planets import PlanetTable, hermite_position, hermite_velocity
from targets.motion.perturbed import DEFAULT_STEP_S, Prepared, fill_nodes, move
from targets.motion.twobody import drift

_TWO_PI = 2.0 * math.pi
# Steps along an approach: the burn changes by at most this share of the limit where it is near the limit.
_SHARE_OF_LIMIT = 0.28
_REDO_ABOVE = 0.45
_SHORTEST_STEP_S = 60.0
_LONGEST_STEP_S = 2.0 * 86_400.0
# Above this many times the limit the burn is only followed, not resolved.
_RESOLVE_BELOW = 1.3
# Polish until the encounter date is known to where the burn's change is this share of the limit.
_POLISH_SHARE = 2e-4
# Both senses of an arc are tried where its plane stands steeper than this to the mothership's (cosine).
_STEEP = 0.3
_TIME_GUARD_S = 86_400.0

COLUMNS = (
    "approach", "slot", "encounter_s",
    "burn_x", "burn_y", "burn_z",
    "v_rel_x", "v_rel_y", "v_rel_z",
    "target_x", "target_y", "target_z",
    "mothership_x", "mothership_y", "mothership_z",
    "revolutions", "shot",
)  # fmt: skip

# How a burn was found: a two-body arc; corrected in the field of the planets; or that correction did not settle
# (the transition block is nearly singular) and the two-body value stands.
TWO_BODY, SHOT, UNSETTLED = 0, 1, 2
_MOST_SHOTS = 8
_HIT_KM = 0.1
_NEARLY = 1.01


@dataclass(frozen=True)
class ArcLimits:
    """What an arc may be: km/s, s."""

    burn_limit_km_s: float
    arc_min_s: float
    arc_max_s: float
    revolutions_max: int
    both_directions: bool


@dataclass(frozen=True)
class Minima:
    """Local minima under the burn limit, rows in order of approach, slot and encounter; columns as in COLUMNS.

    least_burn_km_s is the smallest burn evaluated, above the limit or not; infinite if none was.
    """

    rows: np.ndarray
    least_burn_km_s: float


@njit(cache=True)
def _burn(at_burn, swept, rx, ry, rz, tof, revolutions_max, both):
    """Smallest burn onto an arc to (rx, ry, rz): status, burn (3), arrival velocity (3), turns, all eight as floats.

    at_burn : (6) the mothership's state at the burn

    `swept` is the angle the mothership itself turns through: the probe, never far from it, turns through the nearest
    angle that ends at the target, which fixes the whole turns.
    """
    nan = math.nan
    best = math.inf
    out = (float(NO_SOLUTION), nan, nan, nan, nan, nan, nan, 0.0)
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
        return (float(DEGENERATE_PLANE), nan, nan, nan, nan, nan, nan, 0.0)
    dot = at_burn[0] * rx + at_burn[1] * ry + at_burn[2] * rz
    steep = abs(along) < _STEEP * c
    for sense in range(2):
        normal = 1.0 if (along >= 0.0) == (sense == 0) else -1.0
        if sense == 1 and not (both or steep):
            break
        angle = math.atan2(normal * c, dot)
        if sense == 0 or steep:
            turned = swept + (angle - swept) - _TWO_PI * np.round((angle - swept) / _TWO_PI)
            turns = int(math.floor(turned / _TWO_PI))
        else:
            # the other way round the Sun: no burn of a probe does that, but the study asked to look
            turns = 0
        if turns < 0 or turns > revolutions_max:
            continue
        for branch in range(1 if turns == 0 else 2):
            arc = lambert(
                at_burn[0],
                at_burn[1],
                at_burn[2],
                rx,
                ry,
                rz,
                tof,
                GM_SUN_KM3_S2,
                normal,
                turns,
                branch == 1,
            )
            if arc[0] != OK:
                if out[0] != OK:
                    out = (float(arc[0]), nan, nan, nan, nan, nan, nan, float(turns))
                continue
            bx, by, bz = arc[1] - at_burn[3], arc[2] - at_burn[4], arc[3] - at_burn[5]
            size = bx * bx + by * by + bz * bz
            if size < best:
                best = size
                out = (float(OK), bx, by, bz, arc[4], arc[5], arc[6], float(turns))
    return out


@njit(cache=True)
def _aimed_burn(t, slot, body, paths, limits):
    """Burn of one slot for an encounter at `t`; the body's position from its one-day nodes by Hermite."""
    burn_s, at_burn, swept0 = slot
    nodes, nodes_start = body
    path_states, path_start, path_step, swept = paths
    tof = t - burn_s
    bx, by, bz = hermite_position(nodes, nodes_start, path_step, t)
    px, py, pz = hermite_position(path_states, path_start, path_step, t)
    free = drift(
        at_burn[0],
        at_burn[1],
        at_burn[2],
        at_burn[3],
        at_burn[4],
        at_burn[5],
        GM_SUN_KM3_S2,
        tof,
    )
    return _burn(
        at_burn, _swept_at(swept, path_start, path_step, t) - swept0,
        bx - (px - free[0]), by - (py - free[1]), bz - (pz - free[2]), tof, limits[3], limits[4],
    )  # fmt: skip


@njit(cache=True)
def _swept_at(swept, start_s, step_s, t):
    """Angle swept by the mothership since the path's start, linear between nodes."""
    u = (t - start_s) / step_s
    i = min(max(int(u), 0), swept.shape[0] - 2)
    return swept[i] + (u - i) * (swept[i + 1] - swept[i])


@njit(cache=True)
def _size(burn):
    if burn[0] != OK:
        return math.inf
    return math.sqrt(burn[1] ** 2 + burn[2] ** 2 + burn[3] ** 2)


@njit(cache=True)
def _polish(a, b, c, fb, slot, body, paths, limits, tolerance):
    """Date of the least squared burn in [a, c], by golden sections and parabolas from b.

    b may be an end of the allowed time and itself the minimum: it stays the best until something lower is found.
    """
    golden = 0.381966011250105
    x = w = v = b
    fx = fw = fv = fb * fb
    d = e = 0.0
    for _ in range(80):
        middle = 0.5 * (a + c)
        if abs(x - middle) <= 2.0 * tolerance - 0.5 * (c - a):
            break
        parabolic = False
        if abs(e) > tolerance:
            r = (x - w) * (fx - fv)
            q = (x - v) * (fx - fw)
            p = (x - v) * q - (x - w) * r
            q = 2.0 * (q - r)
            if q > 0.0:
                p = -p
            q = abs(q)
            if abs(p) < abs(0.5 * q * e) and q * (a - x) < p < q * (c - x):
                e = d
                d = p / q
                u = x + d
                if u - a < 2.0 * tolerance or c - u < 2.0 * tolerance:
                    d = tolerance if x < middle else -tolerance
                parabolic = True
        if not parabolic:
            e = (c if x < middle else a) - x
            d = golden * e
        u = x + (d if abs(d) >= tolerance else (tolerance if d > 0.0 else -tolerance))
        size = _size(_aimed_burn(u, slot, body, paths, limits))
        fu = size * size
        if fu <= fx:
            if u < x:
                c = x
            else:
                a = x
            v, fv, w, fw, x, fx = w, fw, x, fx, u, fu
        else:
            if u < x:
                a = u
            else:
                c = u
            if fu <= fw or w == x:
                v, fv, w, fw = w, fw, u, fu
            elif fu <= fv or v in (x, w):
                v, fv = u, fu
    return x


@njit(cache=True)
def _shoot(at_burn, burn_s, t, burn, goal, planets):
    """Correct a two-body burn in the field of the planets: status, burn (3), arrival velocity (3), as seven floats.

    `goal` (3) is where the probe has to be at `t` if the mothership, unburned, moved in exactly this field. Newton
    steps with the two-body transition block, whose planets' share is small: each leaves about a hundredth of the miss.
    """
    nan = math.nan
    states, start_s, step_s, gm = planets
    tof = t - burn_s
    ux, uy, uz = burn[1], burn[2], burn[3]
    block = np.empty((3, 3))
    before = math.inf
    for _ in range(_MOST_SHOTS):
        vx, vy, vz = at_burn[3] + ux, at_burn[4] + uy, at_burn[5] + uz
        end = move(
            at_burn[0],
            at_burn[1],
            at_burn[2],
            vx,
            vy,
            vz,
            burn_s,
            tof,
            DEFAULT_STEP_S,
            states,
            start_s,
            step_s,
            gm,
        )
        mx, my, mz = goal[0] - end[0], goal[1] - end[1], goal[2] - end[2]
        miss = math.sqrt(mx * mx + my * my + mz * mz)
        if miss < _HIT_KM:
            return float(OK), ux, uy, uz, end[3], end[4], end[5]
        if not miss < before:
            break
        before = miss
        fill_position_by_velocity(at_burn[0], at_burn[1], at_burn[2], vx, vy, vz, GM_SUN_KM3_S2, tof, block)
        sx, sy, sz = _solve(block, mx, my, mz)
        ux, uy, uz = ux + sx, uy + sy, uz + sz
    return float(NO_CONVERGENCE), nan, nan, nan, nan, nan, nan


@njit(cache=True)
def _solve(m, x, y, z):
    """Solution of a 3 x 3 system by cofactors; not finite where the matrix is singular."""
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


@njit(cache=True)
def _write(out, count, approach, s, t, slot, body, paths, planets, limits):
    """Append the opportunity at `t` if its burn, with exact states, is within the limit; the new count."""
    burn_s, at_burn, swept0 = slot
    nodes, nodes_start = body
    path_states, path_start, path_step, swept = paths
    target = state_between(nodes, nodes_start, path_step, t)
    path = state_between(path_states, path_start, path_step, t)
    free = drift(
        at_burn[0],
        at_burn[1],
        at_burn[2],
        at_burn[3],
        at_burn[4],
        at_burn[5],
        GM_SUN_KM3_S2,
        t - burn_s,
    )
    burn = _burn(
        at_burn, _swept_at(swept, path_start, path_step, t) - swept0,
        target[0] - (path[0] - free[0]), target[1] - (path[1] - free[1]), target[2] - (path[2] - free[2]),
        t - burn_s, limits[3], limits[4],
    )  # fmt: skip
    # the planets pull a little differently on the probe: a burn just over the limit may come under it
    if not _size(burn) <= _NEARLY * limits[0]:
        return count
    ux, uy, uz = burn[1], burn[2], burn[3]
    vx, vy, vz = burn[4] + path[3] - free[3], burn[5] + path[4] - free[4], burn[6] + path[5] - free[5]
    shot = TWO_BODY
    if limits[5]:
        states, start_s, step_s, gm = planets
        # what moves the mothership beyond this field (an outside path's own forces) moves the probe alike
        same = move(
            at_burn[0], at_burn[1], at_burn[2], at_burn[3], at_burn[4], at_burn[5], burn_s, t - burn_s,
            DEFAULT_STEP_S, states, start_s, step_s, gm,
        )  # fmt: skip
        goal = (
            target[0] - (path[0] - same[0]),
            target[1] - (path[1] - same[1]),
            target[2] - (path[2] - same[2]),
        )
        hit = _shoot(at_burn, burn_s, t, burn, goal, planets)
        shot = UNSETTLED
        if hit[0] == OK:
            shot = SHOT
            ux, uy, uz = hit[1], hit[2], hit[3]
            vx, vy, vz = hit[4] + path[3] - same[3], hit[5] + path[4] - same[4], hit[6] + path[5] - same[5]
    if not math.sqrt(ux * ux + uy * uy + uz * uz) <= limits[0]:
        return count
    if count < out.shape[0]:
        out[count, 0] = approach
        out[count, 1] = s
        out[count, 2] = t
        out[count, 3], out[count, 4], out[count, 5] = ux, uy, uz
        out[count, 6], out[count, 7], out[count, 8] = vx - target[3], vy - target[4], vz - target[5]
        for c in range(3):
            out[count, 9 + c] = target[c]
            out[count, 12 + c] = path[c]
        out[count, 15] = burn[7]
        out[count, 16] = shot
    return count + 1


@njit(cache=True)
def _first_step(t, slot, body, paths, limit):
    """Step over which the burn changes by a share of the limit if the displacement grows as arc times burn."""
    nodes, nodes_start = body
    path_states, path_start, path_step, _ = paths
    ux, uy, uz = hermite_velocity(nodes, nodes_start, path_step, t)
    vx, vy, vz = hermite_velocity(path_states, path_start, path_step, t)
    speed = math.sqrt((ux - vx) ** 2 + (uy - vy) ** 2 + (uz - vz) ** 2)
    return _SHARE_OF_LIMIT * limit * (t - slot[0]) / max(speed, 1e-3)


@njit(cache=True)
def _scan(first, last, approach, s, slot, body, paths, planets, limits, out, count, least):
    """All local minima of one slot over [first, last]; the new count and the least burn seen."""
    limit = limits[0]
    t = first
    burn = _aimed_burn(t, slot, body, paths, limits)
    size = _size(burn)
    least = min(least, size)
    step = _first_step(t, slot, body, paths, limit)
    before_t = before_size = math.nan  # the sample before the last one
    while t < last:
        step = min(max(step, _SHORTEST_STEP_S), _LONGEST_STEP_S)
        new_t = min(t + step, last)
        new = _aimed_burn(new_t, slot, body, paths, limits)
        new_size = _size(new)
        # how far the burn moved, as a vector: its size alone is flat at a minimum
        moved = math.inf
        if burn[0] == OK and new[0] == OK:
            moved = math.sqrt((new[1] - burn[1]) ** 2 + (new[2] - burn[2]) ** 2 + (new[3] - burn[3]) ** 2)
        # Half of `moved` is the most by which a minimum in between can undercut the smaller end.
        lower = min(size, new_size) - 0.5 * moved
        taken = new_t - t
        unresolved = moved > _REDO_ABOVE * limit and lower < _RESOLVE_BELOW * limit
        if (unresolved or not moved < math.inf) and taken > _SHORTEST_STEP_S:
            step = 0.5 * taken if not moved < math.inf else taken * max(0.1, _SHARE_OF_LIMIT * limit / moved)
            continue
        least = min(least, new_size)
        starts_low = before_t != before_t and size <= new_size
        passed_low = before_t == before_t and size <= new_size and size < before_size
        if (starts_low or passed_low) and size < _RESOLVE_BELOW * limit + moved:
            left = t if starts_low else before_t
            rate = max(moved, 1e-9) / taken
            at = _polish(
                left, t, new_t, size, slot, body, paths, limits, max(0.5, _POLISH_SHARE * limit / rate)
            )
            count = _write(out, count, approach, s, at, slot, body, paths, planets, limits)
        before_t, before_size = t, size
        t, size, burn = new_t, new_size, new
        if moved > 0.0:
            # as far as the burn takes to fall to the limit, then in shares of it
            spare = max(0.0, size - _RESOLVE_BELOW * limit)
            step = taken / moved * (0.6 * spare + _SHARE_OF_LIMIT * limit)
            step = min(step, 4.0 * taken)
    if before_t == before_t and size < before_size and size < _RESOLVE_BELOW * limit:
        tolerance = max(0.5, _POLISH_SHARE * (last - before_t))
        at = _polish(before_t, last, last, size, slot, body, paths, limits, tolerance)
        count = _write(out, count, approach, s, at, slot, body, paths, planets, limits)
    return count, least


@njit(cache=True)
def _body_nodes(n, first_node, count, nodes_s, states, path_start, path_step, planets, nodes):
    """One body at the path's own nodes, from its nearest prepared state, fully perturbed."""
    t = path_start + first_node * path_step
    spacing = nodes_s[1] - nodes_s[0]
    j = min(max(int(np.round((t - nodes_s[0]) / spacing)), 0), nodes_s.shape[0] - 1)
    p = states[j, n]
    table, table_start, table_step, gm = planets
    start = np.empty(6)
    moved = move(
        p[0], p[1], p[2], p[3], p[4], p[5], nodes_s[j], t - nodes_s[j], DEFAULT_STEP_S,
        table, table_start, table_step, gm,
    )  # fmt: skip
    for c in range(6):
        start[c] = moved[c]
    fill_nodes(start, t, path_step, DEFAULT_STEP_S, planets, nodes[:count])


@njit(cache=True)
def _one_approach(
    approach, n, enter, leave, prepared, slots, reach, paths, planets, limits, out, count, least, nodes
):
    """All slots of one approach; the new count and least burn."""
    nodes_s, states = prepared
    burns, motherships, swept0 = slots
    path_states, path_start, path_step, _ = paths
    end = min(path_start + (path_states.shape[0] - 1) * path_step, nodes_s[-1])
    first_node = max(int((enter - _TIME_GUARD_S - path_start) / path_step), 0)
    last_node = min(
        int(math.ceil((leave + _TIME_GUARD_S - path_start) / path_step)) + 1, path_states.shape[0] - 1
    )
    nodes_count = last_node - first_node + 1
    if nodes_count < 2:
        return count, least
    _body_nodes(n, first_node, nodes_count, nodes_s, states, path_start, path_step, planets, nodes)
    body = (nodes[:nodes_count], path_start + first_node * path_step)
    gap = np.empty(nodes_count)  # distance less what may close within a node spacing
    for k in range(nodes_count):
        a, b = nodes[k], path_states[first_node + k]
        d = math.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2)
        v = math.sqrt((a[3] - b[3]) ** 2 + (a[4] - b[4]) ** 2 + (a[5] - b[5]) ** 2)
        gap[k] = d - 1.1 * v * path_step
    earliest = path_start + first_node * path_step
    latest = min(path_start + last_node * path_step, end)
    for s in range(burns.shape[0]):
        lo = max(earliest, burns[s] + limits[1])
        hi = min(latest, burns[s] + limits[2])
        if not lo < hi:
            continue
        inside_first = -1
        inside_last = -1
        for k in range(nodes_count):
            if gap[k] <= reach[s, first_node + k]:
                inside_last = k
                if inside_first < 0:
                    inside_first = k
        if inside_first < 0:
            continue
        lo = max(lo, earliest + (inside_first - 1) * path_step)
        hi = min(hi, earliest + (inside_last + 1) * path_step)
        if lo < hi:
            count, least = _scan(
                lo,
                hi,
                approach,
                s,
                (burns[s], motherships[s], swept0[s]),
                body,
                paths,
                planets,
                limits,
                out,
                count,
                least,
            )
    return count, least


@njit(cache=True)
def _all_approaches(body, enter, leave, first, prepared, slots, reach, paths, planets, limits, out, nodes):
    """Approaches from `first` on; (rows written, next approach, least burn). Stops early when `out` is full."""
    count = 0
    least = math.inf
    for k in range(first, body.shape[0]):
        new, seen = _one_approach(
            k,
            body[k],
            enter[k],
            leave[k],
            prepared,
            slots,
            reach,
            paths,
            planets,
            limits,
            out,
            count,
            math.inf,
            nodes,
        )
        if new > out.shape[0]:
            return count, k, least
        count = new
        least = min(least, seen)
    return count, body.shape[0], least


def swept_angle(path: Path) -> np.ndarray:
    """(m,) angle the mothership has turned through about the Sun since the first node, rad."""
    r, v = path.states[:, :3], path.states[:, 3:]
    h = np.cross(r, v)
    normal = h / np.linalg.norm(h, axis=1)[:, None]
    cross = np.einsum("ij,ij->i", np.cross(r[:-1], r[1:]), normal[:-1])
    turns = np.arctan2(cross, np.einsum("ij,ij->i", r[:-1], r[1:]))
    return np.concatenate([[0.0], np.cumsum(turns)])


def find_minima(
    prepared: Prepared, approaches: Approaches, leg: MothershipLeg, *, limits: ArcLimits, planets: PlanetTable
) -> Minima:
    """Every local minimum of the burn over the encounter date, per approach and release slot, under the limit."""
    path, bound = leg.path, leg.bound
    swept = swept_angle(path)
    slots = (
        bound.burn_tdb_s,
        path.at(bound.burn_tdb_s),
        np.interp(bound.burn_tdb_s, path.epochs_tdb_s, swept),
    )
    paths = (path.states, path.start_tdb_s, path.step_s, swept)
    kernel_limits = (
        limits.burn_limit_km_s, limits.arc_min_s, limits.arc_max_s, limits.revolutions_max, limits.both_directions,
        path.pulled,
    )  # fmt: skip
    nodes = np.empty((len(path.states), 6))
    room = 4096
    found: list[np.ndarray] = []
    least, first = math.inf, 0
    while True:
        out = np.empty((room, len(COLUMNS)))
        count, reached, seen = _all_approaches(
            approaches.body, approaches.enter_s, approaches.leave_s, first, (prepared.nodes_tdb_s, prepared.states),
            slots, bound.slot_km, paths, planets.kernel_table(), kernel_limits, out, nodes,
        )  # fmt: skip
        least = min(least, seen)
        found.append(out[:count])
        # one approach may have more minima than fit: more room then
        room = room if reached > first else 4 * room
        first = reached
        if first >= len(approaches.body):
            return Minima(np.concatenate(found), least)
