"""The stages in order, and what each leaves in the run folder. Wiring only: no stage is computed here."""

from __future__ import annotations

import csv
import hashlib
import io
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from swarm.decide.counts import Compared, compare, count_lines
from swarm.decide.observing import observe
from swarm.decide.recourse import recourse, recourse_lines
from swarm.decide.risk_table import Flown as Probes
from swarm.decide.risk_table import risk_table
from swarm.decide.sensitivity import Inputs, needs_screen, sensitivity, tornado_lines
from swarm.decide.summary import front_lines, level_lines, limits, select_plan
from swarm.encounter.judging import Judged
from swarm.optimize.polish import with_polished, without_polished
from swarm.optimize.search import Optimised, optimize
from swarm.plan.budgets import delta_v_budget, mass_budget, recoil_table
from swarm.plan.data import plan_data
from swarm.plan.judged import chances_from_table, chances_of, joined, judge_all, judged_table
from swarm.plan.measures import plans_matrix, with_measures
from swarm.plan.verify import Tables as Reported
from swarm.plan.verify import verify
from swarm.reach.opportunities import Screening, nothing_found, read_mothership, screen
from swarm.refine.handoff.package import clear_package, write_package
from swarm.refine.ranking import ranking_changes
from swarm.refine.safety import cautions, others_of, safety_table
from swarm.refine.stretches import Paths, field_of, paths_of
from swarm.refine.tables import REFINEMENT_TABLES, RefinedPlan, refinement_tables, stored_plan
from swarm.refine.whole_plan import (
    RunTables,
    chosen_plan,
    dispersion_cautions,
    mothership_legs,
    refine_plan,
    refined_table,
)
from swarm.report.drawn import aim_rings, arc_points, density, event_dates, successes
from swarm.report.page import write_page
from swarm.run.folder import (
    COMPARE_TABLES,
    DRAWN_TABLES,
    SENSITIVITY_TABLES,
    Run,
    require_free,
    sha256_of,
)
from swarm.run.progress import Silent, Teller
from swarm.run.workers import Pool, open_workers
from swarm.study.schema import Study, read_study, require_supported
from targets.base.errors import InputError, NothingFeasible
from targets.catalogue.knowledge import knowledge_notes, near_earth_warning
from targets.catalogue.reading import Catalogue, Reading, read_catalogue

_SCREEN_MAKES = (
    "opportunities.parquet", "targets.parquet", "mothership.parquet", "density.parquet", "rejects.csv",
)  # fmt: skip
_OPTIMIZE_MAKES = (
    "judged.parquet", "front.parquet", "plans.parquet", "observe.parquet", "observe.csv",
    "bound.parquet", "convergence.parquet", *(f"{name}.parquet" for name in DRAWN_TABLES),
)  # fmt: skip
_COMPARE_MAKES = tuple(f"{name}.parquet" for name in COMPARE_TABLES)
_SENSITIVITY_MAKES = tuple(f"{name}.parquet" for name in SENSITIVITY_TABLES)
_REFINE_MAKES = ("refined.parquet", "safety.csv", *(f"{name}.parquet" for name in REFINEMENT_TABLES))
_AFTER_OPTIMIZE = (*_COMPARE_MAKES, *_SENSITIVITY_MAKES, *_REFINE_MAKES)
_PAGE = ("report.html",)
_PACKAGE = "handoff"


@dataclass(frozen=True)
class Options:
    """What the command line may set; nothing of it changes the answer but the seed."""

    workers: int | None = None
    scheduler: str | None = None
    seed: int | None = None
    resume: bool = False
    base: Path | None = None  # what paths in the study start from, where that is not the study file's folder


def run_screen(study_path: Path, run_dir: Path, options: Options, teller: Teller | None = None) -> Run:
    """Catalogue and mothership -> opportunities, targets, mothership."""
    teller = teller or Silent()
    run, reading = start_run(study_path, run_dir, options, teller)
    with open_workers(options.workers, options.scheduler) as pool:
        _screen(run, reading, options, pool, teller)
    return run


