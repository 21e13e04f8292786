"""From approaches to opportunities: local minima of the burn over the encounter date, per release slot.

The burn (screen.burns) is evaluated along each approach in steps that follow how fast it changes, and every local
minimum (an end of the allowed time counts) is polished (screen.minimise). A linear estimate would not save anything
here: the transition matrix costs as much as the Lambert arc.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit

from swarm.reach.arcs.lambert import OK
from swarm.reach.mothership.path import Path, state_between
from swarm.reach.screen.approaches import Approaches, MothershipLeg
from swarm.reach.screen.burns import (
    Body,
    Limits,
    Slot,
    Track,
    aimed_burn,
    burn_onto,
    coast,
    coast_pulled,
    shoot,
    size_of,
)
from swarm.reach.screen.minimise import date_of_least_burn
from targets.ephemeris.planets import PlanetTable, hermite_velocity
from targets.motion.perturbed import DEFAULT_STEP_S, Prepared, fill_nodes, move

# Steps along an approach: the burn changes by at most this share of the limit where it is near the limit.
_SHARE_OF_LIMIT = 0.28
_REDO_ABOVE = 0.45
_SHORTEST_STEP_S = 60.0
_LONGEST_STEP_S = 2.0 * 86_400.0
# Above this many times the limit the burn is only followed, not resolved.
_RESOLVE_BELOW = 1.3
# Polish until the encounter date is known to where the burn's change is this share of the limit.
_POLISH_SHARE = 2e-4
_SHORTEST_TOLERANCE_S = 0.5
_TIME_GUARD_S = 86_400.0
# A two-body burn over the limit by this much may come under it in the field of the planets.
_NEARLY = 1.01

# Columns of a minimum; a vector's first of three. Encounter in TDB s, velocities in km/s, places in km.
APPROACH, SLOT, ENCOUNTER_S, BURN, V_REL, TARGET, MOTHERSHIP = 0, 1, 2, 3, 6, 9, 12
REVOLUTIONS, METHOD, TARGET_V = 15, 16, 17
COLUMNS = 20

# How a burn was found: a two-body arc; corrected in the field of the planets; or that correction did not settle
# (the transition block is nearly singular) and the two-body value stands.
TWO_BODY, SHOT, UNSETTLED = 0, 1, 2


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
    """Local minima under the burn limit, rows in order of approach, slot and encounter; columns by name above.

    least_burn_km_s is the smallest burn evaluated, above the limit or not; infinite if none was.
    """

    rows: np.ndarray
    least_burn_km_s: float


class Slots(NamedTuple):
    """The release slots of a leg: burns (s), states (s, 6) and angles swept of the mothership at them."""

    burn_s: np.ndarray
    states: np.ndarray
    swept: np.ndarray


class _Scan(NamedTuple):
    """What a scan of one approach and slot reads, and where it writes."""

    approach: int
    slot_number: int
    slot: Slot
    body: Body
    track: Track
    planets: tuple
    limits: Limits
    out: np.ndarray


@njit(cache=True)
def _in_field(t, scan, burn, target, mothership):
    """A two-body burn corrected for the planets: burn (3), the probe's velocity at the encounter (3), how found."""
    slot, tof, method = scan.slot, t - scan.slot.burn_s, TWO_BODY
    if scan.limits.pulled:
        # what moves the mothership beyond this field (an outside path's own forces) moves the probe alike
        same = coast_pulled(slot, tof, scan.planets)
        goal = (
            target[0] - (mothership[0] - same[0]),
            target[1] - (mothership[1] - same[1]),
            target[2] - (mothership[2] - same[2]),
        )
        hit = shoot(slot, t, burn, goal, scan.planets)
        if hit.status == OK:
            vx, vy = hit.arrival_vx + mothership[3] - same[3], hit.arrival_vy + mothership[4] - same[4]
            return hit.x, hit.y, hit.z, vx, vy, hit.arrival_vz + mothership[5] - same[5], SHOT
        method = UNSETTLED
    free = coast(slot, tof)
    vx, vy = burn.arrival_vx + mothership[3] - free[3], burn.arrival_vy + mothership[4] - free[4]
    return burn.x, burn.y, burn.z, vx, vy, burn.arrival_vz + mothership[5] - free[5], method


