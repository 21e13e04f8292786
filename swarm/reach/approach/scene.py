"""What the approaches of a study are asked in: the path of the mothership, its passages, places of bodies with mass."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.reach.approach.carrier import aim_of_flyby_km
from swarm.reach.approach.entry_rows import (
    AskedEntries,
    EntryAsk,
    EntryRows,
    asked_entries,
    covered_by_entries_s,
    field_for_entries,
    shot_entries,
)
from swarm.reach.approach.passage import Meeting, Nearest, Passage, States, nearest, passages
from swarm.reach.approach.rows import Ask, Asked, asked_rows
from swarm.reach.approach.staying import staying
from swarm.reach.mothership.flybys import Flyby
from swarm.reach.mothership.sources import epochs_needed_tdb_s, meetings_of, mothership_of, states_of
from swarm.study.entry_relations import interface_km
from swarm.study.schema import Study
from swarm.study.sections.approach import ApproachSettings
from targets.base.errors import InputError, NothingFeasible
from targets.base.timescale import iso_of_tdb_s, tdb_s_from_jd
from targets.ephemeris import spice
from targets.ephemeris.planets import PlanetTable, sample_planets
from targets.masses.massive import MASSES, mass_named, planet_of
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Scene:
    """states : the mothership, heliocentric ICRF, within `span_tdb_s`; found : its passages, in order of date."""

    study: Study
    span_tdb_s: tuple[float, float]
    planets: PlanetTable
    ephemeris: Ephemeris
    states: States
    found: list[Passage]

    def nearest(self, body: str) -> Nearest:
        """How near the mothership comes to a body that it never passes."""
        return nearest(mass_named(body), self.states, self.span_tdb_s, planets=self.planets)

    def asked(self, ask: ApproachSettings) -> list[tuple[int, Passage]]:
        """The passages that an approach asks for, with their numbers from 1.

        Raises NothingFeasible where the body is never passed, InputError for a number that is too large.
        """
        own = [each for each in self.found if each.body.name == ask.body]
        if not own:
            near, about = self.nearest(ask.body), planet_of(mass_named(ask.body)).name
            passed = ", ".join(dict.fromkeys(each.body.name for each in self.found)) or "none"
            raise NothingFeasible(
                f"{self._place(ask)}.body = {ask.body}: the mothership never passes {ask.body}",
                limit=f"it comes no nearer to {about} than {near.distance_km:.0f} km, on {iso_of_tdb_s(near.tdb_s)}; "
                f"passed are {passed}",
            )
        numbers = range(1, len(own) + 1) if isinstance(ask.passages, str) else ask.passages
        beyond = [number for number in numbers if number > len(own)]
        if beyond:
            raise InputError(
                "there is no such passage", place=f"{self._place(ask)}.passages", found=beyond[0],
                expected=f"1 to {len(own)}: so often {ask.body} is passed",
            )  # fmt: skip
        return [(number, own[number - 1]) for number in numbers]

    def _place(self, ask: ApproachSettings) -> str:
        """The approach as the study file counts it."""
        return f"approach[{[each.name for each in self.study.approach].index(ask.name)}]"

    def rows(
        self,
        ask: ApproachSettings,
        passage: Passage,
        *,
        checkout_days: float,
        heights_km: tuple[float, ...] | None = None,
        clock_step_deg: float | None = None,
    ) -> Asked:
        """Rows of a passage; none is released before another planet was passed, whose moons are not in the field.

        heights_km, clock_step_deg : of the arrivals; those that the approach has for passes unless given
        """
        heights = ask.altitudes_km if heights_km is None else heights_km
        step = ask.clock_step_deg if clock_step_deg is None else clock_step_deg
        wait = checkout_days if ask.steer == "probe" else 0.0  # a mothership that steers burns as it lets go
        asked = Ask(heights, step, ask.release_days_before, wait)
        first = self._first_s(passage)
        return asked_rows(asked, passage, self.states, first_tdb_s=first, ephemeris=self.ephemeris)

    def asked_entries(self, ask: ApproachSettings, passage: Passage, *, checkout_days: float) -> AskedEntries:
        """Entries of a passage; a mothership that aims the probe burns as it lets go."""
        asked = EntryAsk(
            ask.angles_deg, ask.clock_step_deg, ask.release_days_before, ask.arrival_offsets_min,
            checkout_days if ask.steer == "probe" else 0.0, interface_km(ask),
        )  # fmt: skip
        first = self._first_s(passage)
        return asked_entries(asked, passage, self.states, first_tdb_s=first, ephemeris=self.ephemeris)

    def entries(self, ask: ApproachSettings, passage: Passage, *, checkout_days: float) -> EntryRows:
        """The same, shot."""
        asked = self.asked_entries(ask, passage, checkout_days=checkout_days)
        return shot_entries(asked, field_for_entries(asked, self.ephemeris), covered_by_entries_s(asked))

    def flyby_at(self, passage: Passage) -> Flyby | None:
        """The flyby that joins two legs at a passage that is a meeting of a planet's centre."""
        if np.isfinite(passage.distance_km):
            return None
        joined = mothership_of(self.study, self.planets).flybys
        near = [each for each in joined if abs(each.closest_tdb_s - passage.closest_tdb_s) < 1.0]
        return near[0] if near else None

    def own_aim_km(self, ask: ApproachSettings, passage: Passage) -> Floats:
        """(2,) T, R of where a mothership of two-body legs passes by itself; NaN where its path itself tells.

        Raises InputError where it would have to steer back to a way past that nobody knows.
        """
        if np.isfinite(passage.distance_km) or ask.steer == "probe":
            return np.full(2, np.nan)
        aim = aim_of_flyby_km(self.flyby_at(passage), passage.body)
        if not np.isfinite(aim).all():
            raise InputError(
                f"the mothership is to steer, and its own way past {ask.body} is not known",
                place=f"{self._place(ask)}.steer", found=f'"{ask.steer}", and a leg that ends there',
                expected='"probe", a leg that leaves, or the mothership\'s path as a file',
            )  # fmt: skip
        return aim

    def _first_s(self, passage: Passage) -> float:
        """The date from which the path leads to a passage without another planet between."""
        planet = planet_of(passage.body)
        before = [
            each.closest_tdb_s
            for each in self.found
            if each.closest_tdb_s < passage.closest_tdb_s and planet_of(each.body) is not planet
        ]
        return max([self.span_tdb_s[0], *before])