def run_optimize(run_dir: Path, options: Options, teller: Teller | None = None) -> Run:
    """Opportunities -> front, plans."""
    run = Run.open(run_dir)
    require_free(run_dir, resume=options.resume, tables=("front", "plans"))
    run.override_seed(options.seed)
    with open_workers(options.workers, options.scheduler) as pool:
        _optimize(run, options, pool, teller or Silent())
    return run


def run_compare(run_dir: Path, options: Options, teller: Teller | None = None) -> Run:
    """Opportunities -> a front for each probe count, and the budgets of the chosen plan."""
    run = Run.open(run_dir)
    require_free(run_dir, resume=options.resume, tables=("counts",))
    if not run.study.compare.counts:
        place, expected = "compare.counts", "probe counts such as [0, 4, 8, 12]"
        raise InputError(
            "the study names no probe counts", file=run_dir / "study.toml", place=place, expected=expected
        )
    with open_workers(options.workers, options.scheduler) as pool:
        _compare(run, options, pool, teller or Silent())
    return run


def run_sensitivity(run_dir: Path, options: Options, teller: Teller | None = None) -> Run:
    """What the chosen plan hangs on: one assumption changed at a time; the 5x5 risk table."""
    run = Run.open(run_dir)
    require_free(run_dir, resume=options.resume, tables=("sensitivity",))
    if run.study.sensitivity is None:
        expected = "a section [sensitivity]; its keys have defaults"
        raise InputError(
            "the study does not say what to vary",
            file=run_dir / "study.toml",
            place="sensitivity",
            expected=expected,
        )
    with open_workers(options.workers, options.scheduler) as pool:
        _sensitivity(run, options, pool, teller or Silent())
    return run


def run_refine(run_dir: Path, plan: int, options: Options, teller: Teller | None = None) -> Run:
    """A plan of the front -> full-force arcs, dispersion, safety of others."""
    run = Run.open(run_dir)
    require_free(run_dir, resume=options.resume, tables=("refined",))
    with open_workers(options.workers, options.scheduler) as pool:
        _refine(run, plan, options, pool, teller or Silent())
    return run


def run_handoff(run_dir: Path, plan: int, options: Options, teller: Teller | None = None) -> Run:
    """A plan of the front -> the package; a plan that is not the refined one is refined first, and that is kept."""
    run, teller = Run.open(run_dir), teller or Silent()
    kept = all(run.has(name) for name in REFINEMENT_TABLES)
    if not (kept and run.finished("refine", _refine_inputs(run, plan))):
        teller.say(f"plan {plan} was not refined: refining it first")
        with open_workers(options.workers, options.scheduler) as pool:
            _refine(run, plan, options, pool, teller)
    refined = _stored_plan(run, plan)
    if not refined.flown:
        left = "; ".join(f"probe {x.arc.probe}: {x.reason}" for x in refined.lost)
        limit = left or "the plan flies no probe"
        raise NothingFeasible("no trajectory of this plan to hand over", limit=limit)
    _handoff(run, plan, refined)
    return run


def run_report(run_dir: Path) -> Path:
    """The page of what the run folder holds."""
    return write_page(Run.open(run_dir))


def run_all(study_path: Path, run_dir: Path, options: Options, teller: Teller | None = None) -> Run:
    """Every stage in order, on one set of workers."""
    teller = teller or Silent()
    run, reading = start_run(study_path, run_dir, options, teller)
    with open_workers(options.workers, options.scheduler) as pool:
        finish_all(run, reading, options, pool, teller)
    return run


