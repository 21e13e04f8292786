"""A row of an orbit flown in the full field: burns of finite length, coasts between them, its life with upkeep.

Each burn holds one direction, that of the impulse which it stands for, so that a message of it says all. It turns what
is left to the velocity wanted at that periapsis, by the share that was planned; the last ends at the apoapsis wanted.
A spiral is flown backwards from the orbit that it ends in (`spiral_flown`); excess speed is taken off before it begins.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from swarm.encounter.orbit.burn_flown import LongBurn, coast, long_burn
from swarm.encounter.orbit.full_field import Flown, fly
from swarm.encounter.orbit.insertion import Thruster
from swarm.encounter.orbit.orbit_tables import mean_orbit_of
from swarm.encounter.orbit.osculating import osculating_orbit, osculating_state
from swarm.encounter.orbit.spiral import lower_periapsis
from swarm.encounter.orbit.spiral_flown import FlownSpiral, NoSpiral, fly_spiral
from swarm.encounter.orbit.surroundings import Surroundings
from swarm.encounter.orbit.upkeep_flown import Kept, keep_up
from targets.base.constants import DAY_S
from targets.base.constants import STANDARD_GRAVITY_M_S2 as G0_M_S2

Floats = NDArray[np.float64]

# A burn may take so much more or less than its impulse until the apoapsis is the one wanted.
_LONGER, _SHORTER = 1.4, 0.7


class NotInserted(Exception):
    """An orbit cannot be reached in the field; says why."""


@dataclass(frozen=True, eq=False)
class FlownOrbit:
    """Burns of the insertion, coasts between them, or its spiral; then the science: coasts, burns of upkeep between."""

    burns: tuple[LongBurn, ...]
    coasts: tuple[Flown, ...]
    science: Kept
    spiral: FlownSpiral | None = None

    @property
    def begin_tdb_s(self) -> float:
        return float(self.science.coasts[0].tdb_s[0])

    @property
    def every_coast(self) -> tuple[Flown, ...]:
        return (*self.coasts, *self.science.coasts)


@dataclass(frozen=True)
class Engine(Thruster):
    """A thruster, the share of the time in which it may work, and how far from the centre a spiral begins."""

    duty: float
    spiral_from_km: float


def fly_orbit(
    row: dict[str, Any], arrival: tuple[float, Floats], thruster: Engine, around: Surroundings, *, body_km: float,
    days: float, turn_s: float,
) -> FlownOrbit:  # fmt: skip
    """Fly a row of `orbits` from its arrival (epoch, state about the body) for so many days of science at most.

    turn_s : after each so many seconds of science its upkeep is due; infinite without
    """
    if row["capture"] == "spiral":
        return _by_spiral(row, arrival[0], thruster, around, body_km=body_km, days=days, turn_s=turn_s)
    parts = list(row["burn_parts_m_s"])
    low_tdb_s, state = arrival
    mass, burns = thruster.wet_mass_kg, list[LongBurn]()
    for k, part in enumerate(parts):
        share = part / sum(parts[k:])
        high = body_km + row["apoapsis_km"] if k == len(parts) - 1 else None
        made = _burn(state, low_tdb_s, share, (row, high), Thruster(mass, thruster.isp_s, thruster.thrust_n), around,
                     body_km)  # fmt: skip
        mass = made.mass_after_kg
        burns.append(made)
        if high is None:
            low_tdb_s, state = _next_low(made.after, made.end_tdb_s, around)
    # a coast ends where the next burn begins, not at the periapsis
    coasts = [
        coast(one.after, one.end_tdb_s, other.ignition_tdb_s, around)
        for one, other in itertools.pairwise(burns)
    ]
    begun, lighter = (burns[-1].end_tdb_s, burns[-1].after), replace(thruster, wet_mass_kg=mass)
    kept = keep_up(begun, days, lighter, around, turn_s=turn_s, left_m_s=row["left_m_s"])
    return FlownOrbit(tuple(burns), tuple(coasts), kept)


def _by_spiral(
    row: dict[str, Any], arrival_tdb_s: float, engine: Engine, around: Surroundings, *, body_km: float, days: float,
    turn_s: float,
) -> FlownOrbit:  # fmt: skip
    low, high = body_km + row["periapsis_km"], body_km + row["apoapsis_km"]
    ellipse = lower_periapsis(around.field.gm_km3_s2, high, low)[0] if low < high else 0.0
    begin, exhaust = float(row["begin_tdb_s"]), engine.isp_s * G0_M_S2
    start = osculating_state(mean_orbit_of(row), 0.0, begin, around)
    share = math.exp(-(row["burn_m_s"] + row["spiral_m_s"]) / exhaust)
    lighter = replace(engine, wet_mass_kg=share * engine.wet_mass_kg)
    kept = keep_up((begin, start), days, lighter, around, turn_s=turn_s, left_m_s=row["left_m_s"])
    try:
        spiral = fly_spiral(
            start, begin, lighter, around, from_km=engine.spiral_from_km, not_before_tdb_s=arrival_tdb_s,
            duty=engine.duty, ellipse_m_s=ellipse,
        )  # fmt: skip
    except NoSpiral as why:
        raise NotInserted(str(why)) from why
    return FlownOrbit((), (), kept, spiral)


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

    def burnt(factor: float) -> LongBurn:
        return long_burn(low, low_tdb_s, factor * dv, thruster, around)

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
