"""A plan under all forces, and the package that detailed design receives."""

from __future__ import annotations

from swarm.app.stages.record import Work
from swarm.reach.mothership.path import legs_of_table
from swarm.refine.correct import NotRefined
from swarm.refine.handoff.package import clear_package, write_package
from swarm.refine.ranking import ranking_changes
from swarm.refine.safety import cautions, others_of, safety_table
from swarm.refine.whole_plan import (
    Flown,
    Tables,
    dispersion_cautions,
    refine_plan,
    refined_table,
)
from swarm.run.folder import Run, csv_text
from targets.base.errors import NothingFeasible
from targets.catalogue.bodies import Catalogue

_PACKAGE = "handoff"


def tables_of(run: Run) -> Tables:
    """What refinement reads of a run."""
    return Tables(
        run.read_table("opportunities"),
        Catalogue.from_table(run.read_table("targets")),
        run.read_table("mothership"),
        run.read_table("judged"),
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
    run.note(
        "refined",
        {
            "plan": plan,
            "not_refined": {str(each.arc.probe): each.reason for each in lost},
            "ranking_changes": changes,
            "cautions": [*dispersion_cautions(flown), *cautions(others)],
        },
    )
    for each in lost:
        run.warn(f"plan {plan}, probe {each.arc.probe} ({each.arc.target}) not refined: {each.reason}")
    for said in changes:
        run.warn(said)
    run.write_text("safety.csv", csv_text(safety_table(others)))
    run.write_table("refined", refined_table(flown, tables.targets))


def work_handoff(work: Work) -> None:
    plan = _number(work)
    flown, lost = refine_plan(work.study, tables_of(work.run), plan, pool=work.pool)
    if not flown:
        limit = (
            "; ".join(f"probe {each.arc.probe}: {each.reason}" for each in lost) or "the plan flies no probe"
        )
        raise NothingFeasible("no trajectory of this plan to hand over", limit=limit)
    _write(work, plan, flown, lost)


def _write(work: Work, plan: int, flown: list[Flown], lost: list[NotRefined]) -> None:
    run = work.run
    package = write_package(
        work.study,
        work.targets(),
        work.table("mothership"),
        flown,
        lost=lost,
        folder=run.folder / _PACKAGE,
    )
    for each in package.unwritten:
        run.warn(f"plan {plan}, probe {each.arc.probe} ({each.arc.target}) not handed over: {each.reason}")
    run.note(
        "handoff",
        {
            "plan": plan,
            "not_refined": {str(each.arc.probe): each.reason for each in (*lost, *package.unwritten)},
            "files": list(package.files),
            "read_back_m": round(1e3 * package.worst_km, 4),
            "read_back_m_s": float(f"{1e3 * package.worst_km_s:.3g}"),
        },
    )
