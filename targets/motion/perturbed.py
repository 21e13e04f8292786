"""Perturbed motion of a whole catalogue, compiled.

Method. Motion about the Sun is moved exactly (`twobody.drift`); the pull of the planets, and relativity,
enter as velocity kicks at the two Gauss-Legendre points of every step,

    drift c1 h, kick h/2, drift c2 h, kick h/2, drift c1 h,   c1 = (1 - 1/sqrt 3)/2, c2 = 1/sqrt 3,

so that the error per unit time is eps h^4 + eps^2 h^2, eps the planets' share of the force [1, 2].
A step of 32 d costs what a simple kick-drift-kick step of 16 d costs and is far more exact
(tests/targets/motion/test_against_assist.py). Positions of the planets come from DE440 (targets.ephemeris.planets).
A step is shortened near a planet by an estimate of what the two Gauss points miss of a passing pull.

Not in the force: pulls of other small bodies (a few hundred km in ten years in the main belt), recoil of
heat radiation, outgassing.

References
----------
[1] Wisdom & Holman 1991, "Symplectic maps for the n-body problem", Astron. J. 102:1528.
[2] Laskar & Robutel 2001, "High order symplectic integrators for perturbed Hamiltonian systems",
    Celest. Mech. Dyn. Astron. 80:39 (the scheme called SABA2).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit

from targets.base.constants import DAY_S, GM_SUN_KM3_S2, JULIAN_YEAR_S
from targets.ephemeris.planets import SYSTEMS, PlanetTable, hermite_position, hermite_velocity
from targets.motion.kicks import far_enough, kick_at, near_step, pull
from targets.motion.lanes import LANES, count_of, drift_lanes, drift_one, kick_lanes, mark_near, new_lanes
from targets.motion.twobody import drift

_C1 = 0.5 * (1.0 - 1.0 / math.sqrt(3.0))
_C2 = 1.0 / math.sqrt(3.0)
DEFAULT_STEP_S = 24.0 * DAY_S
# To be changed with the method: what is kept under the old name is not used any more.
METHOD = "two kicks at Gauss points, DE440, relativity, 2"


@dataclass(frozen=True)
class Prepared:
    """A catalogue moved to nodes at most a year apart, and how far two-body motion strays from each.

    nodes_tdb_s  : (k,)        uniform, first and last are the span's ends
    states       : (k, n, 6)   osculating heliocentric ICRF km, km/s
    allowance_km : (k, n)      bound on |perturbed - two-body from the node| within half a node spacing
    """

    nodes_tdb_s: np.ndarray
    states: np.ndarray
    allowance_km: np.ndarray


@njit(cache=True)
def _careful(x, y, z, vx, vy, vz, t, dt, longest, states, start_s, step_s, gm):
    """Move over `dt` in steps shortened near planets; the state and the sum of |kick|."""
    done = 0.0
    sign = 1.0 if dt >= 0.0 else -1.0
    total = abs(dt)
    kicks = 0.0
    while done < total:
        now = t + sign * done
        h = near_step(x, y, z, vx, vy, vz, now, states, start_s, step_s, gm, longest)
        left = total - done
        if h >= left:
            h = left
        elif h > 0.5 * left:
            h = 0.5 * left  # no tiny last step
        hs = sign * h
        x, y, z, vx, vy, vz = drift(x, y, z, vx, vy, vz, GM_SUN_KM3_S2, _C1 * hs)
        for node in range(2):
            share = _C1 if node == 0 else 1.0 - _C1
            ax, ay, az = kick_at(x, y, z, vx, vy, vz, now + share * hs, states, start_s, step_s, gm)
            vx += 0.5 * hs * ax
            vy += 0.5 * hs * ay
            vz += 0.5 * hs * az
            kicks += 0.5 * h * math.sqrt(ax * ax + ay * ay + az * az)
            x, y, z, vx, vy, vz = drift(x, y, z, vx, vy, vz, GM_SUN_KM3_S2, (_C2 if node == 0 else _C1) * hs)
        done += h
    return x, y, z, vx, vy, vz, kicks


@njit(cache=True)
def move(x, y, z, vx, vy, vz, t, dt, longest, states, start_s, step_s, gm):
    """Perturbed motion of one state over `dt`; six numbers."""
    if dt == 0.0:
        return x, y, z, vx, vy, vz
    out = _careful(x, y, z, vx, vy, vz, t, dt, longest, states, start_s, step_s, gm)
    return out[0], out[1], out[2], out[3], out[4], out[5]


@njit(cache=True)
def _kick_schedule(t, h, steps, states, start_s, step_s, gm):
    """Planet systems at the kicks of every step, the indirect pulls there, and where nearness is looked at.

    at_kicks (steps, 2, 8, 3) km; indirect (steps, 2, 3) km/s^2; look (steps + 1, 8, 6): the planets at the
    start and then at every second kick, the places from which the next step is judged.
    """
    at_kicks = np.empty((steps, 2, SYSTEMS, 3))
    indirect = np.zeros((steps, 2, 3))
    look = np.empty((steps + 1, SYSTEMS, 6))
    for p in range(SYSTEMS):
        look[0, p, :3] = hermite_position(states[p], start_s, step_s, t)
        look[0, p, 3:] = hermite_velocity(states[p], start_s, step_s, t)
    for s in range(steps):
        for p in range(SYSTEMS):
            for node in range(2):
                at = t + (s + (_C1 if node == 0 else 1.0 - _C1)) * h
                px, py, pz = hermite_position(states[p], start_s, step_s, at)
                at_kicks[s, node, p] = (px, py, pz)
                ix, iy, iz = pull(px, py, pz, gm[p])
                indirect[s, node, 0] += ix
                indirect[s, node, 1] += iy
                indirect[s, node, 2] += iz
                if node == 1:
                    look[s + 1, p, :3] = (px, py, pz)
                    look[s + 1, p, 3:] = hermite_velocity(states[p], start_s, step_s, at)
    return at_kicks, indirect, look


@njit(cache=True)
def _move_alone(lanes, moments, i, at_s, h, middle, owed, table):
    """Body i over one step by itself, in steps shortened near planets; `at_s` (from the start, from the epoch)."""
    begun, t = at_s
    states, start_s, step_s, gm = table
    if owed[i] != 0.0:
        drift_one(lanes, i, owed[i])
        owed[i] = 0.0
    out = _careful(
        lanes[0, i], lanes[1, i], lanes[2, i], lanes[3, i], lanes[4, i], lanes[5, i],
        t, h, abs(h), states, start_s, step_s, gm,
    )  # fmt: skip
    for c in range(6):
        lanes[c, i] = out[c]
    # |kick| times its distance in time to the middle, bounded without looking inside the step
    moments[0, i] += out[6] * max(middle - begun, 0.0)
    moments[1, i] += out[6] * max(begun + abs(h) - middle, 0.0)


@njit(cache=True)
def _march_block(block, used, t, h, steps, schedule, far, table):
    """The bodies of a block (the first `used` lanes) through `steps` steps, with their kick moments."""
    lanes, pulls, moments, near, unsettled, lengths, owed = block
    at_kicks, indirect, look = schedule
    middle = 0.5 * steps * abs(h)
    owed[:] = 0.0  # drift left over from the step before, joined with the next where no step alone intervenes
    moments[:] = 0.0
    for s in range(steps):
        begun = s * abs(h)
        mark_near(lanes, near, look[s], far[0], far[1])
        lengths[:] = h
        if count_of(near) > 0.0:
            for i in range(LANES):
                if near[i] > 0.0:
                    lengths[i] = 0.0
                    if i < used:
                        _move_alone(lanes, moments, i, (begun, t + s * h), h, middle, owed, table)
        for node in range(2):
            for i in range(LANES):
                owed[i] = owed[i] + _C1 * lengths[i] if node == 0 else _C2 * lengths[i]
            drift_lanes(lanes, owed, unsettled)
            at = begun + (_C1 if node == 0 else 1.0 - _C1) * abs(h)
            moment = moments[0] if at < middle else moments[1]
            kick_lanes(
                lanes,
                pulls,
                at_kicks[s, node],
                indirect[s, node],
                table[3],
                lengths,
                abs(at - middle),
                moment,
            )
        for i in range(LANES):
            owed[i] = _C1 * lengths[i]
    drift_lanes(lanes, owed, unsettled)


@njit(cache=True)
def _march(bodies, t, dt, steps, states, start_s, step_s, gm, moments):
    """Move (n, 6) states in place over `dt` in `steps` common steps; moments (n, 2) as in `march`."""
    h = dt / steps
    schedule = _kick_schedule(t, h, steps, states, start_s, step_s, gm)
    far = far_enough(gm, h)
    table = (states, start_s, step_s, gm)
    block = new_lanes()
    for first in range(0, bodies.shape[0], LANES):
        used = min(LANES, bodies.shape[0] - first)
        for i in range(LANES):
            for c in range(6):  # lanes left over go with the last body, unread
                block[0][c, i] = bodies[first + min(i, used - 1), c]
        _march_block(block, used, t, h, steps, schedule, far, table)
        for i in range(used):
            for c in range(6):
                bodies[first + i, c] = block[0][c, i]
            moments[first + i] = block[2][:, i]


def _steps(dt_s: float, step_s: float) -> int:
    return max(1, math.ceil(abs(dt_s) / step_s - 1e-9))


def march(
    states: np.ndarray,
    from_tdb_s: float,
    to_tdb_s: float,
    *,
    planets: PlanetTable,
    step_s: float = DEFAULT_STEP_S,
) -> tuple[np.ndarray, np.ndarray]:
    """Move (n, 6) states that share an epoch to another epoch.

    Parameters
    ----------
    states : (n, 6) heliocentric ICRF, km and km/s, at `from_tdb_s`
    step_s : longest step far from planets (the study's `search.step_days`)

    Returns
    -------
    moved : (n, 6) at `to_tdb_s`; rows that could not be moved are NaN
    kick_moments_km : (n, 2) sum of |kick| times its distance in time to the middle of the span,
        for the kicks before and after the middle: what two-body motion misses, before amplification.
    """
    moved = np.array(states, dtype=float, order="C")
    moments = np.zeros((moved.shape[0], 2))
    if from_tdb_s != to_tdb_s and moved.shape[0]:
        _check_span(planets, from_tdb_s, to_tdb_s)
        dt = to_tdb_s - from_tdb_s
        _march(
            moved,
            from_tdb_s,
            dt,
            _steps(dt, step_s),
            planets.states,
            planets.start_tdb_s,
            planets.step_s,
            planets.gm_km3_s2,
            moments,
        )
    return moved, moments


@njit(cache=True)
def fill_nodes(state, t, step, longest, table, nodes):
    """Fill nodes (m, 6) with the perturbed path from `state` at `t`, one node every `step`."""
    states, start_s, step_s, gm = table
    nodes[0] = state
    x, y, z, vx, vy, vz = state
    for k in range(1, nodes.shape[0]):
        x, y, z, vx, vy, vz = move(
            x, y, z, vx, vy, vz, t + (k - 1) * step, step, longest, states, start_s, step_s, gm
        )
        nodes[k] = (x, y, z, vx, vy, vz)


def march_nodes(
    state: np.ndarray, from_tdb_s: float, *, step_s: float, count: int, planets: PlanetTable
) -> np.ndarray:
    """(count, 6) states of one body at uniform epochs from `from_tdb_s`, every step careful near planets."""
    _check_span(planets, from_tdb_s, from_tdb_s + (count - 1) * step_s)
    nodes = np.empty((count, 6))
    fill_nodes(
        np.ascontiguousarray(state, dtype=float),
        from_tdb_s,
        step_s,
        DEFAULT_STEP_S,
        planets.kernel_table(),
        nodes,
    )
    return nodes


def _check_span(planets: PlanetTable, *epochs_tdb_s: float) -> None:
    if min(epochs_tdb_s) < planets.start_tdb_s or max(epochs_tdb_s) > planets.end_tdb_s:
        raise ValueError("the planet table does not cover the span asked for")


def move_to_epoch(
    epochs_tdb_s: np.ndarray,
    states: np.ndarray,
    to_tdb_s: float,
    *,
    planets: PlanetTable,
    step_s: float = DEFAULT_STEP_S,
) -> np.ndarray:
    """Move (n, 6) states, each at its own epoch, to one common epoch; bodies of one epoch go together."""
    out = np.empty_like(states, dtype=float)
    for epoch in np.unique(epochs_tdb_s):
        members = epochs_tdb_s == epoch
        out[members], _ = march(states[members], float(epoch), to_tdb_s, planets=planets, step_s=step_s)
    return out


def drift_amplification(states: np.ndarray) -> np.ndarray:
    """How much a velocity change can grow, beyond straight-line motion, within half a year or more.

    On a circular orbit a change along the track grows to 3 dv t at most; between the ends of an ellipse the
    speed along the track, and with it the displacement, grows by v_perihelion/v_aphelion = (1+e)/(1-e).
    Attacked with sampled bodies in tests/targets/motion/test_drift_allowance.py.
    """
    r = np.linalg.norm(states[..., :3], axis=-1)
    v2 = np.einsum("...i,...i->...", states[..., 3:], states[..., 3:])
    rv = np.einsum("...i,...i->...", states[..., :3], states[..., 3:])
    energy_term = r * v2 / GM_SUN_KM3_S2
    e2 = (energy_term - 1.0) ** 2 - rv**2 / (r * GM_SUN_KM3_S2) * (energy_term - 2.0)
    e = np.minimum(np.sqrt(np.maximum(e2, 0.0)), 0.999)
    return 3.0 * (1.0 + e) / (1.0 - e)


@njit(cache=True)
def drift_growth(x, y, z, vx, vy, vz):
    """`drift_amplification` of one state, for code that is compiled for a device; the same but for rounding."""
    r = math.sqrt(x * x + y * y + z * z)
    v2 = vx * vx + vy * vy + vz * vz
    rv = x * vx + y * vy + z * vz
    energy_term = r * v2 / GM_SUN_KM3_S2
    e2 = (energy_term - 1.0) ** 2 - rv**2 / (r * GM_SUN_KM3_S2) * (energy_term - 2.0)
    e = min(math.sqrt(max(e2, 0.0)), 0.999)
    return 3.0 * (1.0 + e) / (1.0 - e)


def prepare(
    states: np.ndarray,
    *,
    start_tdb_s: float,
    end_tdb_s: float,
    planets: PlanetTable,
    step_s: float = DEFAULT_STEP_S,
) -> Prepared:
    """Osculating states at nodes at most a Julian year apart over [start, end].

    states : (n, 6) at `start_tdb_s` (see `move_to_epoch`).

    Guarantee
    ---------
    Within half a node spacing of a node, |perturbed - two-body| <= allowance_km of that node.
    """
    spans = _steps(end_tdb_s - start_tdb_s, JULIAN_YEAR_S)
    nodes = np.linspace(start_tdb_s, end_tdb_s, spans + 1)
    out = np.empty((spans + 1, states.shape[0], 6))
    moments = np.zeros((spans + 1, states.shape[0]))
    out[0] = states
    for k in range(spans):
        out[k + 1], kicks = march(out[k], nodes[k], nodes[k + 1], planets=planets, step_s=step_s)
        np.maximum(moments[k], kicks[:, 0], out=moments[k])
        np.maximum(moments[k + 1], kicks[:, 1], out=moments[k + 1])
    return Prepared(nodes, out, drift_amplification(out) * moments)
