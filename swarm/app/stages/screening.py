"""Catalogue and mothership -> opportunities; opportunities -> what each comes to."""

from __future__ import annotations

import pyarrow.compute as pc

from swarm.app.stages.record import Work
from swarm.encounter.approach import light_notes
from swarm.encounter.target_errors import runoff_notes
from swarm.plan.data import plan_data
from swarm.plan.judged import chances_of, corrections_table, judge_all, judged_table
from swarm.plan.unserved import unserved_rows
from swarm.reach.found import Screening
from swarm.reach.nothing_in_reach import nothing_found
from swarm.reach.sweeps import together
from swarm.report.drawn import density
from swarm.run.csv_cells import csv_text
from swarm.run.folder import Run, sha256_of
from swarm.run.kinds import kinds_of
from targets.base.errors import InputError
from targets.catalogue.knowledge import knowledge_notes, near_earth_warning
from targets.catalogue.reading import Reading, read_catalogue


def work_screen(work: Work) -> None:
    run, study = work.run, work.study
    reading = read_again(work)
    _keep_reading(run, reading)
    screening = work.screening
    if screening is None:
        found = [
            kind.function("screen")(
                study,
                reading.catalogue,
                pool=work.pool,
                on_done=work.teller.stage("screen"),
                gpu=work.options.gpu,
            )
            for kind in kinds_of(study)
        ]
        screening = together(found, reading.catalogue)
    elif screening.opportunities.num_rows == 0:
        raise nothing_found(study, screening.counts)
    unserved_rows(
        study, screening.targets
    )  # ends the run before anything is kept; what it says, the pipeline says
    _keep_notes(run, screening)
    run.write_table("targets", screening.targets.to_table())
    run.write_table("mothership", screening.path)
    run.write_table("opportunities", screening.opportunities)
    run.write_table("density", density(study, reading.catalogue, screening.opportunities, screening.path))


def _keep_notes(run: Run, screening: Screening) -> None:
    run.note("survivors", dict(screening.counts))
    flybys = [flyby.as_plain() for flyby in screening.flybys]
    run.note("mothership", {"flybys": flybys, "notes": list(screening.notes)})
    if lost := screening.counts["not_movable"]:
        run.warn(f"{lost} bodies could not be moved to the study's dates and were left out")
    run.note("knowledge", list(knowledge_notes(screening.targets)))
    if warning := near_earth_warning(screening.targets):
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
