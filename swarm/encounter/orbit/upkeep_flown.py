"""The science of an orbit flown in the full field, with its upkeep as burns: pairs of them until it is turned back.

Once a turn of the body the mean eccentricity vector is put back to where it was at first, counted from the ascending
node on the body's equator, and the mean semi-major axis with it: what the averaged life charges as v |de|/2. A pair
burns along the path and against it, half a revolution apart. By Gauss's equations for a push s along the velocity v at
a direction u,

    d e = 2 (s/v) (e + u),   d a = 2 a^2 s v/mu

(any text on perturbations, with f the angle of u from periapsis); three unknowns, both pushes and u, for what is to
change. A weak thruster burns for a twelfth of a revolution at most, where turning away from the velocity costs a
hundredth, and takes many of them for what was due: it does not run after what the field moves meanwhile, nearly all of
which comes back within the turn. What is left then the next upkeep takes up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import root

from swarm.encounter.orbit.burn_flown import LongBurn, coast, long_burn
from swarm.encounter.orbit.full_field import Flown
from swarm.encounter.orbit.insertion import Thruster
from swarm.encounter.orbit.mean_life import MeanOrbit
from swarm.encounter.orbit.osculating import mean_orbit, osculating_orbit
from swarm.encounter.orbit.surroundings import Surroundings, fill_axes
from targets.base.constants import DAY_S

Floats = NDArray[np.float64]

# So many times upkeep is flown, and the coast after the last until it would be due again. Own choice: a year of a weak
# thruster is thousands of burns.
UPKEEPS_FLOWN = 2
_ARC_SHARE = 1.0 / 12.0
_PAIRS_MOST = 200
# Upkeep is over with so little of |de| left: own choice, a thirtieth of a kilometre about the Moon.
_DONE = 2e-5
_LEAD_S = 120.0
_COAST_LEAST_S = 3600.0


@dataclass(frozen=True, eq=False)
class Kept:
    """Coasts of the science, and between two of them a burn of upkeep each.

    spent_m_s : on upkeep;  turned : |de| that each upkeep was to turn back;  note : "" or why it ended before its days
    """

    coasts: tuple[Flown, ...]
    burns: tuple[LongBurn, ...]
    turned: tuple[float, ...]
    note: str

    @property
    def spent_m_s(self) -> float:
        return 1e3 * sum(float(np.linalg.norm(burn.dv_km_s)) for burn in self.burns)

    @property
    def hit(self) -> bool:
        return self.coasts[-1].hit

    @property
    def days(self) -> float:
        return float(self.coasts[-1].tdb_s[-1] - self.coasts[0].tdb_s[0]) / DAY_S

    @property
    def least_km(self) -> float:
        """Least height of a periapsis; NaN without one."""
        lows = np.concatenate([each.low_km for each in self.coasts])
        return float(lows.min()) if len(lows) else math.nan


@dataclass
class _Way:
    """Where the flight is: burns so far, and the state after the last of them; until when there is science."""

    end_tdb_s: float
    tdb_s: float
    state: Floats
    thruster: Thruster
    coasts: list[Flown]
    burns: list[LongBurn]
    left_m_s: float


def keep_up(
    begun: tuple[float, Floats], days: float, thruster: Thruster, around: Surroundings, *, turn_s: float,
    left_m_s: float,
) -> Kept:  # fmt: skip
    """Fly from an epoch and state (6,) for so many days; turn_s: of the body, infinite without upkeep.

    The first UPKEEPS_FLOWN upkeeps are flown, and no longer than until the next would be due.
    """
    begin, state = begun
    end = begin + min(days * DAY_S, (UPKEEPS_FLOWN + 1) * turn_s)
    way, turned, note = _Way(end, begin, state, thruster, [], [], left_m_s), list[float](), ""
    if math.isfinite(turn_s):
        held = mean_orbit(state, begin, around)
        asked = from_node(held, begin, around)
        due = begin + turn_s
        while due < end - 1.0 and not note:
            ahead = coast(way.state, way.tdb_s, due, around)
            if ahead.hit:
                break
            size, note = _turn_back(way, due, ahead.states[-1], (held.a_km, *asked), around)
            turned.append(size)
            due += turn_s
    if not (way.coasts and way.coasts[-1].hit):
        # upkeep may go on when its science is over
        left_s = max(end - way.tdb_s, _COAST_LEAST_S)
        way.coasts.append(coast(way.state, way.tdb_s, way.tdb_s + left_s, around))
    return Kept(tuple(way.coasts), tuple(way.burns), tuple(turned), note)


def from_node(orbit: MeanOrbit, tdb_s: float, around: Surroundings) -> tuple[float, float]:
    """e along the ascending node on the body's equator, and across it in the plane."""
    node, across = _node_frame(orbit, tdb_s, around)
    return float(orbit.e @ node), float(orbit.e @ across)


def _node_frame(orbit: MeanOrbit, tdb_s: float, around: Surroundings) -> tuple[Floats, Floats]:
    axes = np.empty((3, 3))
    fill_axes(tdb_s, around, axes)
    pole = orbit.j / np.linalg.norm(orbit.j)
    node = np.cross(axes[2], pole)
    long = float(np.linalg.norm(node))
    node = node / long if long > 1e-9 else axes[0]
    return node, np.cross(pole, node)


