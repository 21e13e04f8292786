"""A spiral flown in the full field: backwards, from the orbit that it ends in to where it is let in. Compiled.

Forward in time the thrust points against the velocity about the body: all the way round while the path is a circle, in
an arc about apoapsis once the periapsis is lowered, and never in the shadow (a cylinder). What the law of `spiral` says
of speed is spent in that order. Flown backwards, since the orbit is what is asked for: any other way would be shot for.

The share of the time in which the thruster may work (duty) is taken as that share of its thrust. Excess speed is taken
off before, far from the body, and is no part of this path: it begins where the probe crosses a distance from the body,
at the latest at its arrival. There the parent pulls nearly as hard as the body, and the path is not round.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.orbit.full_field import TOLERANCE, rates_in_field
from swarm.encounter.orbit.insertion import Thruster
from swarm.encounter.orbit.spiral import ARC_RAD
from swarm.encounter.orbit.surroundings import Surroundings
from targets.base.constants import DAY_S
from targets.base.constants import STANDARD_GRAVITY_M_S2 as G0_M_S2
from targets.motion.order8 import C, error_of, next_factor, to_end, to_stage

Floats = NDArray[np.float64]

_STEPS_MAX = 400_000
# A step goes no further than this share of a revolution: thrust is looked at after each, and states are kept.
_SHARE_OF_TURN = 1.0 / 24.0
# Moments at which thrust begins or ends are found to this, s: of a millinewton and ten kilograms 1e-7 m/s.
_EDGE_S = 1e-3
# Less eccentric it is a circle, whose apoapsis wanders: own choice, some times what the Moon's field does to a circle.
_ROUND = 0.005
# Sun is the first of what else pulls (`surroundings_of`).
_SUN = 0


class NoSpiral(Exception):
    """A spiral does not lead out of the orbit; says why."""


@dataclass(frozen=True, eq=False)
class FlownSpiral:
    """States (n, 6) about the body at epochs (n,), forward in time, with the mass (n,) kg then.

    pushed    : (n - 1,) whether there is thrust from one to the next, against the velocity
    thrust_n  : while there is; exhaust_m_s: its speed
    from_km   : the distance where the path begins; reached: whether it is the one asked for, or its arrival comes first
    """

    tdb_s: Floats
    states: Floats
    mass_kg: Floats
    pushed: NDArray[np.bool_]
    thrust_n: float
    exhaust_m_s: float
    reached: bool

    @property
    def days(self) -> float:
        return float(self.tdb_s[-1] - self.tdb_s[0]) / DAY_S

    @property
    def spent_m_s(self) -> float:
        return self.exhaust_m_s * math.log(self.mass_kg[0] / self.mass_kg[-1])

    @property
    def from_km(self) -> float:
        return float(np.linalg.norm(self.states[0, :3]))

    @property
    def arcs(self) -> Floats:
        """(k, 4) begin and end of each stretch of thrust, TDB s, and the mass then, kg."""
        edges = np.diff(np.concatenate([[False], self.pushed, [False]]).astype(int))
        first, last = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
        return np.column_stack([self.tdb_s[first], self.tdb_s[last], self.mass_kg[first], self.mass_kg[last]])


def fly_spiral(
    end: Floats, end_tdb_s: float, thruster: Thruster, around: Surroundings, *, from_km: float, not_before_tdb_s: float,
    duty: float, ellipse_m_s: float,
) -> FlownSpiral:  # fmt: skip
    """The spiral that ends in a state (6,), ICRF about the body, by a thruster of the mass that is left then.

    from_km          : from the centre, where it begins
    not_before_tdb_s : its arrival
    ellipse_m_s      : spent in arcs about apoapsis, at the end of it

    Raises NoSpiral.
    """
    exhaust, thrust = thruster.isp_s * G0_M_S2, duty * thruster.thrust_n
    last_kg = thruster.wet_mass_kg
    engine = np.array([thrust, thrust / exhaust, last_kg * math.exp(ellipse_m_s / exhaust)])
    kept, pushed = np.empty((_STEPS_MAX, 8)), np.empty(_STEPS_MAX, dtype=np.bool_)
    count, reached = _fly_back(
        np.array(end, dtype=float),
        end_tdb_s,
        last_kg,
        engine,
        around,
        from_km,
        not_before_tdb_s,
        kept,
        pushed,
    )
    if count == 0:
        raise NoSpiral("its path backwards meets the ground, or takes more steps than are followed")
    kept = kept[:count][::-1]
    return FlownSpiral(
        kept[:, 0].copy(),
        kept[:, 1:7].copy(),
        kept[:, 7].copy(),
        pushed[1:count][::-1].copy(),
        thrust,
        exhaust,
        reached,
    )


def fly_pushed(
    state: Floats, mass_kg: float, span_tdb_s: tuple[float, float], arcs: Floats, exhaust_m_s: float,
    around: Surroundings,
) -> Floats:  # fmt: skip
    """A state (6,) moved forward by arcs of thrust against the velocity, (k, 4): begin, end, mass at each."""
    begin, end = span_tdb_s
    y, t, mass, coasts = np.array(state, dtype=float), begin, mass_kg, np.zeros(2)
    for on, off, full, left in arcs[(arcs[:, 1] > begin) & (arcs[:, 0] < end)]:
        flow = (full - left) / (off - on)
        first, last = max(on, begin), min(off, end)
        _move(y, t, first - t, mass, coasts, around)
        _move(y, first, last - first, mass, np.array([exhaust_m_s * flow, flow]), around)
        mass, t = mass - flow * (last - first), last
    _move(y, t, end - t, mass, coasts, around)
    return y


@njit(cache=True)
def _rates(t, y, mass, push, around, work, out):
    """Rates of a state (6,), with thrust against the velocity; push: thrust N, flow kg/s."""
    rates_in_field(t, y, around, work, out)
    speed = math.sqrt(y[3] * y[3] + y[4] * y[4] + y[5] * y[5])
    for i in range(3):
        out[3 + i] -= 1e-3 * push[0] / (mass * speed) * y[3 + i]


@njit(cache=True)
def _step(t, y, h, mass, push, around, room, tolerance):
    """One step by h s, of either sign, the rates at its begin given; its error. The state there is in room's third."""
    stages, place, new, work = room
    for s in range(1, 12):
        to_stage(s, y, h, stages, place)
        _rates(t + C[s] * h, place, mass - push[1] * C[s] * h, push, around, work, stages[s])
    to_end(y, h, stages, new)
    _rates(t + h, new, mass - push[1] * h, push, around, work, stages[12])
    return error_of(h, stages, new, tolerance)


