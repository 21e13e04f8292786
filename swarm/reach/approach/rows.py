"""Low passes that a study asks for: every date of release, height and clock angle at a passage, shot in the field."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.reach.approach.about import field_about, index_of
from swarm.reach.approach.field import PlanetField
from swarm.reach.approach.needs import WINDOW_S
from swarm.reach.approach.passage import Passage, States
from swarm.reach.approach.shoot import Shots, shoot
from targets.base.constants import DAY_S
from targets.masses.massive import planet_of
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Ask:
    """What an approach asks for: heights, clock angles, dates of release before closest approach."""

    altitudes_km: tuple[float, ...]
    clock_step_deg: float
    release_days_before: tuple[float, ...]
    checkout_days: float


@dataclass(frozen=True, eq=False)
class Asked:
    """n rows of one passage that may be flown; states about the planet's centre.

    path  : (n, 6) unburned, at the burn
    early : how many rows were left out because they would be released before the mothership's path begins
    """

    passage: Passage
    release_s: Floats
    burn_s: Floats
    altitude_km: Floats
    clock_deg: Floats
    path: Floats
    early: int

    def take(self, rows: slice) -> Asked:
        """Some of the rows."""
        release_s, burn_s, altitude_km, clock_deg, path = (
            array[rows]
            for array in (self.release_s, self.burn_s, self.altitude_km, self.clock_deg, self.path)
        )
        return Asked(self.passage, release_s, burn_s, altitude_km, clock_deg, path, self.early)


@dataclass(frozen=True, eq=False)
class LowPasses(Asked):
    """The rows as shot in a field, whatever became of them (`shots.status`)."""

    field: PlanetField
    shots: Shots


def asked_rows(
    ask: Ask, passage: Passage, states: States, *, first_tdb_s: float, ephemeris: Ephemeris
) -> Asked:
    """Every row of an approach at one passage: dates of release, heights, clock angles; where each begins."""
    met = passage.closest_tdb_s
    clocks = np.arange(0.0, 360.0 - 1e-9, ask.clock_step_deg)
    combined = list(itertools.product(ask.release_days_before, ask.altitudes_km, clocks))
    asked = np.array([row for row in combined if met - row[0] * DAY_S >= first_tdb_s]).reshape(-1, 3)
    release = met - asked[:, 0] * DAY_S
    burn = release + ask.checkout_days * DAY_S
    planet = planet_of(passage.body)
    # a burn date is shared by all heights and clock angles
    dates, which = np.unique(burn, return_inverse=True)
    path = (states(dates) - ephemeris.about_sun(planet, dates))[which] if len(dates) else np.empty((0, 6))
    return Asked(passage, release, burn, asked[:, 1], asked[:, 2], path, len(combined) - len(burn))


def covered_s(asked: Asked) -> tuple[float, float]:
    """Span that a field must cover for these rows."""
    met = asked.passage.closest_tdb_s
    return float(asked.burn_s.min(initial=met)) - 1.0, met + WINDOW_S + DAY_S


def field_for(asked: Asked, ephemeris: Ephemeris) -> PlanetField:
    """The field in which these rows are shot."""
    return field_about(planet_of(asked.passage.body), *covered_s(asked), ephemeris)


def shot(asked: Asked, field: PlanetField, covered: tuple[float, float]) -> LowPasses:
    """Shoot rows in a field that covers a span."""
    met, body, n = asked.passage.closest_tdb_s, asked.passage.body, len(asked.burn_s)
    shots = shoot(
        asked.path, asked.burn_s, targets=np.full(n, index_of(body)), gm_km3_s2=np.full(n, body.gm_km3_s2),
        windows_s=np.column_stack([np.maximum(asked.burn_s, met - WINDOW_S), np.full(n, met + WINDOW_S)]),
        gates_km=np.full(n, body.influence_km),
        goals=np.column_stack([body.radius_km + asked.altitude_km, np.radians(asked.clock_deg)]),
        field=field, covered_s=covered,
    )  # fmt: skip
    return LowPasses(**vars(asked), field=field, shots=shots)


def low_passes(
    ask: Ask, passage: Passage, states: States, *, first_tdb_s: float, ephemeris: Ephemeris
) -> LowPasses:
    """Shoot every row of an approach at one passage."""
    asked = asked_rows(ask, passage, states, first_tdb_s=first_tdb_s, ephemeris=ephemeris)
    return shot(asked, field_for(asked, ephemeris), covered_s(asked))
