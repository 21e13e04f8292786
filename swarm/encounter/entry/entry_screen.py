"""Entries that a study asks for, as opportunities: every one flown down before it is a row.

The rows of an approach (releases, angles, clock angles, arrivals) are shot on the workers and flown through the air;
those that are met within the burn limit stay, also outside their corridor: their chance says so, and what limits them
is told. Of an approach that has none in its corridor none stays, and the angles that would do are told. None is left
out without being counted in the notes.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from swarm.encounter.entry.corridor import Corridor
from swarm.encounter.entry.entry_cautions import cautions_of_entries
from swarm.encounter.entry.entry_judging import JudgedEntries, judge_entries
from swarm.encounter.entry.entry_limits import (
    IN_CORRIDOR,
    joined_entries,
    limits_of_entries,
    seen_entries,
)
from swarm.encounter.entry.entry_table import entry_columns
from swarm.encounter.entry.setting import Setting, setting_at
from swarm.encounter.pass_left_out import BURN, DIVERT, SAID, TANK, leaves_nothing
from swarm.encounter.pass_screen import asked_for, counts_of, numbered, path_of_scene
from swarm.encounter.pass_table import PassMet, met_columns
from swarm.reach.approach.entry_rows import (
    AskedEntries,
    EntryRows,
    covered_by_entries_s,
    field_for_entries,
    shot_entries,
)
from swarm.reach.approach.entry_shoot import ENTRY_REASONS
from swarm.reach.approach.field import OK, PlanetField
from swarm.reach.approach.rows import left_out
from swarm.reach.approach.scene import Scene, scene_of
from swarm.reach.found import Screening
from swarm.reach.mothership.path import table_of_legs
from swarm.reach.mothership.sources import mothership_of
from swarm.run.workers import Pool
from swarm.study.by_design import takers
from swarm.study.entry_relations import entering_designs
from swarm.study.kind_names import ENTRY
from swarm.study.schema import Study
from swarm.study.sections.approach import ApproachSettings
from targets.base.errors import NothingFeasible
from targets.base.timescale import iso_of_tdb_s
from targets.catalogue.places import with_places
from targets.catalogue.reading import Catalogue

OnDone = Callable[[int, int], None]

# Rows flown in one task. Part of no answer: a row is flown alone.
_CHUNK = 50


@dataclass(frozen=True, eq=False)
class _Job:
    """The rows of an approach at one passage for one design, and what they are flown in."""

    alone: Study
    setting: Setting
    corridor: Corridor
    number: int
    asked: AskedEntries


@dataclass(frozen=True, eq=False)
class _Shared:
    jobs: tuple[_Job, ...]
    fields: tuple[PlanetField, ...]


@dataclass(frozen=True, eq=False)
class _Part:
    """What became of some rows of a job: all statuses and burns, and those within the burn limit, judged."""

    job: int
    rows: EntryRows
    judged: JudgedEntries


def screen_entries(
    studies: Sequence[Study],
    catalogue: Catalogue,
    *,
    pool: Pool,
    on_done: OnDone | None = None,
    gpu: bool = False,
) -> tuple[Screening, ...]:
    """The entries of each study; `catalogue` and `gpu` are for kinds that look for their targets.

    Raises NothingFeasible where a body that is asked for is never passed.
    """
    return tuple(_screened(study, catalogue, pool, on_done) for study in studies)


def none_of_entries(study: Study, counts: dict[str, float]) -> NothingFeasible:
    """Why no entry is left."""
    burns = " and ".join(f"{alone.probe.burn_limit_m_s:g}" for alone in takers(study, ENTRY).values())
    ship = study.mothership
    asked = (
        f"{counts['entries_asked']:.0f} entries asked for, {counts['entries_met']:.0f} are met by some burn"
    )
    if not counts["entries_met"]:
        return NothingFeasible(asked, limit="approach.release_days_before, angles_deg: no burn was found")
    if math.isfinite(counts["least_carrier_kg"]) and ship.propellant_kg is not None:
        least = f"the least takes {counts['least_carrier_kg']:.3g} kg of the mothership's propellant"
        return NothingFeasible(
            f"{asked}; {least}", limit=f"mothership.propellant_kg = {ship.propellant_kg:g}"
        )
    least = f"the least takes {counts['least_burn_m_s']:.1f} m/s"
    return NothingFeasible(f"{asked}; {least}", limit=f"probe.burn_limit_m_s = {burns}")


def _screened(study: Study, catalogue: Catalogue, pool: Pool, on_done: OnDone | None) -> Screening:
    with scene_of(study) as scene:
        jobs = tuple(_jobs(study, scene))
        shared = _Shared(jobs, tuple(field_for_entries(job.asked, scene.ephemeris) for job in jobs))
        items = [
            (k, first) for k, job in enumerate(jobs) for first in range(0, len(job.asked.burn_s), _CHUNK)
        ]
        parts = pool.map(_fly, items, shared=shared, on_done=on_done)
        own = [[part for part in parts if part.job == k] for k in range(len(jobs))]
        outside = _outside(study, jobs, own)
        tables = [
            _table(study, scene, jobs[part.job], part)
            for part in parts
            if jobs[part.job].setting.ask.name not in outside
        ]
        ship = mothership_of(study, scene.planets)
        path = table_of_legs(ship.legs or (path_of_scene(scene),))
    rows, names = numbered([table for table in tables if table.num_rows])
    said = tuple(
        _said(job, mine, kept=job.setting.ask.name not in outside)
        for job, mine in zip(jobs, own, strict=True)
    )
    counts = counts_of(
        catalogue,
        [job.asked for job in jobs],
        (job.setting.ask.body for job in jobs),
        [part.rows.shots.burn_km_s for part in parts],
        sum(len(part.judged.rows) for part in parts),
    ) | {"targets": len(names), "opportunities": rows.num_rows}
    targets = with_places(catalogue.take(slice(0, 0)), names)
    entries = {
        "entries_asked": float(sum(asked_for(job.asked) for job in jobs)),
        "entries_met": float(sum(int((part.rows.shots.status == OK).sum()) for part in parts)),
        "least_carrier_kg": min((part.judged.able.least_ship_kg for part in parts), default=math.inf),
    }
    cautions = [leaves_nothing(name, why) for name, why in outside.items()]
    cautions += [
        f"{jobs[part.job].setting.ask.body}: {each}"
        for part in parts
        if jobs[part.job].setting.ask.name not in outside
        for each in cautions_of_entries(jobs[part.job].setting, part.judged)
    ]
    return Screening(
        rows, targets, path, counts, ship.flybys, (*ship.notes, *said), by_kind={ENTRY: counts | entries},
        cautions=tuple(dict.fromkeys(cautions)),
        limits=tuple(each for job, mine in zip(jobs, own, strict=True) for each in _limits(job, mine)),
        barred={ENTRY: in_one(tuple(outside.values()))} if outside else {},
    )  # fmt: skip


def _jobs(study: Study, scene: Scene) -> Sequence[_Job]:
    jobs = []
    for ask in (each for each in study.approach if each.kind == ENTRY):
        for number, passage in scene.asked(ask):
            for design in entering_designs(study, ask):
                setting = setting_at(scene, ask, design, passage)
                asked = scene.asked_entries(ask, passage, checkout_days=design.checkout_days)
                alone = study.of_design(design.name)
                jobs.append(_Job(alone, setting, setting.corridor(), number, asked))
    return jobs


def _fly(item: tuple[int, int], shared: _Shared) -> _Part:
    """A task: some rows of a job, shot, flown down and judged."""
    number, first = item
    job, field = shared.jobs[number], shared.fields[number]
    rows = shot_entries(job.asked.take(slice(first, first + _CHUNK)), field, covered_by_entries_s(job.asked))
    judged = judge_entries(rows, job.setting, job.corridor, burn_limit_m_s=job.setting.burn_limit_m_s)
    return _Part(number, rows, judged)


def _table(study: Study, scene: Scene, job: _Job, part: _Part) -> pa.Table:
    """The rows of a part as opportunities, with what an entry is like beside; numbers come when all are there."""
    rows, which, shots, ship = part.rows, part.judged.rows, part.rows.shots, part.judged.able.steered
    met = PassMet(
        ENTRY, rows.passage.body, rows.release_s[which], rows.burn_s[which],
        shots.burn_km_s[which] - ship.aimed_km_s, shots.entry_s[which], shots.relative[which, 3:], shots.s[which],
    )  # fmt: skip
    columns = met_columns(job.alone, scene, met)
    columns |= entry_columns(job.setting.ask.name, job.number, scene, rows, part.judged)
    table = pa.table(
        columns
        | {
            "steer": pa.array([job.setting.ask.steer] * len(which), pa.string()),
            "carrier_propellant_kg": ship.propellant_kg,
            # an entry is meant to hit
            "impact_chance": np.ones(len(which)),
            "carrier_impact_chance": part.judged.ship_chance,
            "later_impact_chance": np.zeros(len(which)),
        }
    )
    within = np.asarray(table["encounter_tdb_s"].to_numpy()) <= scene.span_tdb_s[1]
    table = table.filter(pa.array(within))
    design = pa.array([job.setting.design.name] * table.num_rows, pa.string())
    return table.append_column("design", design)


def _limits(job: _Job, parts: Sequence[_Part]) -> list[str]:
    """What limits the rows of a job, in sentences."""
    design, ship = job.setting.design, job.setting.study.mothership
    if not parts:
        return []
    seen = joined_entries(
        [seen_entries(part.rows, part.judged, job.setting.burn_limit_m_s) for part in parts]
    )
    found = limits_of_entries(seen, limit=job.setting.dear_at, channels=ship.relay_channels)
    return [f"{job.setting.ask.name}, {design.name}: {each}" for each in found]


def _outside(study: Study, jobs: Sequence[_Job], parts: Sequence[list[_Part]]) -> dict[str, NothingFeasible]:
    """The approaches that are met and have no row in the corridor, by name, with the angles that would do."""
    found = {}
    for ask in (each for each in study.approach if each.kind == ENTRY):
        own = [k for k, job in enumerate(jobs) if job.setting.ask is ask]
        met = [part.judged for k in own for part in parts[k] if len(part.judged.rows)]
        if met and not any((each.worth.corridor_chance >= IN_CORRIDOR).any() for each in met):
            corridors = [(jobs[k].setting.design.name, jobs[k].corridor) for k in own]
            found[ask.name] = nothing_in_the_corridor(ask, corridors)
    return found


def in_one(reasons: Sequence[NothingFeasible]) -> NothingFeasible:
    """One reason of several."""
    whats, limits = (dict.fromkeys(getattr(each, name) for each in reasons) for name in ("what", "limit"))
    return NothingFeasible("; ".join(whats), limit="; ".join(limits))


def nothing_in_the_corridor(
    ask: ApproachSettings, corridors: Sequence[tuple[str, Corridor]]
) -> NothingFeasible:
    """What is said where no entry of an approach is in its corridor: the angles that would do."""
    found = f"angles_deg = {', '.join(f'{angle:g}' for angle in ask.angles_deg)}"
    told = "; ".join(dict.fromkeys(f"{name} {angles_that_do(corridor)}" for name, corridor in corridors))
    return NothingFeasible(
        f"no entry of {ask.body} is in its corridor",
        limit=f"{found}; angles that would do, with the air as it is: {told}",
    )


def angles_that_do(corridor: Corridor) -> str:
    """From the shallowest to the steepest angle between the edges, whatever the clock angle."""
    shallow, steep = corridor.shallow_deg[1], corridor.steep_deg[1]
    there = steep > shallow
    if not there.any():
        return "none: its limits leave nothing between the edges"
    return f"{shallow[there].min():.1f} to {steep[there].max():.1f} deg"


def _said(job: _Job, parts: Sequence[_Part], *, kept: bool) -> str:
    """What became of every row of a job: none is left out without a word. kept: whether its approach leaves any."""
    asked, statuses = job.asked, [int(status) for part in parts for status in part.rows.shots.status]
    left = sum(len(part.judged.rows) for part in parts)
    inside = sum(int((part.judged.worth.corridor_chance >= IN_CORRIDOR).sum()) for part in parts)
    told = [f"{asked_for(asked)} entries asked for, {left * kept} left, {inside} of them in the corridor"]
    if left and not kept:
        told.append(f"{left} left out, which are met outside the corridor")
    told += left_out(asked.early, asked.late, statuses, ENTRY_REASONS)
    ables = [part.judged.able for part in parts]
    if late := sum(able.late for able in ables):
        told.append(f"{late} {SAID[DIVERT]}")
    if dear := sum(able.dear for able in ables):
        told.append(f"{dear} {SAID[BURN if job.setting.steered_by is None else TANK]}")
    why = Counter(str(name) for part in parts for name in part.judged.worth.limited_by)
    told.append("limited by " + ", ".join(f"{name} {count}" for name, count in sorted(why.items())))
    when, setting = iso_of_tdb_s(asked.passage.closest_tdb_s), job.setting
    where = f"{setting.ask.body}, passage {job.number}, {when}"
    return f"{setting.ask.name}, {setting.design.name}: {where}: {'; '.join(told)}"
