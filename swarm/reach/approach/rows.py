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
class LowPasses:
    """n rows of one passage, whatever became of them (`shots.status`); states about the planet's centre.

    path  : (n, 6) unburned, at the burn
    early : how many rows were left out because they would be released before the mothership's path begins
    """

    passage: Passage
    field: PlanetField
    release_s: Floats
    burn_s: Floats
    altitude_km: Floats
    clock_deg: Floats
    path: Floats
    shots: Shots
    early: int


def low_passes(
    ask: Ask, passage: Passage, states: States, *, first_tdb_s: float, ephemeris: Ephemeris
) -> LowPasses:
    """Shoot every row of an approach at one passage."""
    met, body = passage.closest_tdb_s, passage.body
    clocks = np.arange(0.0, 360.0 - 1e-9, ask.clock_step_deg)
    combined = list(itertools.product(ask.release_days_before, ask.altitudes_km, clocks))
    asked = np.array([row for row in combined if met - row[0] * DAY_S >= first_tdb_s]).reshape(-1, 3)
    release = met - asked[:, 0] * DAY_S
    burn = release + ask.checkout_days * DAY_S
    planet = planet_of(body)
    covered = (float(burn.min(initial=met)) - 1.0, met + WINDOW_S + DAY_S)
    field = field_about(planet, *covered, ephemeris)
    # a burn date is shared by all heights and clock angles
    dates, which = np.unique(burn, return_inverse=True)
    path = (states(dates) - ephemeris.about_sun(planet, dates))[which] if len(dates) else np.empty((0, 6))
    n = len(burn)
    shots = shoot(
        path, burn, targets=np.full(n, index_of(body)), gm_km3_s2=np.full(n, body.gm_km3_s2),
        windows_s=np.column_stack([np.maximum(burn, met - WINDOW_S), np.full(n, met + WINDOW_S)]),
        gates_km=np.full(n, body.influence_km),
        goals=np.column_stack([body.radius_km + asked[:, 1], np.radians(asked[:, 2])]),
        field=field, covered_s=covered,
    )  # fmt: skip
    early = len(combined) - n
    return LowPasses(passage, field, release, burn, asked[:, 1], asked[:, 2], path, shots, early)