def finish_all(
    run: Run,
    reading: Reading,
    options: Options,
    pool: Pool,
    teller: Teller,
    *,
    screening: Screening | None = None,
) -> None:
    """Every stage of a run that was started, in order; `screening` is its screen where that was made before."""
    _screen(run, reading, options, pool, teller, screening=screening)
    _optimize(run, options, pool, teller)
    if run.study.compare.counts:
        _compare(run, options, pool, teller)
    if run.study.sensitivity is not None:
        _sensitivity(run, options, pool, teller, reading=reading)
    plan = chosen_plan(run.read_table("front"), run.read_table("plans"), study=run.study)
    if plan is None:
        run.warn("no plan of the front flies a probe: nothing to refine, nothing to hand over")
    else:
        _fly_out(run, plan, options, pool, teller)
    write_page(run)


def _fly_out(run: Run, plan: int, options: Options, pool: Pool, teller: Teller) -> None:
    """Refine a plan and hand it over, each where that was not done before."""
    _refine(run, plan, options, pool, teller)
    if options.resume and run.finished("handoff", _handoff_inputs(run, plan)):
        return
    refined = _stored_plan(run, plan)
    if refined.flown:
        _handoff(run, plan, refined)


def start_run(
    study_path: Path, run_dir: Path, options: Options, teller: Teller, *, reading: Reading | None = None
) -> tuple[Run, Reading]:
    """Read everything that can be wrong; only then make the run folder.

    reading : of the study's catalogue, where it was read before
    """
    study = read_study(study_path, base=options.base).with_seed(options.seed)
    require_supported(study, file=study_path)
    require_free(run_dir, resume=options.resume)
    if reading is None:
        teller.say("reading the catalogue")
        reading = read_catalogue(study.catalogue, study.base)
        teller.say(f"{len(reading.catalogue)} bodies read, {reading.rejects.num_rows} rows not taken")
    ship = read_mothership(study)
    run = Run.create(run_dir, study_path, resume=options.resume, seed=options.seed, base=options.base)
    run.set_input("catalogue", reading.source_sha256)
    if ship.source_sha256 is not None:
        run.set_input("mothership", ship.source_sha256)
    if study.catalogue.visited is not None:
        run.set_input("visited", sha256_of(study.base / study.catalogue.visited))
    return run, reading


def _screen(
    run: Run,
    reading: Reading,
    options: Options,
    pool: Pool,
    teller: Teller,
    *,
    screening: Screening | None = None,
) -> None:
    study, inputs = run.study, run.fingerprint()
    if options.resume and run.finished("screen", inputs):
        teller.say("screen: done before, kept")
        return
    makes = (*_SCREEN_MAKES, *_OPTIMIZE_MAKES, *_AFTER_OPTIMIZE, *_PAGE)
    with _stage(run, "screen", inputs, makes=makes):
        _keep_reading(run, reading)
        if screening is None:
            screening = screen(study, reading.catalogue, pool=pool, on_done=teller.stage("screen"))
        elif screening.opportunities.num_rows == 0:
            raise nothing_found(study, screening.counts)
        run.note("survivors", dict(screening.counts))
        run.note(
            "mothership",
            {"flybys": [asdict(flyby) for flyby in screening.flybys], "notes": list(screening.notes)},
        )
        if lost := screening.counts["not_movable"]:
            run.warn(f"{lost} bodies could not be moved to the study's dates and were left out")
        run.note("knowledge", list(knowledge_notes(screening.targets)))
        if warning := near_earth_warning(screening.targets):
            run.warn(warning)
        run.write_table("targets", screening.targets.to_table())
        run.write_table("mothership", screening.path)
        run.write_table("opportunities", screening.opportunities)
        law = density(study, reading.catalogue, screening.opportunities, screening.path)
        run.write_table("density", law)


def _keep_reading(run: Run, reading: Reading) -> None:
    run.write_text("rejects.csv", _csv_text(reading.rejects))
    tally = pc.value_counts(reading.rejects["reason"]).to_pylist() if reading.rejects.num_rows else []
    run.manifest["rejected_rows"] = {entry["values"]: entry["counts"] for entry in tally}
    run.note("catalogue", {"bodies": len(reading.catalogue), "rules": list(reading.notes)})