@njit(cache=True)
def _room(around):
    columns = around.field.c.shape[1] + 2
    work = (
        np.empty((3, 3)),
        np.empty((around.other_gm.size, 3)),
        np.empty((3, columns)),
        np.empty((3, columns)),
    )
    return np.empty((13, 6)), np.empty(6), np.empty(6), work


@njit(cache=True)
def _longest(y, around):
    r = math.sqrt(y[0] ** 2 + y[1] ** 2 + y[2] ** 2)
    return _SHARE_OF_TURN * 2.0 * math.pi * math.sqrt(r**3 / around.field.gm_km3_s2)


@njit(cache=True)
def _inside_km(y, in_arcs, around, places):
    """How far inside the stretch of thrust, km: positive where there is thrust. `places` as last filled."""
    r2 = y[0] * y[0] + y[1] * y[1] + y[2] * y[2]
    r = math.sqrt(r2)
    toward = 0.0
    if around.other_gm.size:
        sx, sy, sz = places[_SUN, 0], places[_SUN, 1], places[_SUN, 2]
        toward = (y[0] * sx + y[1] * sy + y[2] * sz) / math.sqrt(sx * sx + sy * sy + sz * sz)
    # a cylinder behind the body; before it the distance from the body itself
    lit = (math.sqrt(max(r2 - toward * toward, 0.0)) if toward < 0.0 else r) - around.radius_km
    if not in_arcs:
        return lit
    a, e = _shape(y, around)
    return min(lit, r - a * (1.0 + e * math.cos(ARC_RAD)))