@njit(cache=True)
def _write(t, scan, count):
    """Append the opportunity at `t` if its burn, with exact states, is within the limit; the new count."""
    track, limits, out = scan.track, scan.limits, scan.out
    target = state_between(scan.body.states, scan.body.start_s, track.step_s, t)
    mothership = state_between(track.states, track.start_s, track.step_s, t)
    burn = burn_onto(t, scan.slot, target, mothership, track, limits)
    if not size_of(burn) <= _NEARLY * limits.burn_km_s:
        return count
    ux, uy, uz, vx, vy, vz, method = _in_field(t, scan, burn, target, mothership)
    if not math.sqrt(ux * ux + uy * uy + uz * uz) <= limits.burn_km_s:
        return count
    if count < out.shape[0]:
        row = out[count]
        row[APPROACH], row[SLOT], row[ENCOUNTER_S] = scan.approach, scan.slot_number, t
        row[BURN], row[BURN + 1], row[BURN + 2] = ux, uy, uz
        row[V_REL], row[V_REL + 1], row[V_REL + 2] = vx - target[3], vy - target[4], vz - target[5]
        for c in range(3):
            row[TARGET + c], row[TARGET_V + c] = target[c], target[3 + c]
            row[MOTHERSHIP + c] = mothership[c]
        row[REVOLUTIONS], row[METHOD] = burn.turns, method
    return count + 1


@njit(cache=True)
def _first_step(t, scan):
    """Step over which the burn changes by a share of the limit if the displacement grows as arc times burn."""
    track, body = scan.track, scan.body
    ux, uy, uz = hermite_velocity(body.states, body.start_s, track.step_s, t)
    vx, vy, vz = hermite_velocity(track.states, track.start_s, track.step_s, t)
    speed = math.sqrt((ux - vx) ** 2 + (uy - vy) ** 2 + (uz - vz) ** 2)
    return _SHARE_OF_LIMIT * scan.limits.burn_km_s * (t - scan.slot.burn_s) / max(speed, 1e-3)


@njit(cache=True)
def _moved(burn, new):
    """How far the burn moved, as a vector: its size alone is flat at a minimum. Infinite where there is none."""
    if burn.status != OK or new.status != OK:
        return math.inf
    return math.sqrt((new.x - burn.x) ** 2 + (new.y - burn.y) ** 2 + (new.z - burn.z) ** 2)


@njit(cache=True)
def _polish(left, t, right, size, tolerance_s, scan, count):
    """Polish the minimum about the sample at `t` of that size, and append it; the new count."""
    tolerance_s = max(_SHORTEST_TOLERANCE_S, tolerance_s)
    at = date_of_least_burn(left, t, right, size, scan.slot, scan.body, scan.track, scan.limits, tolerance_s)
    return _write(at, scan, count)


@njit(cache=True)
def _scan_slot(first, last, scan, count, least):
    """All local minima of one slot over [first, last]; the new count and the least burn seen."""
    limit = scan.limits.burn_km_s
    t = first
    burn = aimed_burn(t, scan.slot, scan.body, scan.track, scan.limits)
    size = size_of(burn)
    least = min(least, size)
    step = _first_step(t, scan)
    before_t = before_size = math.nan  # the sample before the last one
    while t < last:
        step = min(max(step, _SHORTEST_STEP_S), _LONGEST_STEP_S)
        new_t = min(t + step, last)
        new = aimed_burn(new_t, scan.slot, scan.body, scan.track, scan.limits)
        new_size = size_of(new)
        moved = _moved(burn, new)
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
            rate = max(moved, 1e-9) / taken
            left = t if starts_low else before_t
            count = _polish(left, t, new_t, size, _POLISH_SHARE * limit / rate, scan, count)
        before_t, before_size = t, size
        t, size, burn = new_t, new_size, new
        if moved > 0.0:
            # as far as the burn takes to fall to the limit, then in shares of it
            spare = max(0.0, size - _RESOLVE_BELOW * limit)
            step = min(taken / moved * (0.6 * spare + _SHARE_OF_LIMIT * limit), 4.0 * taken)
    if before_t == before_t and size < before_size and size < _RESOLVE_BELOW * limit:
        count = _polish(before_t, last, last, size, _POLISH_SHARE * (last - before_t), scan, count)
    return count, least


@njit(cache=True)
def _fill_body(n, first_node, prepared, track, planets, nodes):
    """One body at the mothership's nodes from `first_node` on, from its nearest prepared state, fully perturbed."""
    nodes_s, states = prepared
    t = track.start_s + first_node * track.step_s
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
    fill_nodes(start, t, track.step_s, DEFAULT_STEP_S, planets, nodes)