def _csv_text(table: pa.Table) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(table.column_names)
    writer.writerows(zip(*(column.to_pylist() for column in table.columns), strict=True))
    return stream.getvalue()


def _optimize(run: Run, options: Options, pool: Pool, teller: Teller) -> None:
    opportunities = without_polished(run.read_table("opportunities"))
    targets, study = Catalogue.from_table(run.read_table("targets")), run.study
    inputs = f"{run.fingerprint(('targets', 'mothership'))} {_content_sha256(opportunities)}"
    if options.resume and run.finished("optimize", inputs):
        teller.say("optimize: done before, kept")
        return
    with _stage(run, "optimize", inputs, makes=(*_OPTIMIZE_MAKES, *_AFTER_OPTIMIZE, *_PAGE)):
        found, opportunities, judged = _searched(run, opportunities, targets, pool=pool, teller=teller)
        chances = chances_of(judged)
        data = plan_data(study, opportunities, targets, judged=chances)
        run.write_table("judged", judged_table(study, opportunities, judged, data=data))
        run.write_table("opportunities", opportunities)
        if found.by_the_clock:
            run.warn("not repeatable: the search was told to stop by the clock (optimize.stop_after_s)")
        run.note("repeatable", not found.by_the_clock)
        _verify(run, study, found, opportunities, chances.relayed)
        run.write_table("bound", found.bound)
        run.write_table("convergence", found.progress)
        _draw(run, study, found, opportunities, targets=targets)
        run.write_table("plans", found.plans)
        front = with_measures(found.front, found.plans, study, opportunities, targets=targets, judged=chances)
        asked = observe(
            study, opportunities, targets, front=front, plans=found.plans, judged=chances, pool=pool
        )
        run.write_table("observe", asked)
        run.write_text("observe.csv", _csv_text(asked))
        run.note("summary", _summary(study, opportunities, found, front=front))
        run.write_table("front", front)


def _draw(run: Run, study: Study, found: Optimised, opportunities: pa.Table, *, targets: Catalogue) -> None:
    """Tables of what the page draws, for the opportunities that some plan of the front uses."""
    used = np.unique(found.plans["opportunity"].to_numpy())
    rows = np.flatnonzero(np.isin(opportunities["opportunity"].to_numpy(), used))
    flown, judged = opportunities.take(rows), run.read_table("judged").take(rows)
    chances = chances_from_table(study, judged)
    run.write_table("arcs", arc_points(flown, run.read_table("mothership")))
    run.write_table("events", event_dates(study, flown, judged, targets))
    run.write_table("aims", aim_rings(study, flown, judged))
    returned = successes(study, flown, targets, front=found.front, plans=found.plans, judged=chances)
    run.write_table("successes", returned)


def _compare(run: Run, options: Options, pool: Pool, teller: Teller) -> None:
    opportunities, targets = run.read_table("opportunities"), Catalogue.from_table(run.read_table("targets"))
    study, inputs = (
        run.study,
        run.fingerprint(("opportunities", "targets", "mothership", "judged", "front", "plans")),
    )
    if options.resume and run.finished("compare", inputs):
        teller.say("compare: done before, kept")
        return
    with _stage(run, "compare", inputs, makes=(*_COMPARE_MAKES, *_PAGE)):
        judged, mothership = chances_from_table(study, run.read_table("judged")), run.read_table("mothership")
        found = compare(
            study,
            opportunities,
            targets,
            pool=pool,
            on_done=teller.stage("compare"),
            judged=judged,
            mothership=mothership,
        )
        run.note("verified_count_plans", _verify_counts(run, study, found, opportunities, judged.relayed))
        run.write_table("count_fronts", found.fronts)
        run.write_table("count_plans", found.plans)
        run.write_table("descope", found.descope)
        front = run.read_table("front")
        chosen, _ = select_plan(front, study)
        plans = plans_matrix(run.read_table("plans"), opportunities, front.num_rows, probes=study.probe.count)
        plan = plans[front["plan"].to_pylist().index(chosen)]
        run.write_table("mass_budget", mass_budget(study, int((plan >= 0).sum())))
        run.write_table(
            "delta_v_budget", delta_v_budget(study, opportunities, plan, dv99_m_s=judged.dv99_m_s)
        )
        run.write_table("recoil", recoil_table(study, opportunities, plan))
        left = recourse(
            study, opportunities, targets, plan, number=chosen, judged=judged, mothership=mothership
        )
        run.write_table("recourse", left.probes)
        run.write_table("alternates", left.alternates)
        run.note("recourse", recourse_lines(left.probes))
        run.note("counts", count_lines(found.counts))
        run.write_table("counts", found.counts)


