"""Entries that a study asks for: every release, angle, clock angle and arrival at a passage, shot in the field."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

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
class EntryRows:
    """n rows of one passage, whatever became of them (`shots.status`); states about the planet's centre.

    path  : (n, 6) unburned, at the burn
    early : how many rows were left out because they would be released before the mothership's path begins
    """

    passage: Passage
    field: PlanetField
    interface: Interface
    release_s: Floats
    burn_s: Floats
    angle_deg: Floats
    clock_deg: Floats
    offset_s: Floats
    path: Floats
    shots: EntryShots
    early: int


def interface_of(passage: Passage, height_km: float) -> Interface:
    """The interface of the body of a passage."""
    body = passage.body
    pole = body_axes(body, passage.closest_tdb_s)[0, 2].copy()
    return Interface(height_km, body.radius_km, body.polar_radius_km, pole)


def entry_rows(
    ask: EntryAsk, passage: Passage, states: States, *, first_tdb_s: float, ephemeris: Ephemeris
) -> EntryRows:
    """Shoot every row of an approach at one passage."""
    met, body, planet = passage.closest_tdb_s, passage.body, planet_of(passage.body)
    clocks = np.arange(0.0, 360.0 - 1e-9, ask.clock_step_deg)
    offsets = (np.nan,) if ask.offsets_min is None else tuple(60.0 * x for x in ask.offsets_min)
    combined = list(itertools.product(ask.release_days_before, ask.angles_deg, clocks, offsets))
    asked = np.array([row for row in combined if met - row[0] * DAY_S >= first_tdb_s]).reshape(-1, 4)
    release = met - asked[:, 0] * DAY_S
    burn = release + ask.checkout_days * DAY_S
    covered = (float(burn.min(initial=met)) - 1.0, met + WINDOW_S + DAY_S)
    field, interface = field_about(planet, *covered, ephemeris), interface_of(passage, ask.interface_km)
    dates, which = np.unique(burn, return_inverse=True)
    path = (states(dates) - ephemeris.about_sun(planet, dates))[which] if len(dates) else np.empty((0, 6))
    n = len(burn)
    shots = shoot_entries(
        path, burn, target=index_of(body), gm_km3_s2=body.gm_km3_s2,
        windows_s=np.column_stack([np.maximum(burn, met - WINDOW_S), np.full(n, met + WINDOW_S)]),
        gate_km=body.influence_km,
        goals=np.column_stack([np.radians(asked[:, 1:3]), met + asked[:, 3]]),
        interface=interface, field=field, covered_s=covered,
    )  # fmt: skip
    return EntryRows(
        passage, field, interface, release, burn, asked[:, 1], asked[:, 2], asked[:, 3], path, shots,
        len(combined) - n,
    )  # fmt: skip