@njit(cache=True)
def _gaps(nodes, first_node, track):
    """Distances of body and mothership at the nodes, less what may close within a node spacing."""
    gap = np.empty(nodes.shape[0])
    for k in range(nodes.shape[0]):
        a, b = nodes[k], track.states[first_node + k]
        d = math.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2)
        v = math.sqrt((a[3] - b[3]) ** 2 + (a[4] - b[4]) ** 2 + (a[5] - b[5]) ** 2)
        gap[k] = d - 1.1 * v * track.step_s
    return gap


@njit(cache=True)
def _inside(gap, reach):
    """First and last node within reach; (-1, -1) where there is none."""
    first = last = -1
    for k in range(gap.shape[0]):
        if gap[k] <= reach[k]:
            last = k
            if first < 0:
                first = k
    return first, last


@njit(cache=True)
def _one_approach(approach, n, span, prepared, slots, reach, track, planets, limits, out, count, nodes):
    """All slots of one approach of body `n` over `span` (s); the new count and least burn."""
    nodes_s, _ = prepared
    end = min(track.start_s + (track.states.shape[0] - 1) * track.step_s, nodes_s[-1])
    first_node = max(int((span[0] - _TIME_GUARD_S - track.start_s) / track.step_s), 0)
    last_node = min(
        int(math.ceil((span[1] + _TIME_GUARD_S - track.start_s) / track.step_s)) + 1,
        track.states.shape[0] - 1,
    )
    nodes_count = last_node - first_node + 1
    least = math.inf
    if nodes_count < 2:
        return count, least
    _fill_body(n, first_node, prepared, track, planets, nodes[:nodes_count])
    earliest = track.start_s + first_node * track.step_s
    latest = min(track.start_s + last_node * track.step_s, end)
    body = Body(nodes[:nodes_count], earliest)
    gap = _gaps(body.states, first_node, track)
    for s in range(slots.burn_s.shape[0]):
        lo = max(earliest, slots.burn_s[s] + limits.arc_min_s)
        hi = min(latest, slots.burn_s[s] + limits.arc_max_s)
        if not lo < hi:
            continue
        first, last = _inside(gap, reach[s, first_node : first_node + nodes_count])
        if first < 0:
            continue
        lo = max(lo, earliest + (first - 1) * track.step_s)
        hi = min(hi, earliest + (last + 1) * track.step_s)
        if lo < hi:
            slot = Slot(slots.burn_s[s], slots.states[s], slots.swept[s])
            scan = _Scan(approach, s, slot, body, track, planets, limits, out)
            count, least = _scan_slot(lo, hi, scan, count, least)
    return count, least


@njit(cache=True)
def _all_approaches(body, enter, leave, first, prepared, slots, reach, track, planets, limits, out, nodes):
    """Approaches from `first` on; (rows written, next approach, least burn). Stops early when `out` is full."""
    count = 0
    least = math.inf
    for k in range(first, body.shape[0]):
        new, seen = _one_approach(
            k,
            body[k],
            (enter[k], leave[k]),
            prepared,
            slots,
            reach,
            track,
            planets,
            limits,
            out,
            count,
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
    slots = Slots(
        bound.burn_tdb_s,
        path.at(bound.burn_tdb_s),
        np.interp(bound.burn_tdb_s, path.epochs_tdb_s, swept),
    )
    track = Track(path.states, path.start_tdb_s, path.step_s, swept)
    kernel_limits = Limits(
        limits.burn_limit_km_s, limits.arc_min_s, limits.arc_max_s, limits.revolutions_max,
        limits.both_directions, path.pulled,
    )  # fmt: skip
    nodes = np.empty((len(path.states), 6))
    room = 4096
    parts: list[np.ndarray] = []
    least, first = math.inf, 0
    while True:
        out = np.empty((room, COLUMNS))
        count, reached, seen = _all_approaches(
            approaches.body, approaches.enter_s, approaches.leave_s, first, (prepared.nodes_tdb_s, prepared.states),
            slots, bound.slot_km, track, planets.kernel_table(), kernel_limits, out, nodes,
        )  # fmt: skip
        least = min(least, seen)
        parts.append(out[:count])
        # one approach may have more minima than fit: more room then
        room = room if reached > first else 4 * room
        first = reached
        if first >= len(approaches.body):
            return Minima(np.concatenate(parts), least)