def _sensitivity(
    run: Run, options: Options, pool: Pool, teller: Teller, *, reading: Reading | None = None
) -> None:
    """Sensitivities of the plan the rule chose; none where no plan flies a probe."""
    study, front, plans = run.study, run.read_table("front"), run.read_table("plans")
    upstream = ("opportunities", "targets", "mothership", "judged", "front", "plans")
    files = _slip_hashes(study)
    inputs = f"{run.fingerprint(upstream)} {' '.join(files.values())}".strip()
    if options.resume and run.finished("sensitivity", inputs):
        teller.say("sensitivity: done before, kept")
        return
    plan = chosen_plan(front, plans, study=study)
    with _stage(run, "sensitivity", inputs, makes=(*_SENSITIVITY_MAKES, *_PAGE)):
        if plan is None:
            run.warn("no plan of the front flies a probe: no sensitivities")
            return
        bodies = _bodies_again(run, reading) if needs_screen(study) else None
        opportunities, targets = (
            run.read_table("opportunities"),
            Catalogue.from_table(run.read_table("targets")),
        )
        judged = chances_from_table(study, run.read_table("judged"))
        tables = Inputs(opportunities, targets, judged, run.read_table("mothership"), front, plans)
        on_done = teller.stage("sensitivity")
        found = sensitivity(study, tables, plan=plan, catalogue=bodies, pool=pool, on_done=on_done)
        flown = plans.filter(pc.equal(plans["plan"], plan))["opportunity"]
        rows = pc.index_in(flown, value_set=opportunities["opportunity"]).to_numpy()
        probes = Probes(opportunities.take(rows), targets, judged.take(rows))
        run.write_table("risk_table", risk_table(study, probes, found))
        run.write_table("left_out", found.left_out)
        run.note("sensitivity", {"plan": plan, "slip_files": files, "lines": tornado_lines(found.table)})
        run.write_table("sensitivity", found.table)


def _slip_hashes(study: Study) -> dict[str, str]:
    """Hash of each file of a slip: what the stage hangs on beside the run's own inputs."""
    slips = () if study.sensitivity is None else study.sensitivity.slip_files
    return {slip.file: sha256_of(study.base / slip.file) or "no file" for slip in slips}


def _bodies_again(run: Run, reading: Reading | None) -> Catalogue:
    """All bodies of the run, read again where they are not at hand; they must be those of the run."""
    if reading is None:
        catalogue, base = run.study.catalogue, run.study.base
        if catalogue.visited is not None:
            _require_same(run, "visited", sha256_of(base / catalogue.visited), place="catalogue.visited")
        reading = read_catalogue(catalogue, base)
    _require_same(run, "catalogue", reading.source_sha256, place="catalogue")
    return reading.catalogue


def _require_same(run: Run, name: str, found: str | None, *, place: str) -> None:
    held = run.manifest["inputs"].get(name)
    if found != held:
        raise InputError(
            "this is not what the run was made from",
            place=place,
            found=f"sha256 {found}",
            expected=f"sha256 {held}",
            do="run the study again in a new folder",
        )


