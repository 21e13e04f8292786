"""What stays bound to the planet after a low pass meets the moon again: followed for some years, then as a rate.

Samples of the delivery are followed in the field of planet, moons and Sun. Where none hits, counts say little: beside
them stands the mean rate of Opik over the orbits that the samples are on, by which the rows were judged
(`later_impact`). Disposal is not planned here: this is what happens without.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.later_impact import LEFT_S, opik_rate_per_year, orbital_energy
from swarm.encounter.pass_delivery import root_of_cov
from swarm.reach.approach.about import field_about, index_of
from swarm.reach.approach.field import (
    HIT,
    NOT_MET,
    OK,
    PLANET,
    PlanetField,
    fly_to_closest,
    move_to,
    relative_to,
)
from swarm.reach.approach.goals import frame_of
from swarm.refine.chance import binomial_interval
from swarm.refine.pass_path import NotFollowed, impulse_km_s, unburned_state
from swarm.study.schema import Study
from targets.base.constants import DAY_S, JULIAN_YEAR_S
from targets.masses.massive import Mass, mass_named, moons_of, planet_of
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]

# First number of the spawn key of these draws; other stages use other numbers.
SPAWN_KEY = 8
# Samples are followed for so long at a time; and for so many years where the study counts none. Own choices.
_STRETCH_S = 10.0 * DAY_S
_MONTH_S = 30.0 * DAY_S
_YEARS = 5.0


@dataclass(frozen=True, eq=False)
class After:
    """What becomes of n samples of a pass.

    bound     : how many are bound to the planet after it
    hits      : how many of these hit the body that was passed within `years`; elsewhere: another body; gone: leave
    rates     : (m,) Opik's chance a year of those that are still on an orbit that crosses the body's at the end
    """

    body: str
    samples: int
    bound: int
    years: float
    hits: int
    elsewhere: int
    gone: int
    rates: Floats

    @property
    def interval(self) -> tuple[float, float]:
        """Of the chance to hit the body again within the years, 95 %."""
        return binomial_interval(self.hits, self.samples)


def follow_after(study: Study, row: dict[str, Any], cov_km2: Floats, ephemeris: Ephemeris) -> After:
    """Follow samples of a pass; study of its design, row as widened by `passes`, cov_km2 (2, 2) of its arrival.

    Raises NotFollowed.
    """
    body, met = mass_named(row["target"]), float(row["encounter_tdb_s"])
    planet, years = planet_of(body), study.protection.bound_years or _YEARS
    near = field_about(planet, float(row["burn_tdb_s"]) - 1.0, met + DAY_S, ephemeris)
    starts = _starts(study, row, cov_km2, near, ephemeris)
    for y in starts:
        if move_to(y, met, met + LEFT_S, near) != OK:
            raise NotFollowed("a sample cannot be followed after its pass")
    bound = [y for y in starts if orbital_energy(y, planet) < 0.0]
    hits = elsewhere = gone = 0
    rates: list[float] = []
    if bound:
        end = met + LEFT_S + years * JULIAN_YEAR_S
        field = _field_for_years(planet.name, *_round_dates(met, end + 2.0 * _STRETCH_S), ephemeris)
        for y in bound:
            what, t = _follow(y, met + LEFT_S, end, planet, field)
            hits += what == body.name
            gone += what == ""
            elsewhere += what not in (body.name, "", None)
            if what is None:
                rates.append(opik_rate_per_year(y, t, body, field))
    return After(body.name, len(starts), len(bound), years, hits, elsewhere, gone, np.array(rates))


def _round_dates(first_s: float, last_s: float) -> tuple[float, float]:
    """Dates around a span, the same for passes of one month."""
    return math.floor(first_s / _MONTH_S) * _MONTH_S, math.ceil(last_s / _MONTH_S) * _MONTH_S


@lru_cache(maxsize=2)
def _field_for_years(planet: str, first_s: float, last_s: float, ephemeris: Ephemeris) -> PlanetField:
    """The field about a planet, kept: the moons' places of five years take longer to find than a sample to fly."""
    return field_about(mass_named(planet), first_s, last_s, ephemeris)


def _starts(
    study: Study, row: dict[str, Any], cov_km2: Floats, field: PlanetField, ephemeris: Ephemeris
) -> list[Floats]:
    """(6,) states at the pass, beside the nominal one in its B-plane as the arrival's covariance has it."""
    begin, met, target = float(row["burn_tdb_s"]), float(row["encounter_tdb_s"]), mass_named(row["target"])
    y = unburned_state(row, ephemeris) + np.concatenate([np.zeros(3), impulse_km_s(row)])
    if move_to(y, begin, met, field) != OK:
        raise NotFollowed("the pass cannot be flown")
    frame = frame_of(np.array(relative_to(index_of(target), met, y, field)), target.gm_km3_s2)
    key = np.random.SeedSequence(study.study.seed, spawn_key=(SPAWN_KEY, int(row["opportunity"])))
    numbers = np.random.Generator(np.random.PCG64(key)).standard_normal((study.refine.bound_samples, 2))
    beside = numbers @ root_of_cov(cov_km2).T @ np.array([frame.t, frame.r])
    return [np.concatenate([y[:3] + off, y[3:]]) for off in beside]


def _follow(
    y: Floats, begin: float, end: float, planet: Mass, field: PlanetField
) -> tuple[str | None, float]:
    """What is hit, "" for what leaves the planet, None for what is still there at the end; and when."""
    t = begin
    while t < end:
        until = min(t + _STRETCH_S, end)
        met = fly_to_closest(y, t, PLANET, (until, until), 0.0, field)
        t = float(met.epoch_s)
        if met.status == HIT:
            return _nearest(y, t, planet, field), t
        if met.status not in (OK, NOT_MET):
            raise NotFollowed("a sample cannot be followed to its end")
        if _periapsis_km(y, planet) < planet.radius_km:
            return planet.name, t
        if float(np.linalg.norm(y[:3])) > planet.influence_km:
            return "", t
    return None, t


def _nearest(y: Floats, t: float, planet: Mass, field: PlanetField) -> str:
    """The moon whose centre is nearest, in its radii."""
    moons = moons_of(planet)
    away = [np.linalg.norm(relative_to(k, t, y, field)[:3]) / moon.radius_km for k, moon in enumerate(moons)]
    return moons[int(np.argmin(away))].name


def _periapsis_km(y: Floats, planet: Mass) -> float:
    h2, mu = float(np.sum(np.cross(y[:3], y[3:]) ** 2)), planet.gm_km3_s2
    e = math.sqrt(max(1.0 + 2.0 * orbital_energy(y, planet) * h2 / mu**2, 0.0))
    return h2 / (mu * (1.0 + e))