@njit(cache=True)
def _shape(y, around):
    """Semi-major axis km and eccentricity."""
    mu, r = around.field.gm_km3_s2, math.sqrt(y[0] * y[0] + y[1] * y[1] + y[2] * y[2])
    a = 1.0 / (2.0 / r - (y[3] * y[3] + y[4] * y[4] + y[5] * y[5]) / mu)
    radial = y[0] * y[3] + y[1] * y[4] + y[2] * y[5]
    return a, math.sqrt(max((1.0 - r / a) ** 2 + radial * radial / (mu * a), 0.0))


@njit(cache=True)
def _edge(t, y, h, on, in_arcs, mass, push, around, room):
    """The step back that just passes an edge of thrust which one of h s passes; the state there is left in the room."""
    first, last = 0.0, h
    while last - first > _EDGE_S:
        tried = 0.5 * (first + last)
        _step(t, y, -tried, mass, push, around, room, TOLERANCE)
        if (_inside_km(room[2], in_arcs, around, room[3][1]) > 0.0) == on:
            first = tried
        else:
            last = tried
    _step(t, y, -last, mass, push, around, room, TOLERANCE)
    return last


@njit(cache=True)
def _fly_back(y, end, mass, engine, around, from_km, not_before, kept, pushed):
    """Fill states (8: epoch, state, mass) and whether there is thrust before each; how many, and if from_km is met.

    engine : thrust N, flow kg/s, the mass above which it pushes all the way round
    """
    room, coasts = _room(around), np.zeros(2)
    t, h, was, in_arcs = end, 0.2 * _longest(y, around), False, True
    kept[0, 0], kept[0, 1:7], kept[0, 7] = t, y, mass
    _rates(t, y, mass, coasts, around, room[3], room[0][0])
    for count in range(1, kept.shape[0]):
        in_arcs = in_arcs and mass < engine[2] and _shape(y, around)[1] > _ROUND
        on = _inside_km(y, in_arcs, around, room[3][1]) > 0.0
        push = engine[:2] if on else coasts
        if on != was:
            _rates(t, y, mass, push, around, room[3], room[0][0])
        while True:
            h = min(h, t - not_before)
            error = _step(t, y, -h, mass, push, around, room, TOLERANCE)
            if not error > 1.0:
                break
            h *= min(next_factor(error), 0.9)
        done = h
        if (_inside_km(room[2], in_arcs, around, room[3][1]) > 0.0) != on:
            done = _edge(t, y, h, on, in_arcs, mass, push, around, room)
        t, was = t - done, on
        mass += push[1] * done
        y[:] = room[2]
        room[0][0, :] = room[0][12]
        kept[count, 0], kept[count, 1:7], kept[count, 7] = t, y, mass
        pushed[count] = on
        r = math.sqrt(y[0] ** 2 + y[1] ** 2 + y[2] ** 2)
        if not r > around.radius_km:
            return 0, False
        if r >= from_km or t <= not_before + 1e-6:
            return count + 1, r >= from_km
        h = min(h * next_factor(error), _longest(y, around))
    return 0, False


@njit(cache=True)
def _move(y, begin, span, mass, push, around):
    """Move a state (6,) forward, with thrust against the velocity or none all the way."""
    if span <= 0.0:
        return
    room = _room(around)
    done, h = 0.0, 0.2 * _longest(y, around)
    _rates(begin, y, mass, push, around, room[3], room[0][0])
    while done < span:
        h = min(h, span - done)
        error = _step(begin + done, y, h, mass - push[1] * done, push, around, room, TOLERANCE)
        if not error > 1.0:
            y[:] = room[2]
            room[0][0, :] = room[0][12]
            done += h
            h = min(h * next_factor(error), _longest(y, around))
        else:
            h *= min(next_factor(error), 0.9)