def _content_sha256(table: pa.Table) -> str:
    """Hash of what a table holds, however it is cut into chunks."""
    stream = pa.BufferOutputStream()
    whole = table.combine_chunks()
    with pa.ipc.new_stream(stream, whole.schema) as writer:
        writer.write_table(whole)
    return hashlib.sha256(stream.getvalue()).hexdigest()


def _searched(
    run: Run, opportunities: pa.Table, targets: Catalogue, *, pool: Pool, teller: Teller
) -> tuple[Optimised, pa.Table, Judged]:
    """The front, the opportunities with the polished ones of its targets, and the judgement of all."""
    study, mothership = run.study, run.read_table("mothership")
    polishes = study.optimize.polish_steps > 1
    judged = judge_all(study, opportunities, targets, pool=pool)
    # what constraints cost is asked once, of the last front
    costs = study.optimize.constraint_costs and not polishes
    first = study.model_copy(
        update={"optimize": study.optimize.model_copy(update={"constraint_costs": costs})}
    )
    found = optimize(
        first,
        opportunities,
        targets,
        pool=pool,
        on_done=teller.stage("optimize"),
        judged=chances_of(judged),
        mothership=mothership,
    )
    if not polishes:
        return found, opportunities, judged
    used = np.unique(found.plans["opportunity"].to_numpy())
    rows = np.flatnonzero(np.isin(opportunities["opportunity"].to_numpy(), used))
    extended = with_polished(study, opportunities, targets, used=rows, pool=pool)
    new = extended.slice(opportunities.num_rows)
    if new.num_rows:
        judged = joined([judged, judge_all(study, new, targets, pool=pool)])
    found = optimize(
        study,
        extended,
        targets,
        pool=pool,
        on_done=teller.stage("polish"),
        judged=chances_of(judged),
        mothership=mothership,
        earlier=found,
    )
    return found, extended, judged


def _verify(
    run: Run, study: Study, found: Optimised, opportunities: pa.Table, relayed: NDArray[np.bool_]
) -> None:
    """Have every plan looked at again by code that shares nothing with the search."""
    run.note(
        "verified_plans", verify(study, _reported(run, found.front, found.plans, opportunities, relayed))
    )


def _verify_counts(
    run: Run, study: Study, found: Compared, opportunities: pa.Table, relayed: NDArray[np.bool_]
) -> int:
    """The same for the plans of every probe count; how many there are."""
    total = 0
    for count in found.counts["probes"].to_pylist():
        front, members = found.of_count(count)
        total += verify(study, _reported(run, front, members, opportunities, relayed), probes=count)
    return total


def _reported(
    run: Run, front: pa.Table, plans: pa.Table, opportunities: pa.Table, relayed: NDArray[np.bool_]
) -> Reported:
    numbers = opportunities["opportunity"].to_pylist()
    return Reported(
        opportunities=opportunities,
        front=front,
        plans=plans,
        mothership=run.read_table("mothership"),
        relayed=dict(zip(numbers, relayed.tolist(), strict=True)),
    )


def _tables(run: Run) -> RunTables:
    return RunTables(
        run.read_table("opportunities"),
        Catalogue.from_table(run.read_table("targets")),
        run.read_table("mothership"),
        run.read_table("judged"),
        run.read_table("plans"),
    )


def _stored_plan(run: Run, plan: int) -> RefinedPlan:
    """The refined plan that the run folder holds."""
    stored = {name: run.read_table(name) for name in REFINEMENT_TABLES}
    return stored_plan(run.study, _tables(run), stored, plan)


def _refine_inputs(run: Run, plan: int) -> str:
    upstream = ("opportunities", "targets", "mothership", "judged", "front", "plans")
    return f"plan {plan} of {run.fingerprint(upstream)}"


