"""Low passes that a study asks for, as opportunities: every one flown in the field about the planet before it is a row.

The rows of an approach (dates of release, heights, clock angles) are shot on the workers; those that are met within the
burn limit are judged, since a limit on impacts bars rows and impacts hang on the delivery. None is left out without
being counted in the notes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.pass_judging import JudgedPasses, PassRules, judge_passes, rules_of
from swarm.encounter.pass_left_out import AFTER, BURN, DIVERT, TANK, added, of_shots, over_limits, sentences
from swarm.encounter.pass_limits import FlownRows, LowestPass, lowest_pass
from swarm.encounter.pass_table import opportunity_columns, pass_columns
from swarm.reach.approach.entry_rows import AskedEntries
from swarm.reach.approach.field import OK, PlanetField
from swarm.reach.approach.rows import Asked, LowPasses, covered_s, field_for, shot
from swarm.reach.approach.scene import Scene, scene_of
from swarm.reach.found import Screening
from swarm.reach.mothership.path import NODE_S, Path, table_of_legs
from swarm.reach.mothership.sources import mothership_of
from swarm.run.workers import Pool
from swarm.study.by_design import takers
from swarm.study.kind_names import LOW_PASS
from swarm.study.schema import Study
from swarm.study.sections.approach import ApproachSettings
from swarm.study.sections.designs import DesignSettings
from targets.base.timescale import iso_of_tdb_s
from targets.catalogue.places import with_places
from targets.catalogue.reading import Catalogue

OnDone = Callable[[int, int], None]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
AskedRows = Asked | AskedEntries

# Rows flown in one task: about a second of work. Part of no answer: a row is flown alone.
_CHUNK = 50


@dataclass(frozen=True, eq=False)
class _Job:
    """The rows of an approach at one passage for one design; study of that design alone."""

    study: Study
    design: str
    ask: ApproachSettings
    number: int
    asked: Asked
    rules: PassRules
    end_s: float


@dataclass(frozen=True, eq=False)
class _Shared:
    jobs: tuple[_Job, ...]
    fields: tuple[PlanetField, ...]


@dataclass(frozen=True, eq=False)
class _Part:
    """What became of some rows of a job: all statuses and burns, and those within the burn limit, judged."""

    job: int
    rows: LowPasses
    judged: JudgedPasses


def screen_passes(
    studies: Sequence[Study],
    catalogue: Catalogue,
    *,
    pool: Pool,
    on_done: OnDone | None = None,
    gpu: bool = False,
) -> tuple[Screening, ...]:
    """The low passes of each study; `catalogue` and `gpu` are for kinds that look for their targets.

    Raises NothingFeasible where a body that is asked for is never passed.
    """
    return tuple(_screened(study, catalogue, pool, on_done) for study in studies)


def _screened(study: Study, catalogue: Catalogue, pool: Pool, on_done: OnDone | None) -> Screening:
    with scene_of(study) as scene:
        jobs = tuple(_jobs(study, scene))
        shared = _Shared(jobs, tuple(field_for(job.asked, scene.ephemeris) for job in jobs))
        items = [
            (k, first) for k, job in enumerate(jobs) for first in range(0, len(job.asked.burn_s), _CHUNK)
        ]
        parts = pool.map(_fly, items, shared=shared, on_done=on_done)
        tables = [_table(study, scene, jobs[part.job], part) for part in parts]
        ship = mothership_of(study, scene.planets)
        path = table_of_legs(ship.legs or (path_of_scene(scene),))
    rows, names = numbered([table for table in tables if table.num_rows])
    said = tuple(_said(job, [part for part in parts if part.job == k]) for k, job in enumerate(jobs))
    counts = counts_of(
        catalogue,
        [job.asked for job in jobs],
        (job.ask.body for job in jobs),
        [part.rows.shots.burn_km_s for part in parts],
        sum(len(part.judged.rows) for part in parts),
    ) | {"targets": len(names), "opportunities": rows.num_rows}
    targets = with_places(catalogue.take(slice(0, 0)), names)
    lowest = _lowest(jobs, parts)
    passes = _passes(jobs, parts, lowest)
    cautions = tuple(each.caution for each in lowest if each.refused_km)
    return Screening(
        rows, targets, path, counts, ship.flybys, (*ship.notes, *said), by_kind={LOW_PASS: counts | passes},
        cautions=cautions,
    )  # fmt: skip


def path_of_scene(scene: Scene) -> Path:
    """The path of a mothership that stays near a planet, day by day: for drawing; no flyby leaves from it."""
    first, last = scene.span_tdb_s
    days = max(int(np.ceil((last - first) / NODE_S)), 1)
    epochs = np.linspace(first, last, days + 1)
    return Path(first, float(epochs[1] - first), scene.states(epochs))


def _jobs(study: Study, scene: Scene) -> Sequence[_Job]:
    jobs = []
    for ask in (each for each in study.approach if each.kind == LOW_PASS):
        for number, passage in scene.asked(ask):
            for name, alone in takers(study, LOW_PASS, ask.designs).items():
                asked = scene.rows(ask, passage, checkout_days=alone.probe.checkout_days)
                rules = rules_of(study, ask, own_aim_km=scene.own_aim_km(ask, passage))
                jobs.append(_Job(alone, name, ask, number, asked, rules, scene.span_tdb_s[1]))
    return jobs


def _fly(item: tuple[int, int], shared: _Shared) -> _Part:
    """A task: some rows of a job, shot and judged."""
    number, first = item
    job, field = shared.jobs[number], shared.fields[number]
    rows = shot(job.asked.take(slice(first, first + _CHUNK)), field, covered_s(job.asked))
    judged = judge_passes(job.study, rows, job.rules, burn_limit_m_s=job.study.probe.burn_limit_m_s)
    return _Part(number, rows, judged)


def _kept(job: _Job, part: _Part) -> Ints:
    """Which of the judged rows keep the limit on impacts of one row, and are met within the study."""
    return np.flatnonzero(part.judged.within_limits & _in_time(job, part))


def _in_time(job: _Job, part: _Part) -> NDArray[np.bool_]:
    within: NDArray[np.bool_] = part.rows.shots.closest_s[part.judged.rows] <= job.end_s
    return within


def _table(study: Study, scene: Scene, job: _Job, part: _Part) -> pa.Table:
    """The rows of a part as opportunities, with what a pass is like beside; numbers come when all are there."""
    judged, kept = part.judged, _kept(job, part)
    columns = opportunity_columns(job.study, scene, part.rows, judged, kept, steer=job.ask.steer)
    columns |= pass_columns(job.ask.name, job.number, scene, part.rows, judged, kept)
    table = pa.table(columns)
    return table.append_column("design", pa.array([job.design] * table.num_rows)) if study.designs else table


def numbered(tables: list[pa.Table]) -> tuple[pa.Table, list[str]]:
    """The rows of all parts with their numbers, and the names of their targets, in order."""
    if not tables:
        return pa.table({"opportunity": np.zeros(0, dtype=np.int64)}), []
    table = pa.concat_tables(tables).combine_chunks()
    names = sorted(set(table["target"].to_pylist()))
    place = {name: k for k, name in enumerate(names)}
    index = pa.array([place[name] for name in table["target"].to_pylist()], pa.int64())
    table = table.add_column(0, "opportunity", pa.array(np.arange(table.num_rows)))
    return table.add_column(2, "target_index", index), names


def counts_of(
    catalogue: Catalogue,
    asked: Sequence[AskedRows],
    bodies: Iterable[str],
    burns: Sequence[Floats],
    within: int,
) -> dict[str, float]:
    """What was left after each step of a screen near a body, by the names that every screen has.

    asked : of each job;  burns : (n, 3) km/s of each part;  within : rows that are met within the burn limit
    """
    speeds = [1e3 * np.linalg.norm(burn, axis=1) for burn in burns]
    least = min((float(np.nanmin(np.append(speed, np.inf))) for speed in speeds), default=np.inf)
    return {
        "bodies": len(catalogue),
        "not_movable": 0,
        "release_slots": len({float(t) for rows in asked for t in rows.release_s}),
        "bodies_within_reach_bound": len(set(bodies)),
        "approaches": sum(asked_for(rows) for rows in asked),
        "minima_within_burn_limit": within,
        "least_burn_m_s": least,
    }


def _lowest(jobs: Sequence[_Job], parts: Sequence[_Part]) -> list[LowestPass]:
    """What the limits on impacts leave of the heights of each approach."""
    asks = {jobs[part.job].ask.name: jobs[part.job] for part in parts}
    found = []
    for name, job in asks.items():
        own = [part for part in parts if jobs[part.job].ask.name == name]
        flown = [
            FlownRows(
                jobs[part.job].study, jobs[part.job].rules, part.rows, part.judged,
                np.ones(len(part.judged.rows), dtype=bool),
            )
            for part in own
        ]  # fmt: skip
        found.append(lowest_pass(job.ask, job.rules.impact_limit, flown))
    return [each for each in found if each is not None]


def _passes(jobs: Sequence[_Job], parts: Sequence[_Part], lowest: Sequence[LowestPass]) -> dict[str, float]:
    """What `none_of_passes` tells besides: with the counts of what was left out, by code."""
    left_out = [_left_out(job, [part for part in parts if part.job == k]) for k, job in enumerate(jobs)]
    chances = [part.judged.counted_chance.min(initial=np.inf) for part in parts]
    later = [part.judged.later_chance.min(initial=np.inf) for part in parts]
    return {
        "passes_asked": sum(asked_for(job.asked) for job in jobs),
        "passes_met": sum(int((part.rows.shots.status == OK).sum()) for part in parts),
        "least_carrier_kg": min((part.judged.least_ship_kg for part in parts), default=np.inf),
        "least_impact_chance": float(min(chances, default=np.inf)),
        "least_later_chance": float(min(later, default=np.inf)),
        "lowest_for_limit_km": min((each.least_km for each in lowest), default=np.inf),
        **added(left_out),
    }


def asked_for(asked: AskedRows) -> int:
    """Rows asked for, those that cannot be let go in time among them."""
    return len(asked.burn_s) + asked.early + asked.late


def _left_out(job: _Job, parts: Sequence[_Part]) -> dict[str, int]:
    """By code, the rows of a job that are not in the table."""
    statuses = [int(status) for part in parts for status in part.rows.shots.status]
    counts = of_shots(job.asked.early, job.asked.late, statuses)
    counts[DIVERT] = sum(part.judged.late for part in parts)
    dear = TANK if job.rules.steered_by is not None else BURN
    counts[dear] = statuses.count(OK) - counts[DIVERT] - sum(len(part.judged.rows) for part in parts)
    counts |= over_limits([part.judged for part in parts])
    counts[AFTER] = sum(int((part.judged.within_limits & ~_in_time(job, part)).sum()) for part in parts)
    return counts


def _said(job: _Job, parts: Sequence[_Part]) -> str:
    """What became of every row of a job: none is left out without a word."""
    left = sum(len(_kept(job, part)) for part in parts)
    told = [f"{asked_for(job.asked)} passes asked for, {left} left", *sentences(_left_out(job, parts))]
    whose = f", {job.design}" if isinstance(job.study.probe, DesignSettings) else ""
    when = iso_of_tdb_s(job.asked.passage.closest_tdb_s)
    return f"{job.ask.name}{whose}: {job.ask.body}, passage {job.number}, {when}: {'; '.join(told)}"
