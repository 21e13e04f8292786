"""Catalogue and mothership -> opportunities; opportunities -> what each comes to."""

from __future__ import annotations

import pyarrow as pa
import pyarrow.compute as pc

from swarm.app.stages.record import Work
from swarm.encounter.approach import light_notes
from swarm.encounter.pass_left_out import SAID, life_said
from swarm.encounter.target_errors import runoff_notes
from swarm.plan.data import plan_data
from swarm.plan.judged import chances_of, corrections_table, judge_all, judged_table
from swarm.plan.unserved import unserved_rows
from swarm.reach.approach.scene import ephemeris_of
from swarm.reach.every_kind import nothing_in_reach, screen_every_kind
from swarm.reach.found import Screening
from swarm.report.drawn import density
from swarm.run.csv_cells import csv_text
from swarm.run.folder import Run, sha256_of
from swarm.run.kinds import ENCOUNTERS
from swarm.run.tables import parquet_tables
from swarm.run.tables.screening import OPPORTUNITY_COLUMNS
from swarm.study.kind_names import LOW_PASS
from swarm.study.schema import Study
from targets.base.errors import InputError, NothingFeasible
from targets.catalogue.knowledge import knowledge_notes, near_earth_warning
from targets.catalogue.places import bodies_alone, names_of_places, places_table
from targets.catalogue.reading import Reading, read_catalogue


def work_screen(work: Work) -> None:
    run, study = work.run, work.study
    reading = read_again(work)
    _keep_reading(run, reading)
    screening = work.screening
    if screening is None:
        screening = screen_every_kind(
            (study,),
            reading.catalogue,
            pool=work.pool,
            on_done=work.teller.stage("screen"),
            gpu=work.options.gpu,
        )[0]
    if screening.opportunities.num_rows == 0:
        raise nothing_in_reach(study, screening)
    _require_served(study, screening)
    _keep_notes(run, screening)
    for said in screening.limits:
        work.teller.say(f"screen: {said}")
    run.write_table("targets", bodies_alone(screening.targets).to_table())
    run.write_table("mothership", screening.path)
    _keep_opportunities(run, study, screening)
    run.write_table("density", density(study, reading.catalogue, screening.opportunities, screening.path))


def _require_served(study: Study, screening: Screening) -> None:
    """End the run before anything is kept where a row that must be served is not; what it says, the pipeline says."""
    try:
        unserved_rows(study, screening.opportunities, screening.targets)
    except NothingFeasible as why:
        limits = (why.limit, *(f"{each.what}: {each.limit}" for each in screening.barred.values()))
        raise NothingFeasible(why.what, limit="; ".join(limits)) from None


def _keep_opportunities(run: Run, study: Study, screening: Screening) -> None:
    """Opportunities, and of those with planets and moons what they are like and where they lead."""
    table, places = screening.opportunities, names_of_places(screening.targets)
    if not places:
        run.write_table("opportunities", table)
        return
    own = {column.name for column in OPPORTUNITY_COLUMNS}
    run.write_table("opportunities", table.select([name for name in table.column_names if name in own]))
    for name in dict.fromkeys(name for kind in ENCOUNTERS.values() for name in kind.tables):
        having = [kind.name for kind in ENCOUNTERS.values() if name in kind.tables]
        own_rows = table.filter(pc.is_in(table["kind"], value_set=pa.array(having)))
        if own_rows.num_rows:
            run.write_table(name, own_rows.select([column.name for column in parquet_tables()[name].columns]))
    known = places_table(places, ephemeris_of(study), study.protection.impact_chance_max)
    run.write_table("places", known)
    for row in known.to_pylist():
        if row["approximate"]:
            run.warn(
                f"{row['name']} is placed by a {row['ephemeris']}, to {row['ephemeris_error_km']:.3g} km"
            )
        if row["may_harbour_life"]:
            run.warn(life_said(study, row["name"]))


def _keep_notes(run: Run, screening: Screening) -> None:
    run.note("survivors", dict(screening.counts))
    if left_out := {code: int(n) for code, n in screening.by_kind.get(LOW_PASS, {}).items() if code in SAID}:
        run.note("passes left out", left_out)
    flybys = [flyby.as_plain() for flyby in screening.flybys]
    run.note("mothership", {"flybys": flybys, "notes": list(screening.notes)})
    for said in screening.cautions:
        run.warn(said)
    if screening.limits:
        run.note("limits_of_rows", list(screening.limits))
    if lost := screening.counts["not_movable"]:
        run.warn(f"{lost} bodies could not be moved to the study's dates and were left out")
    bodies = bodies_alone(screening.targets)
    run.note("knowledge", list(knowledge_notes(bodies)))
    if warning := near_earth_warning(bodies):
        run.warn(warning)


def _keep_reading(run: Run, reading: Reading) -> None:
    run.write_text("rejects.csv", csv_text(reading.rejects))
    tally = pc.value_counts(reading.rejects["reason"]).to_pylist() if reading.rejects.num_rows else []
    run.manifest["rejected_rows"] = {entry["values"]: entry["counts"] for entry in tally}
    run.note("catalogue", {"bodies": len(reading.catalogue), "rules": list(reading.notes)})


def read_again(work: Work) -> Reading:
    """All bodies of the run, read again where they are not at hand; they must be those of the run."""
    if work.reading is None:
        catalogue, base = work.study.catalogue, work.study.base
        if catalogue.visited is not None:
            _require_same(work.run, "visited", sha256_of(base / catalogue.visited), place="catalogue.visited")
        work.reading = read_catalogue(catalogue, base)
    _require_same(work.run, "catalogue", work.reading.source_sha256, place="catalogue")
    return work.reading


def _require_same(run: Run, name: str, sha256: str | None, *, place: str) -> None:
    expected = run.manifest["inputs"].get(name)
    if sha256 != expected:
        raise InputError(
            "this is not what the run was made from",
            place=place,
            found=f"sha256 {sha256}",
            expected=f"sha256 {expected}",
            do="run the study again in a new folder",
        )


def work_judge(work: Work) -> None:
    study, opportunities, targets = (
        work.study,
        work.run.read_table("opportunities", whole=False),
        work.targets(),
    )
    judged = judge_all(study, opportunities, targets, pool=work.pool)
    data = plan_data(study, opportunities, targets, judged=chances_of(judged))
    work.run.note("light", list(light_notes(study, opportunities)))
    work.run.note("runoff", list(runoff_notes(study, opportunities, targets)))
    work.run.write_table("judged", judged_table(study, opportunities, judged, data=data))
    work.run.write_table("corrections", corrections_table(opportunities, judged))