def approaches_of(study: Study, kind: str) -> list[ApproachSettings]:
    """The approaches of a kind. Raises InputError where the study has none."""
    asks = [ask for ask in study.approach if ask.kind == kind]
    if not asks:
        raise InputError(
            f"the study asks for no {kind}", place="approach", found=f"{len(study.approach)} of other kinds",
            expected=f'an [[approach]] with kind = "{kind}"',
        )  # fmt: skip
    return asks


@contextmanager
def scene_of(study: Study) -> Iterator[Scene]:
    """Find where the mothership passes a body with mass; its path can be asked for while the context is open."""
    span = float(tdb_s_from_jd(study.study.start_jd_tdb)), float(tdb_s_from_jd(study.study.end_jd_tdb))
    needed = epochs_needed_tdb_s(study)
    planets = sample_planets(min(needed), max(needed))
    ephemeris = ephemeris_of(study)
    meetings = [
        Meeting(mass_named(name), t, state[3:] - ephemeris.about_sun(mass_named(name), np.array([t]))[0, 3:])
        for name, t, state in meetings_of(study, planets)
    ]
    with _states(study, planets, span, ephemeris) as states:
        found = passages(states, span, planets=planets, ephemeris=ephemeris, meetings=meetings)
        yield Scene(study, span, planets, ephemeris, states, found)


@contextmanager
def _states(
    study: Study, planets: PlanetTable, span: tuple[float, float], ephemeris: Ephemeris
) -> Iterator[States]:
    """The mothership, heliocentric: about the Sun, or about the planet that it stays at."""
    if study.mothership.center is not None and study.mothership.epoch is not None:
        yield staying(study, span, float(tdb_s_from_jd(study.mothership.epoch)), ephemeris).states
    else:
        with states_of(study, planets) as states:
            yield states


def ephemeris_of(study: Study) -> Ephemeris:
    """Where bodies with mass are, by the study's own files first.

    Raises InputError for a file that places none of them, and where `true_ephemeris` is asked for and a body of an
    approach is only known roughly.
    """
    names = study.massive.spk if study.massive is not None else ()
    files = [study.base / name for name in names]
    numbers = {body.number for body in MASSES}
    for k, file in enumerate(files):
        held = spice.bodies_of(file)
        if numbers.isdisjoint(held):
            raise InputError(
                "the file places no planet or moon", file=file, place=f"massive.spk[{k}]",
                found=", ".join(str(number) for number in held),
                expected="a planet or moon by SPICE's number, such as 502 of Europa",
            )  # fmt: skip
    ephemeris = Ephemeris(files)
    if study.massive is not None and study.massive.true_ephemeris:
        _require_true(study, ephemeris)
    return ephemeris


def _require_true(study: Study, ephemeris: Ephemeris) -> None:
    for k, ask in enumerate(study.approach):
        body = mass_named(ask.body)
        known = ephemeris.whereabouts(body)
        if known.approximate:
            raise InputError(
                "massive.true_ephemeris = true, and the place of a body is approximate", place=f"approach[{k}].body",
                found=f"{body.name}, placed by a {known.ephemeris}, to {known.error_km:.3g} km",
                expected=f"massive.spk: a file that places {body.name} ({body.number}), or true_ephemeris = false",
            )  # fmt: skip
