"""Orbits that a study asks for, as opportunities: every arrival flown in the field, every orbit lived by its average.

Rows of one approach, passage and design are shot and lived on the workers. What cannot be flown is counted in the notes
with the sentence of the row that asks for least: too little thrust, a tank that does not hold it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.orbit.orbit_asked import arrivals_asked, arrived, never_there, surroundings_about
from swarm.encounter.orbit.orbit_cautions import cautions_of
from swarm.encounter.orbit.orbit_judging import ORBIT_IMPACT_CHANCE, judge_orbits, seen_in_band
from swarm.encounter.orbit.orbit_tables import OrbitRow, band_of, orbit_columns
from swarm.encounter.orbit.surroundings import Surroundings
from swarm.encounter.pass_judging import JudgedPasses
from swarm.encounter.pass_left_out import leaves_nothing
from swarm.encounter.pass_screen import asked_for, counts_of, numbered, path_of_scene
from swarm.encounter.pass_table import opportunity_columns, pass_columns
from swarm.reach.approach.field import OK, PlanetField
from swarm.reach.approach.rows import Asked, LowPasses, covered_s, field_for, left_out, shot
from swarm.reach.approach.scene import Scene, scene_of
from swarm.reach.found import Screening
from swarm.reach.mothership.path import table_of_legs
from swarm.reach.mothership.sources import mothership_of
from swarm.study.by_design import takers
from swarm.study.kind_names import ORBIT
from swarm.study.lowest import lowest_km
from swarm.study.sections.designs import DesignSettings
from targets.base.errors import NothingFeasible
from targets.base.timescale import iso_of_tdb_s
from targets.catalogue.places import with_places
from targets.masses.massive import mass_named

if TYPE_CHECKING:
    from swarm.run.workers import Pool
    from swarm.study.schema import Study
    from swarm.study.sections.approach import ApproachSettings
    from targets.catalogue.reading import Catalogue

# Arrivals flown in one task: some seconds of work. Part of no answer: a row is flown alone.
_CHUNK = 10


@dataclass(frozen=True, eq=False)
class _Job:
    """The rows of an approach at one passage for one design; study of that design alone."""

    study: Study
    design: str
    ask: ApproachSettings
    number: int
    asked: Asked
    sun_km: float


@dataclass(frozen=True, eq=False)
class _Shared:
    jobs: tuple[_Job, ...]
    fields: tuple[PlanetField, ...]
    around: tuple[Surroundings, ...]
    bands: dict[str, tuple[tuple[float, float], ...]]


@dataclass(frozen=True, eq=False)
class _Part:
    """Some rows of a job: those met, as passes, and of their orbits those that can be flown.

    arrival : for each orbit which of the judged passes leads to it
    refused : (speed asked for, why) of each orbit that cannot be flown
    """

    job: int
    rows: LowPasses
    judged: JudgedPasses
    arrival: NDArray[np.int64]
    orbits: dict[str, Any]
    refused: tuple[tuple[float, str], ...]


def screen_orbits(
    studies: Sequence[Study],
    catalogue: Catalogue,
    *,
    pool: Pool,
    on_done: Callable[[int, int], None] | None = None,
    gpu: bool = False,
) -> tuple[Screening, ...]:
    """The orbits of each study; `catalogue` and `gpu` are for kinds that look for their targets.

    Raises NothingFeasible where a body that is asked for is never passed.
    """
    return tuple(_screened(study, catalogue, pool, on_done) for study in studies)


def none_of_orbits(study: Study, counts: dict[str, float]) -> NothingFeasible:
    """Why no orbit is left: what stands against the row that asks for least."""
    asks = [ask for ask in study.approach if ask.kind == ORBIT]
    bodies = " or ".join(dict.fromkeys(ask.body for ask in asks))
    barred = [said for ask in asks if (said := never_there(study, ask))]
    refused = [key.removeprefix(_REFUSED) for key in counts if key.startswith(_REFUSED)]
    limit = next(iter([*barred, *refused]), "no burn was found that meets an arrival asked for")
    return NothingFeasible(f"no orbit about {bodies} is left", limit=limit)


def _nothing_left(study: Study, jobs: Sequence[_Job], parts: Sequence[_Part]) -> list[str]:
    """Approaches that leave no orbit, each with what stands against the row that asks for least."""
    said = []
    for ask in (each for each in study.approach if each.kind == ORBIT):
        own = [part for part in parts if jobs[part.job].ask is ask]
        if any(len(part.arrival) for part in own):
            continue
        refused = sorted(each for part in own for each in part.refused)
        limit = never_there(study, ask) or (
            refused[0][1] if refused else "no burn was found that meets an arrival asked for"
        )
        why = NothingFeasible(f"no orbit about {ask.body} is left", limit=limit)
        said.append(leaves_nothing(ask.name, why))
    return said


# Counts of refusals are kept under their sentence, so that `none_of_orbits` can say it.
_REFUSED = "refused: "


def _screened(
    study: Study, catalogue: Catalogue, pool: Pool, on_done: Callable[[int, int], None] | None
) -> Screening:
    with scene_of(study) as scene:
        jobs = tuple(_jobs(study, scene))
        parts = pool.map(
            _fly,
            [(k, first) for k, job in enumerate(jobs) for first in range(0, len(job.asked.burn_s), _CHUNK)],
            shared=_shared(study, scene, jobs),
            on_done=on_done,
        )
        tables = [_table(study, scene, jobs[part.job], part) for part in parts]
        ship = mothership_of(study, scene.planets)
        path = table_of_legs(ship.legs or (path_of_scene(scene),))
    rows, names = numbered([table for table in tables if table.num_rows])
    said = [_said(job, [part for part in parts if part.job == k]) for k, job in enumerate(jobs)]
    said += [
        f"{ask.name}: {why}"
        for ask in study.approach
        if ask.kind == ORBIT and (why := never_there(study, ask))
    ]
    counts = counts_of(
        catalogue,
        [job.asked for job in jobs],
        (job.ask.body for job in jobs),
        [part.rows.shots.burn_km_s for part in parts],
        sum(len(part.arrival) for part in parts),
    ) | {"targets": len(names), "opportunities": rows.num_rows}
    targets = with_places(catalogue.take(slice(0, 0)), names)
    refused = {
        f"{_REFUSED}{why}": speed
        for speed, why in sorted(each for part in parts for each in part.refused)[:1]
    }
    return Screening(
        rows, targets, path, counts, ship.flybys, (*ship.notes, *said), by_kind={ORBIT: counts | refused},
        cautions=(*_nothing_left(study, jobs, parts), *cautions_of(study)),
    )  # fmt: skip


def _shared(study: Study, scene: Scene, jobs: Sequence[_Job]) -> _Shared:
    around = [
        surroundings_about(
            job.study,
            job.ask,
            job.asked.passage.body,
            job.asked.passage.closest_tdb_s,
            ephemeris=scene.ephemeris,
        )
        for job in jobs
    ]
    return _Shared(
        tuple(jobs), tuple(field_for(job.asked, scene.ephemeris) for job in jobs), tuple(around),
        {job.ask.body: bands_asked(study, job.ask.body) for job in jobs},
    )  # fmt: skip


def bands_asked(study: Study, body: str) -> tuple[tuple[float, float], ...]:
    """The bands of latitude that science rows ask of orbits about a body, each once, in order."""
    rows = [row.where for row in study.science.rows if row.where.kind == ORBIT]
    return tuple(dict.fromkeys(band_of(where) for where in rows if where.body in (None, body)))


def _jobs(study: Study, scene: Scene) -> Sequence[_Job]:
    jobs = []
    for ask in (each for each in study.approach if each.kind == ORBIT and not never_there(study, each)):
        for number, passage in scene.asked(ask):
            sun_km = float(np.linalg.norm(passage.sun_km))
            for name, alone in takers(study, ORBIT, ask.designs).items():
                jobs.append(
                    _Job(alone, name, ask, number, arrivals_asked(scene, alone, ask, passage), sun_km)
                )
    return jobs


def _fly(item: tuple[int, int], shared: _Shared) -> _Part:
    """A task: some arrivals of a job, shot, and every orbit that they lead to."""
    number, first = item
    job, field, around = shared.jobs[number], shared.fields[number], shared.around[number]
    rows = shot(job.asked.take(slice(first, first + _CHUNK)), field, covered_s(job.asked))
    judged, met = arrived(job.study, job.ask, rows)
    found = judge_orbits(job.study, job.ask, None, met, job.asked.passage.body, around, sun_km=job.sun_km)
    place = {id(each): k for k, each in enumerate(met)}
    flown = [orbit for orbit in found if not orbit.refused]
    bands = shared.bands[job.ask.body]
    kept = [
        OrbitRow(
            orbit,
            tuple(
                seen_in_band(job.study, job.ask, orbit.life, south, north, around)
                for south, north in bands
                if orbit.life is not None
            ),
            lowest_km(job.ask),
            job.ask.insertion_success,
        )
        for orbit in flown
    ]
    return _Part(
        number, rows, judged, np.array([place[id(orbit.met)] for orbit in flown], dtype=np.int64), orbit_columns(kept),
        tuple((orbit.spent_m_s, orbit.refused) for orbit in found if orbit.refused),
    )  # fmt: skip


def _table(study: Study, scene: Scene, job: _Job, part: _Part) -> pa.Table:
    """The rows of a part as opportunities, with their arrivals and what they come to beside."""
    n = len(part.arrival)
    columns = opportunity_columns(job.study, scene, part.rows, part.judged, part.arrival, steer=job.ask.steer)
    columns |= pass_columns(job.ask.name, job.number, scene, part.rows, part.judged, part.arrival)
    columns |= {
        "kind": pa.array([ORBIT] * n, pa.string()),
        # what stays there comes down there, whether it works or not
        "impact_chance": np.full(n, ORBIT_IMPACT_CHANCE),
        "lowest_altitude_for_limit_km": np.full(n, np.nan),
    }
    table = pa.table(columns | part.orbits)
    table = table.filter(pa.array(np.asarray(table["encounter_tdb_s"].to_numpy()) <= scene.span_tdb_s[1]))
    return table.append_column("design", pa.array([job.design] * table.num_rows)) if study.designs else table


def _said(job: _Job, parts: Sequence[_Part]) -> str:
    """What became of every row of a job: none is left out without a word."""
    asked, statuses = job.asked, [int(status) for part in parts for status in part.rows.shots.status]
    refused = sorted(each for part in parts for each in part.refused)
    told = [f"{asked_for(asked)} arrivals asked for, {statuses.count(OK)} met"]
    told += left_out(asked.early, asked.late, statuses)
    told.append(f"{sum(len(part.arrival) for part in parts)} orbits left")
    if refused:
        told.append(f"{len(refused)} not flown, the least of them: {refused[0][1]}")
    whose = f", {job.design}" if isinstance(job.study.probe, DesignSettings) else ""
    when = iso_of_tdb_s(asked.passage.closest_tdb_s)
    body = mass_named(job.ask.body).name
    return f"{job.ask.name}{whose}: orbits about {body}, passage {job.number}, {when}: {'; '.join(told)}"
