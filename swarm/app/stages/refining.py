"""A plan under all forces, and the package that detailed design receives."""

from __future__ import annotations

from typing import Any

import pyarrow.compute as pc

from swarm.app.stages.record import Work
from swarm.reach.approach.scene import ephemeris_of
from swarm.reach.mothership.path import legs_of_table
from swarm.refine.handoff.entry_messages import write_entries
from swarm.refine.handoff.orbit_messages import write_orbits
from swarm.refine.handoff.package import Package, clear_package, write_package
from swarm.refine.handoff.pass_messages import write_passes
from swarm.refine.orbits_flown import flown_orbits
from swarm.refine.passes_dispersed import dispersed_passes
from swarm.refine.ranking import ranking_changes
from swarm.refine.safety import cautions, others_of, safety_table
from swarm.refine.stretches import Paths, field_of, paths_of
from swarm.refine.tables import REFINEMENT_TABLES, refinement_tables, stored_plan
from swarm.refine.whole_plan import (
    RunTables,
    dispersion_cautions,
    refine_plan,
    refined_table,
)
from swarm.run.csv_cells import csv_text
from swarm.run.folder import Run
from swarm.run.kinds import ENCOUNTERS
from swarm.study.kind_names import ENTRY, LOW_PASS, ORBIT
from targets.base.errors import NothingFeasible

_PACKAGE = "handoff"
# What is handed over of encounters with planets and moons, by kind.
_AT_PLACES = {LOW_PASS: write_passes, ENTRY: write_entries, ORBIT: write_orbits}


def tables_of(run: Run) -> RunTables:
    """What refinement reads of a run."""
    return RunTables(
        run.read_table("opportunities"),
        run.targets(),
        run.read_table("mothership"),
        run.read_table("judged"),
        run.read_table("corrections"),
        run.read_table("plans"),
    )


def _number(work: Work) -> int:
    assert work.plan is not None, "the commands name the plan"
    return work.plan


def work_refine(work: Work) -> None:
    run, study, tables, plan = work.run, work.study, tables_of(work.run), _number(work)
    clear_package(run.folder / _PACKAGE)
    flown, lost = refine_plan(study, tables, plan, pool=work.pool, on_done=work.teller.stage("refine"))
    others = others_of(study, flown, legs_of_table(tables.mothership), pool=work.pool)
    changes = ranking_changes(study, tables, work.table("front"), flown, lost=lost)
    low = [each for each in _passes_of(run, plan) if each[1]["kind"] == LOW_PASS]
    dispersed, differences = dispersed_passes(study, plan, low, pool=work.pool)
    stopping = [each for each in _passes_of(run, plan) if each[1]["kind"] == ORBIT]
    reached, beside = flown_orbits(study, plan, stopping, pool=work.pool)
    run.note(
        "refined",
        {
            "plan": plan,
            "not_refined": {str(each.arc.probe): each.reason for each in lost},
            "ranking_changes": changes,
            "cautions": [*dispersion_cautions(flown), *cautions(others), *differences, *beside],
        },
    )
    for each in lost:
        run.warn(f"plan {plan}, probe {each.arc.probe} ({each.arc.target}) not refined: {each.reason}")
    for said in changes:
        run.warn(said)
    arcs = [each.made for each in flown]
    paths = paths_of(field_of(arcs), arcs) if arcs else Paths({}, {}, [])
    for name, made in (dispersed | reached).items():
        run.write_table(name, made)
    for name, stored in refinement_tables(flown, lost, paths).items():
        run.write_table(name, stored)
    run.write_text("safety.csv", csv_text(safety_table(others)))
    run.write_table("refined", refined_table(flown, tables.targets))


def is_flown(work: Work) -> bool:
    """Whether there is something of the plan to hand over: refined, or flown at a planet or moon as it was screened."""
    return work.table("flown").num_rows > 0 or bool(_passes_of(work.run, _number(work)))


def work_handoff(work: Work) -> None:
    """Write the package of the refined plan from what the run folder holds; nothing is refined again."""
    run, plan = work.run, _number(work)
    stored = {name: work.table(name) for name in REFINEMENT_TABLES}
    refined = stored_plan(work.study, tables_of(run), stored, plan)
    passes = _passes_of(run, plan)
    if not refined.flown and not passes:
        left = "; ".join(f"probe {each.arc.probe}: {each.reason}" for each in refined.lost)
        raise NothingFeasible(
            "no trajectory of this plan to hand over", limit=left or "the plan flies no probe"
        )
    folder = run.folder / _PACKAGE
    clear_package(folder)
    package = Package(folder, (), (), 0.0, 0.0)
    if refined.flown:
        package = write_package(
            work.study,
            work.targets(),
            work.table("mothership"),
            refined.flown,
            refined.paths,
            lost=refined.lost,
            folder=folder,
        )
    worst = package.worst_km, package.worst_km_s
    for name, write in _AT_PLACES.items():
        own = [each for each in passes if each[1]["kind"] == name]
        if own:
            off = write(work.study, own, folder, ephemeris=ephemeris_of(work.study))
            worst = max(worst[0], off[0]), max(worst[1], off[1])
    for each in package.unwritten:
        run.warn(f"plan {plan}, probe {each.arc.probe} ({each.arc.target}) not handed over: {each.reason}")
    run.note(
        "handoff",
        {
            "plan": plan,
            "not_refined": {
                str(each.arc.probe): each.reason
                for each in (*refined.lost, *package.unwritten)
                if each.arc.probe not in {probe for probe, _ in passes}
            },
            "files": sorted(entry.name for entry in folder.iterdir()),
            "read_back_m": round(1e3 * worst[0], 4),
            "read_back_m_s": float(f"{1e3 * worst[1]:.3g}"),
        },
    )


def _passes_of(run: Run, plan: int) -> list[tuple[int, dict[str, Any]]]:
    """Probe numbers of a plan that pass a planet or a moon, each with its row of `opportunities`."""
    plans, opportunities = run.read_table("plans"), run.read_table("opportunities")
    own = plans.filter(pc.equal(plans["plan"], plan))
    met = opportunities.filter(
        pc.is_in(opportunities["opportunity"], value_set=own["opportunity"].combine_chunks())
    )
    rows = {row["opportunity"]: row for row in met.to_pylist()}
    flown = [(each["probe"], rows[each["opportunity"]]) for each in own.to_pylist()]
    return [(probe, row) for probe, row in flown if ENCOUNTERS[row["kind"]].place]
