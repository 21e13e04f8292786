"""Runs: started, one stage of them, or all in order. Which stages there are stands in `swarm.app.stages`."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack
from dataclasses import replace
from pathlib import Path

from swarm.app.stages import BY_NAME, PLAN, STAGES, Options, Stage, Work
from swarm.app.stages.planning import fingerprint_of_starts
from swarm.app.stages.refining import is_flown
from swarm.app.stages.running import run_stage
from swarm.plan.unserved import unserved_rows
from swarm.reach.opportunities import Screening, read_mothership
from swarm.refine.two_body import two_body_warning
from swarm.refine.whole_plan import chosen_plan
from swarm.run.folder import Run, require_free, sha256_of
from swarm.run.lock import folder_held
from swarm.run.progress import Silent, Teller
from swarm.run.warm import Warmed, is_cold, warm
from swarm.run.workers import Pool, open_workers, require_scheduler
from swarm.study.schema import read_study, require_searched, require_supported
from targets.base.errors import InputError
from targets.catalogue.reading import Reading, read_catalogue

# What a command does first where it was not done: a front needs a judgement, a package the refined plan.
_BEFORE = {"optimize": ("judge",), "handoff": ("refine",)}
# What a stage is called, too, where somebody names the stage to stop after.
_ALSO = {"front": "optimize"}

# Called after each stage with its name and the run: a stage's lines are printed when it is done, not at the end.
OnStage = Callable[[str, Run], None]


def run_screen(study_path: Path, run_dir: Path, options: Options, teller: Teller | None = None) -> Run:
    """Start a run: catalogue and mothership -> opportunities, judged."""
    teller = teller or Silent()
    with ExitStack() as held:
        run, reading = start_run(study_path, run_dir, options, teller, held=held)
        work = Work(run, options, held.enter_context(_workers(options)), teller, reading=reading)
        run_stage(BY_NAME["screen"], work, STAGES)
        _say_unserved(work)
    return run


def run_one(
    name: str, run_dir: Path, options: Options, teller: Teller | None = None, *, plan: int | None = None
) -> Run:
    """Run one stage of a run that was started.

    plan : number of the plan, for stages that work on one
    """
    teller, run = teller or Silent(), Run.open(run_dir)
    stage = BY_NAME[name]
    require_free(run_dir, resume=options.resume, tables=stage.results())
    with folder_held(run.folder, say=teller.say):
        run.override_seed(options.seed)
        if (lack := stage.lacking(run)) is not None:
            raise lack
        _run_one(stage, run, options, teller, plan)
    return run


def _run_one(stage: Stage, run: Run, options: Options, teller: Teller, plan: int | None) -> None:
    """A stage, and what has to be done before it."""
    with _workers(options) as pool:
        work = Work(run, options, pool, teller, plan=plan)
        for earlier in _BEFORE.get(stage.name, ()):
            if not run.finished(earlier, BY_NAME[earlier].inputs(work, STAGES)):
                if earlier == "refine":
                    work.teller.say(f"plan {plan} was not refined: it is refined first")
                    work = replace(work, options=replace(options, resume=True))
                run_stage(BY_NAME[earlier], work, STAGES)
        run_stage(stage, work, STAGES)


def run_all(
    study_path: Path,
    run_dir: Path,
    options: Options,
    teller: Teller | None = None,
    *,
    until: str | None = None,
    old: Path | None = None,
    on_stage: OnStage | None = None,
) -> Run:
    """Every stage in order, on one set of workers.

    until : the stage to stop after, by its name; "front" is another word for "optimize"
    old   : folder of an older run: what has not changed is taken over from it, and the search starts from its front
    """
    teller = teller or Silent()
    last = None if until is None else _stage_named(until)
    older = None if old is None else _older(old, run_dir)
    with ExitStack() as held:
        run, reading = start_run(study_path, run_dir, options, teller, held=held)
        if last is not None and (lack := BY_NAME[last].lacking(run)) is not None:
            raise lack
        if older is not None:
            run.set_input("starts", fingerprint_of_starts(older))
        pool = held.enter_context(_workers(options))
        on_first_start(pool, options, teller)
        work = Work(run, options, pool, teller, reading=reading, old=older)
        finish_all(work, until=last, on_stage=on_stage)
        # of a command that ended otherwise than this one
        (run.folder / "traceback.txt").unlink(missing_ok=True)
    return run


def _older(folder: Path, run_dir: Path) -> Run:
    """The older run, which must be another one."""
    if folder.resolve() == run_dir.resolve():
        raise InputError(
            "a run cannot be taken over from itself", place="--from", found=folder, do="go on with --resume"
        )
    return Run.open(folder)


def _stage_named(name: str) -> str:
    found = _ALSO.get(name, name)
    if found not in BY_NAME:
        raise InputError("no such stage", place="--until", found=name, expected=", ".join((*BY_NAME, *_ALSO)))
    return found


def left_after(until: str | None, run: Run) -> tuple[str, ...]:
    """The stages after the one a run was to stop after, of those that its study asks for."""
    if until is None:
        return ()
    later = STAGES[STAGES.index(BY_NAME[_stage_named(until)]) + 1 :]
    return tuple(stage.name for stage in later if stage.lacking(run) is None)


def finish_all(work: Work, *, until: str | None = None, on_stage: OnStage | None = None) -> None:
    """Every stage of a run that was started, in order, but those that the study does not ask for.

    until : name of the last stage to run
    """
    for stage in STAGES:
        if _is_asked_for(stage, work):
            run_stage(stage, work, STAGES)
            if stage.name == "screen":
                _say_unserved(work)
            if on_stage is not None:
                on_stage(stage.name, work.run)
        if stage.name == until:
            return


def _say_unserved(work: Work) -> None:
    """Warn of rows that no body in reach satisfies; where the screen was taken over, rows may have changed since."""
    for unserved in unserved_rows(work.study, work.table("opportunities"), work.targets()):
        work.run.warn(unserved)


def _is_asked_for(stage: Stage, work: Work) -> bool:
    """Whether there is something for a stage to do; what is left out is warned of where it would be missed."""
    if stage.lacking(work.run) is not None:
        if stage.name == "refine" and (warning := two_body_warning(work.study)):
            work.run.warn(warning)
        return False
    if PLAN in stage.options:
        work.plan = chosen_plan(work.table("front"), work.table("plans"), study=work.study)
        if work.plan is None:
            work.run.warn("no plan of the front flies a probe: nothing to refine, nothing to hand over")
            return False
    # of a plan of which no probe is flown, not even at a planet or moon, refinement has said why of each
    return stage.name != "handoff" or is_flown(work)


def start_run(
    study_path: Path,
    run_dir: Path,
    options: Options,
    teller: Teller,
    *,
    held: ExitStack,
    reading: Reading | None = None,
) -> tuple[Run, Reading]:
    """Read everything that can be wrong; only then make the run folder, and hold it.

    held    : what lets go of the folder
    reading : of the study's catalogue, where it was read before
    """
    study = read_study(study_path, base=options.base).with_seed(options.seed)
    require_supported(study, file=study_path)
    require_searched(study, file=study_path)
    require_free(run_dir, resume=options.resume)
    if reading is None:
        require_scheduler(options.scheduler)
        teller.say("reading the catalogue")
        reading = read_catalogue(study.catalogue, study.base)
        teller.say(f"{len(reading.catalogue)} bodies read, {reading.rejects.num_rows} rows not taken")
    ship = read_mothership(study)
    run_dir.mkdir(parents=True, exist_ok=True)
    held.enter_context(folder_held(run_dir, say=teller.say))
    run = Run.create(run_dir, study_path, resume=options.resume, seed=options.seed, base=options.base)
    run.set_input("catalogue", reading.source_sha256)
    if ship.source_sha256 is not None:
        run.set_input("mothership", ship.source_sha256)
    if study.catalogue.visited is not None:
        run.set_input("visited", sha256_of(study.base / study.catalogue.visited))
    return run, reading


def warm_up(options: Options) -> Warmed:
    """Compile every kernel that the stages ask for, on the workers of this machine."""
    with open_workers(options.workers) as pool:
        return warm(pool)


def is_due(run: Run, name: str, options: Options) -> bool:
    """Whether a stage that hangs on nothing but the study has still to be run."""
    return not run.finished(name, BY_NAME[name].inputs(Work(run, options, Pool(), Silent()), STAGES))


def on_first_start(pool: Pool, options: Options, teller: Teller) -> None:
    """Compile side by side what a whole run will ask for, where nothing was compiled on this machine yet."""
    if options.scheduler is None and pool.workers > 1 and is_cold():
        teller.say(f"first start: compiling on {pool.workers} workers")
        warm(pool)


def _workers(options: Options) -> AbstractContextManager[Pool]:
    return open_workers(options.workers, options.scheduler)


__all__ = [
    "Options",
    "Screening",
    "Work",
    "finish_all",
    "is_due",
    "left_after",
    "on_first_start",
    "run_all",
    "run_one",
    "run_screen",
    "start_run",
    "warm_up",
]


def command_to_go_on(study: Path, run: Path, options: Options, old: Path | None) -> str:
    """The command that runs what is left; a seed given instead of the study's belongs to it, and an older run."""
    given = {
        "--from": old,
        "--workers": options.workers,
        "--scheduler": options.scheduler,
        "--seed": options.seed,
    }
    more = [str(word) for name, value in given.items() if value is not None for word in (name, value)]
    return shlex.join(["swarm", "run", str(study), "--run", str(run), *more, "--resume"])
