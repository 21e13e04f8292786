"""Low passes that a study asks for: every date of release, height and clock angle at a passage, shot in the field."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from swarm.reach.approach.about import field_about, index_of
from swarm.reach.approach.field import OK, PlanetField
from swarm.reach.approach.needs import window_s
from swarm.reach.approach.passage import Passage, States
from swarm.reach.approach.shoot import REASONS, Shots, shoot
from targets.base.constants import DAY_S
from targets.masses.massive import planet_of
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]


LATE = (
    "would burn inside the planet's sphere of influence, where a two-body leg is no path: release earlier, or give "
    "the mothership's path as a file"
)


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
    late  : how many because a two-body leg knows nothing of the planet's pull, in whose sphere they would burn
    """

    passage: Passage
    release_s: Floats
    burn_s: Floats
    altitude_km: Floats
    clock_deg: Floats
    path: Floats
    early: int
    late: int

    def take(self, rows: slice) -> Asked:
        """Some of the rows."""
        release_s, burn_s, altitude_km, clock_deg, path = (
            array[rows]
            for array in (self.release_s, self.burn_s, self.altitude_km, self.clock_deg, self.path)
        )
        return replace(
            self, release_s=release_s, burn_s=burn_s, altitude_km=altitude_km, clock_deg=clock_deg, path=path
        )


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
    early = len(combined) - len(burn)
    known = np.ones(len(burn), dtype=bool)
    if not math.isfinite(passage.distance_km):
        known = np.linalg.norm(path[:, :3], axis=1) >= planet.influence_km
    return Asked(
        passage,
        release[known],
        burn[known],
        asked[known, 1],
        asked[known, 2],
        path[known],
        early,
        int((~known).sum()),
    )


def left_out(early: int, late: int, statuses: Iterable[int], reasons: Sequence[str] = REASONS) -> list[str]:
    """What became of rows that no burn was found for, in words: none is left out without being counted."""
    said = [f"{early} would be released before the path that leads here begins"] if early else []
    if late:
        said.append(f"{late} {LATE}")
    missed = Counter(int(status) for status in statuses if status != OK)
    return said + [f"{count}: {reasons[status]}" for status, count in sorted(missed.items())]


def covered_s(asked: Asked) -> tuple[float, float]:
    """Span that a field must cover for these rows."""
    met = asked.passage.closest_tdb_s
    return float(asked.burn_s.min(initial=met)) - 1.0, met + window_s(asked.passage) + DAY_S


def field_for(asked: Asked, ephemeris: Ephemeris) -> PlanetField:
    """The field in which these rows are shot."""
    return field_about(planet_of(asked.passage.body), *covered_s(asked), ephemeris)


def shot(asked: Asked, field: PlanetField, covered: tuple[float, float]) -> LowPasses:
    """Shoot rows in a field that covers a span."""
    room = window_s(asked.passage)
    met, body, n = asked.passage.closest_tdb_s, asked.passage.body, len(asked.burn_s)
    shots = shoot(
        asked.path, asked.burn_s, targets=np.full(n, index_of(body)), gm_km3_s2=np.full(n, body.gm_km3_s2),
        windows_s=np.column_stack([np.maximum(asked.burn_s, met - room), np.full(n, met + room)]),
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