def _refine(run: Run, plan: int, options: Options, pool: Pool, teller: Teller) -> None:
    """Refine a plan, unless that was done before."""
    inputs = _refine_inputs(run, plan)
    if options.resume and run.finished("refine", inputs):
        teller.say("refine: done before, kept")
        return
    study, tables = run.study, _tables(run)
    with _stage(run, "refine", inputs, makes=(*_REFINE_MAKES, *_PAGE)):
        clear_package(run.folder / _PACKAGE)
        run.manifest["stages"].pop("handoff", None)
        flown, lost = refine_plan(study, tables, plan, pool=pool, on_done=teller.stage("refine"))
        table = refined_table(flown, tables.targets)
        others = others_of(study, flown, mothership_legs(tables.mothership), pool=pool)
        changes = ranking_changes(study, tables, run.read_table("front"), flown, lost=lost)
        noted = {
            "plan": plan,
            "not_refined": {str(x.arc.probe): x.reason for x in lost},
            "ranking_changes": changes,
            "cautions": [*dispersion_cautions(flown), *cautions(others)],
        }
        run.note("refined", noted)
        for one in lost:
            run.warn(f"plan {plan}, probe {one.arc.probe} ({one.arc.target}) not refined: {one.reason}")
        for said in changes:
            run.warn(said)
        made = [each.made for each in flown]
        paths = paths_of(field_of(made), made) if made else Paths({}, {}, [])
        for name, stored in refinement_tables(flown, lost, paths).items():
            run.write_table(name, stored)
        run.write_text("safety.csv", _csv_text(safety_table(others)))
        run.write_table("refined", table)


def _handoff_inputs(run: Run, plan: int) -> str:
    return f"plan {plan} of {run.fingerprint(('opportunities', 'targets', 'mothership', 'judged', 'plans'))}"


def _handoff(run: Run, plan: int, refined: RefinedPlan) -> None:
    with _stage(run, "handoff", _handoff_inputs(run, plan), makes=_PAGE):
        package = write_package(
            run.study,
            Catalogue.from_table(run.read_table("targets")),
            run.read_table("mothership"),
            refined.flown,
            refined.paths,
            lost=refined.lost,
            folder=run.folder / _PACKAGE,
        )
        for one in package.unwritten:
            run.warn(f"plan {plan}, probe {one.arc.probe} ({one.arc.target}) not handed over: {one.reason}")
        run.note(
            "handoff",
            {
                "plan": plan,
                "not_refined": {str(x.arc.probe): x.reason for x in (*refined.lost, *package.unwritten)},
                "files": list(package.files),
                "read_back_m": round(1e3 * package.worst_km, 4),
                "read_back_m_s": float(f"{1e3 * package.worst_km_s:.3g}"),
            },
        )


def _summary(
    study: Study, opportunities: pa.Table, found: Optimised, *, front: pa.Table
) -> dict[str, object]:
    chosen, _ = select_plan(front, study)
    return {
        "rule": study.compare.rule,
        "plan": chosen,
        "targets": len(pc.unique(opportunities["target"])),
        "opportunities": opportunities.num_rows,
        "usable": found.allowed,
        "removed": found.removed,
        "exact": found.exact,
        "hypervolume": list(found.hypervolume),
        "hypervolume_reference": found.reference,
        "stopped_by": found.stopped_by,
        "bound": found.sentence,
        "constraint_costs": found.costs.to_pylist(),
        "front": front_lines(front, chosen),
        "levels": level_lines(front, chosen),
        "limits": limits(study, opportunities, front, found.plans),
    }


@contextmanager
def _stage(run: Run, name: str, inputs: str, *, makes: tuple[str, ...]) -> Iterator[None]:
    """Mark a stage running, then done or why not; the time it took is kept either way."""
    begun = time.monotonic()
    run.begin(name, inputs, makes=makes)
    status = "stopped"
    try:
        yield
        status = "done"
    except NothingFeasible as limit:
        status = f"nothing feasible: {limit.limit}"
        raise
    finally:
        run.finish(name, status, seconds=time.monotonic() - begun)
