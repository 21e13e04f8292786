"""A row of an orbit flown in the full field: burns of finite length, coasts between them, and its life until upkeep.

Each burn holds one direction, that of the impulse which it stands for, so that a message of it says all. It turns what
is left to the velocity wanted at that periapsis, by the share that was planned; the last ends at the apoapsis wanted.
A spiral is a law of days and speed, not a path: of it the orbit alone is flown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from swarm.encounter.orbit.full_field import Flown, fly
from swarm.encounter.orbit.insertion import Thruster
from swarm.encounter.orbit.orbit_tables import mean_orbit_of
from swarm.encounter.orbit.osculating import osculating_orbit, osculating_state
from swarm.encounter.orbit.surroundings import Surroundings, fill_axes, fill_others, pull_at
from targets.base.constants import DAY_S
from targets.base.constants import STANDARD_GRAVITY_M_S2 as G0_M_S2

Floats = NDArray[np.float64]

_NODE_S = 60.0  # states of a coast are kept at least so far apart
# A burn may take so much more or less than its impulse until the apoapsis is the one wanted.
_LONGER, _SHORTER = 1.4, 0.7
_TOLERANCE_KM, _TOLERANCE_SHARE = 1e-9, 1e-12


class NotInserted(Exception):
    """An orbit cannot be reached in the field; says why."""


@dataclass(frozen=True, eq=False)
class LongBurn:
    """A burn of one direction: km/s (3,) ICRF, states (6,) about the body at its begin and end, masses kg."""

    ignition_tdb_s: float
    duration_s: float
    dv_km_s: Floats
    before: Floats
    after: Floats
    mass_before_kg: float
    mass_after_kg: float


@dataclass(frozen=True, eq=False)
class FlownOrbit:
    """Burns and the coasts that follow each; the last coast is the science, until upkeep is due or it ends."""

    burns: tuple[LongBurn, ...]
    coasts: tuple[Flown, ...]

    @property
    def begin_tdb_s(self) -> float:
        return float(self.coasts[-1].tdb_s[0])


def fly_orbit(
    row: dict[str, Any], arrival: tuple[float, Floats], thruster: Thruster, around: Surroundings, *, body_km: float,
    days: float,
) -> FlownOrbit:  # fmt: skip
    """Fly a row of `orbits` from its arrival (epoch, state about the body) for so many days of science at most."""
    if row["capture"] == "spiral":
        begin = float(row["begin_tdb_s"])
        start = osculating_state(mean_orbit_of(row), 0.0, begin, around)
        return FlownOrbit((), (fly(start, begin, days, around, every_s=_NODE_S),))
    parts = list(row["burn_parts_m_s"])
    low_tdb_s, state = arrival
    mass, burns, coasts = thruster.wet_mass_kg, list[LongBurn](), list[Flown]()
    for k, part in enumerate(parts):
        share = part / sum(parts[k:])
        high = body_km + row["apoapsis_km"] if k == len(parts) - 1 else None
        made = _burn(state, low_tdb_s, share, (row, high), Thruster(mass, thruster.isp_s, thruster.thrust_n), around,
                     body_km)  # fmt: skip
        mass = made.mass_after_kg
        burns.append(made)
        end = made.ignition_tdb_s + made.duration_s
        if high is not None:
            coasts.append(fly(made.after, end, days, around, every_s=_NODE_S))
            break
        low_tdb_s, state = _next_low(made.after, end, around)
        coasts.append(_coast(made.after, end, low_tdb_s, around))
    # a coast ends where the next burn begins, not at the periapsis
    for k, made in enumerate(burns[1:]):
        begin = burns[k].ignition_tdb_s + burns[k].duration_s
        coasts[k] = _coast(burns[k].after, begin, made.ignition_tdb_s, around)
    return FlownOrbit(tuple(burns), tuple(coasts))


def moved(
    state: Floats, begin_tdb_s: float, seconds: float, around: Surroundings, *,
    push: tuple[Floats, float, float] | None = None, mass_kg: float = 1.0,
) -> Floats:  # fmt: skip
    """A state (6,) so many seconds later, or earlier; push: (unit (3,), thrust N, exhaust m/s) of a burn."""
    along, thrust_n, exhaust_m_s = push or (np.zeros(3), 0.0, 1.0)
    columns = around.field.c.shape[1] + 2
    work = (
        np.empty((3, 3)),
        np.empty((len(around.other_gm), 3)),
        np.empty((3, columns)),
        np.empty((3, columns)),
    )
    flow = thrust_n / exhaust_m_s

    def rates(t: float, y: Floats) -> Floats:
        out = np.empty(6)
        _rates(begin_tdb_s + t, y, around, work, out)
        out[3:] += 1e-3 * thrust_n / (mass_kg - flow * t) * along
        return out

    found = solve_ivp(
        rates, (0.0, seconds), np.asarray(state, float), method="DOP853", rtol=_TOLERANCE_SHARE, atol=_TOLERANCE_KM
    )  # fmt: skip
    return np.asarray(found.y[:, -1], dtype=float)


@njit(cache=True)
def _rates(t, y, around, work, out):
    axes, places, v, w = work
    fill_axes(t, around, axes)
    fill_others(t, around, places)
    out[0], out[1], out[2] = y[3], y[4], y[5]
    pull_at(y[:3], around, axes, places, v, w, True, out[3:6])


def _burn(
    low: Floats, low_tdb_s: float, share: float, goal: tuple[dict[str, Any], float | None], thruster: Thruster,
    around: Surroundings, body_km: float,
) -> LongBurn:  # fmt: skip
    """A share of what is left to the velocity wanted, about a periapsis (6,); `goal`: row, and apoapsis of the last."""
    row, high_km = goal
    mu, r = around.field.gm_km3_s2, float(np.linalg.norm(low[:3]))
    up = low[:3] / r
    pole = np.array([row[f"mean_j_{axis}"] for axis in "xyz"])
    ahead = np.cross(pole / np.linalg.norm(pole), up)
    wanted = (
        math.sqrt(mu * (2.0 / r - 2.0 / (r + body_km + row["apoapsis_km"]))) * ahead / np.linalg.norm(ahead)
    )
    dv = share * (wanted - low[3:])
    size_m_s, along = 1e3 * float(np.linalg.norm(dv)), dv / np.linalg.norm(dv)
    exhaust = thruster.isp_s * G0_M_S2

    def burnt(factor: float) -> LongBurn:
        seconds = thruster.burn_s(factor * size_m_s)
        left = thruster.wet_mass_kg - seconds * thruster.thrust_n / exhaust
        lead = seconds * (
            thruster.wet_mass_kg / (thruster.wet_mass_kg - left) - exhaust / (factor * size_m_s)
        )
        before = moved(low, low_tdb_s, -lead, around)
        after = moved(
            before, low_tdb_s - lead, seconds, around, push=(along, thruster.thrust_n, exhaust),
            mass_kg=thruster.wet_mass_kg,
        )  # fmt: skip
        speed = 1e-3 * factor * size_m_s
        return LongBurn(low_tdb_s - lead, seconds, speed * along, before, after, thruster.wet_mass_kg, left)

    if high_km is None:
        return burnt(1.0)
    goal_km = high_km

    def over(factor: float) -> float:
        orbit = osculating_orbit(burnt(factor).after, mu)
        return (1.0 / orbit.apoapsis_km if orbit.a_km > 0.0 else 0.0) - 1.0 / goal_km

    if not over(_SHORTER) < 0.0 < over(_LONGER):
        raise NotInserted("no length of its last burn ends at the apoapsis wanted, as the field is")
    return burnt(float(brentq(over, _SHORTER, _LONGER, xtol=1e-9)))


def _next_low(state: Floats, begin_tdb_s: float, around: Surroundings) -> tuple[float, Floats]:
    """Epoch and state of the next periapsis."""
    orbit = osculating_orbit(state, around.field.gm_km3_s2)
    if not orbit.a_km > 0.0:
        raise NotInserted("its first burn does not capture it, as the field is")
    days = 1.5 * 2.0 * math.pi * math.sqrt(orbit.a_km**3 / around.field.gm_km3_s2) / DAY_S
    found = fly(state, begin_tdb_s, days, around, every_s=DAY_S)
    if not len(found.low_tdb_s):
        said = "meets the ground" if found.hit else "does not come back"
        raise NotInserted(f"it {said} between two burns, as the field is")
    at = float(found.low_tdb_s[0])
    return at, fly(state, begin_tdb_s, (at - begin_tdb_s) / DAY_S, around, every_s=DAY_S).states[-1]


def _coast(state: Floats, begin_tdb_s: float, end_tdb_s: float, around: Surroundings) -> Flown:
    return fly(state, begin_tdb_s, (end_tdb_s - begin_tdb_s) / DAY_S, around, every_s=_NODE_S)
