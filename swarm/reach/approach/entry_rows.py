"""Entries that a study asks for: every release, angle, clock angle and arrival at a passage, shot in the field."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from swarm.reach.approach.about import field_about, index_of
from swarm.reach.approach.entry_goals import Interface
from swarm.reach.approach.entry_shoot import EntryShots, shoot_entries
from swarm.reach.approach.field import PlanetField
from swarm.reach.approach.needs import WINDOW_S
from swarm.reach.approach.passage import Passage, States
from targets.base.constants import DAY_S
from targets.masses.massive import planet_of
from targets.masses.rotation import body_axes
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class EntryAsk:
    """What an approach asks for: inertial angles at the interface, clock angles, releases, arrivals.

    offsets_min : arrival at the interface after the mothership's closest approach; None for the shortest burn
    """

    angles_deg: tuple[float, ...]
    clock_step_deg: float
    release_days_before: tuple[float, ...]
    offsets_min: tuple[float, ...] | None
    checkout_days: float
    interface_km: float


@dataclass(frozen=True, eq=False)
class AskedEntries:
    """n rows of one passage that may be flown; states about the planet's centre.

    path  : (n, 6) unburned, at the burn
    early : how many rows were left out because they would be released before the mothership's path begins
    late  : how many because a two-body leg knows nothing of the planet's pull, in whose sphere they would burn
    """

    passage: Passage
    interface: Interface
    release_s: Floats
    burn_s: Floats
    angle_deg: Floats
    clock_deg: Floats
    offset_s: Floats
    path: Floats
    early: int
    late: int

    def take(self, rows: slice) -> AskedEntries:
        """Some of the rows."""
        names = ("release_s", "burn_s", "angle_deg", "clock_deg", "offset_s", "path")
        return replace(self, **{name: getattr(self, name)[rows] for name in names})


@dataclass(frozen=True, eq=False)
class EntryRows(AskedEntries):
    """The rows as shot in a field, whatever became of them (`shots.status`)."""

    field: PlanetField
    shots: EntryShots


def interface_of(passage: Passage, height_km: float) -> Interface:
    """The interface of the body of a passage."""
    body = passage.body
    pole = body_axes(body, passage.closest_tdb_s)[0, 2].copy()
    return Interface(height_km, body.radius_km, body.polar_radius_km, pole)


def asked_entries(
    ask: EntryAsk, passage: Passage, states: States, *, first_tdb_s: float, ephemeris: Ephemeris
) -> AskedEntries:
    """Every row of an approach at one passage: dates of release, angles, clock angles, arrivals; where each begins."""
    met, planet = passage.closest_tdb_s, planet_of(passage.body)
    clocks = np.arange(0.0, 360.0 - 1e-9, ask.clock_step_deg)
    offsets = (np.nan,) if ask.offsets_min is None else tuple(60.0 * x for x in ask.offsets_min)
    combined = list(itertools.product(ask.release_days_before, ask.angles_deg, clocks, offsets))
    asked = np.array([row for row in combined if met - row[0] * DAY_S >= first_tdb_s]).reshape(-1, 4)
    release = met - asked[:, 0] * DAY_S
    burn = release + ask.checkout_days * DAY_S
    dates, which = np.unique(burn, return_inverse=True)
    path = (states(dates) - ephemeris.about_sun(planet, dates))[which] if len(dates) else np.empty((0, 6))
    known = np.ones(len(burn), dtype=bool)
    if not math.isfinite(passage.distance_km):
        known = np.linalg.norm(path[:, :3], axis=1) >= planet.influence_km
    angle, clock, offset = (asked[known, k] for k in (1, 2, 3))
    return AskedEntries(
        passage, interface_of(passage, ask.interface_km), release[known], burn[known], angle, clock, offset,
        path[known], len(combined) - len(burn), int((~known).sum()),
    )  # fmt: skip


def covered_by_entries_s(asked: AskedEntries) -> tuple[float, float]:
    """Span that a field must cover for these rows."""
    met = asked.passage.closest_tdb_s
    return float(asked.burn_s.min(initial=met)) - 1.0, met + WINDOW_S + DAY_S


def field_for_entries(asked: AskedEntries, ephemeris: Ephemeris) -> PlanetField:
    """The field in which these rows are shot."""
    return field_about(planet_of(asked.passage.body), *covered_by_entries_s(asked), ephemeris)


def shot_entries(asked: AskedEntries, field: PlanetField, covered_s: tuple[float, float]) -> EntryRows:
    """Shoot rows in a field that covers a span."""
    met, body, n = asked.passage.closest_tdb_s, asked.passage.body, len(asked.burn_s)
    shots = shoot_entries(
        asked.path, asked.burn_s, target=index_of(body), gm_km3_s2=body.gm_km3_s2,
        windows_s=np.column_stack([np.maximum(asked.burn_s, met - WINDOW_S), np.full(n, met + WINDOW_S)]),
        gate_km=body.influence_km,
        goals=np.column_stack([np.radians(asked.angle_deg), np.radians(asked.clock_deg), met + asked.offset_s]),
        interface=asked.interface, field=field, covered_s=covered_s,
    )  # fmt: skip
    return EntryRows(**vars(asked), field=field, shots=shots)