def _turn_back(
    way: _Way, tdb_s: float, state: Floats, held: tuple[float, float, float], around: Surroundings
) -> tuple[float, str]:
    """Burn in pairs from a moment on; |de| that was to be turned back, and why it is not, if so."""
    mu, due = around.field.gm_km3_s2, tdb_s
    now = mean_orbit(state, due, around)
    away = np.array(held[1:]) - from_node(now, due, around)
    first = float(np.linalg.norm(away))
    for _ in range(_PAIRS_MOST):
        if np.linalg.norm(away) <= _DONE or way.tdb_s >= way.end_tdb_s:
            return first, ""
        frame = np.array(_node_frame(now, due, around))
        pair = _pair(now, away @ frame, held[0] - now.a_km, mu)
        if pair is None:
            return first, "no pair of burns turns its eccentricity vector back"
        burns, share = _in_order(pair, state, due, way.thruster, mu)
        for when, push_km_s in burns:
            if not _burn(way, when, push_km_s, around):
                hit = bool(way.coasts) and way.coasts[-1].hit
                return first, "" if hit else "its tank does not last for this upkeep"
        due, state = way.tdb_s, way.state
        now = mean_orbit(state, due, around)
        away = (1.0 - share) * away
    return first, f"{_PAIRS_MOST} revolutions of burns do not turn its eccentricity vector back (thrust_n)"


def _burn(way: _Way, at_tdb_s: float, push_km_s: float, around: Surroundings) -> bool:
    """Coast to a burn and fly it; False where the tank does not hold it or the ground is met before."""
    if 1e3 * abs(push_km_s) > way.left_m_s:
        return False
    # by the integrator of the coast that ends a little before: of weeks, another would be half a kilometre beside
    at = coast(way.state, way.tdb_s, at_tdb_s, around).states[-1]
    along = at[3:] / np.linalg.norm(at[3:])
    made = long_burn(at, at_tdb_s, push_km_s * along, way.thruster, around)
    way.coasts.append(coast(way.state, way.tdb_s, made.ignition_tdb_s, around))
    if way.coasts[-1].hit:
        return False
    way.burns.append(made)
    way.tdb_s, way.state = made.end_tdb_s, made.after
    way.thruster = replace(way.thruster, wet_mass_kg=made.mass_after_kg)
    way.left_m_s -= 1e3 * abs(push_km_s)
    return True


def _pair(orbit: MeanOrbit, away: Floats, by_a_km: float, mu: float) -> tuple[Floats, float, float] | None:
    """Direction u (3,) of the first push, and both pushes along the velocity, km/s, at u and at -u."""
    a, size = orbit.a_km, float(np.linalg.norm(away))
    pole = orbit.j / np.linalg.norm(orbit.j)
    p_hat = away - (away @ pole) * pole
    p_hat = p_hat / np.linalg.norm(p_hat)
    q_hat = np.cross(pole, p_hat)
    speed = math.sqrt(mu / a)
    parameter = a * (1.0 - orbit.eccentricity**2)

    def left(x: Floats) -> Floats:
        u = math.cos(x[2]) * p_hat + math.sin(x[2]) * q_hat
        by_e, by_a = -away / size, -by_a_km / (a * size)
        for push, at in ((x[0], u), (x[1], -u)):
            v = math.sqrt(mu * (2.0 * (1.0 + orbit.e @ at) / parameter - 1.0 / a))
            by_e = by_e + 2.0 * push * speed / v * (orbit.e + at)
            by_a += 2.0 * push * speed * v * a / mu
        return np.array([by_e @ p_hat, by_e @ q_hat, by_a])

    found = root(left, np.array([0.25, -0.25, 0.0]), tol=1e-12)
    if not np.abs(left(found.x)).max() < 1e-6:
        return None
    scale, angle = speed * size, float(found.x[2])
    u = math.cos(angle) * p_hat + math.sin(angle) * q_hat
    return u, scale * float(found.x[0]), scale * float(found.x[1])


def _in_order(
    pair: tuple[Floats, float, float], state: Floats, tdb_s: float, thruster: Thruster, mu: float
) -> tuple[list[tuple[float, float]], float]:
    """Moments of both burns and their pushes, km/s, in order of date; the share of the pair that they are.

    None is longer than a share of a revolution.
    """
    u, first, second = pair
    orbit = osculating_orbit(state, mu)
    rate = math.sqrt(mu / orbit.a_km**3)
    period = 2.0 * math.pi / rate
    most = 1e-3 * thruster.thrust_n / thruster.wet_mass_kg * period * _ARC_SHARE
    share = min(1.0, most / max(abs(first), abs(second)))
    lead = _LEAD_S + 0.5 * thruster.burn_s(1e3 * share * max(abs(first), abs(second)))
    here = _mean_anomaly(orbit, state[:3])
    soon = [
        lead + ((_mean_anomaly(orbit, at) - here) / rate - lead) % period for at in (u, -u)
    ]  # each the next time it is there, not sooner than a burn takes
    pushes = (share * first, share * second)
    order = sorted(range(2), key=lambda k: soon[k])
    return [(tdb_s + soon[k], pushes[k]) for k in order], share


def _mean_anomaly(orbit: MeanOrbit, direction: Floats) -> float:
    """Of the place in a direction (3,) in the plane."""
    e = orbit.eccentricity
    pole = orbit.j / np.linalg.norm(orbit.j)
    p_hat = orbit.e / max(e, 1e-12)
    f = math.atan2(float(direction @ np.cross(pole, p_hat)), float(direction @ p_hat))
    big = 2.0 * math.atan2(math.sqrt(1.0 - e) * math.sin(0.5 * f), math.sqrt(1.0 + e) * math.cos(0.5 * f))
    return big - e * math.sin(big)
