"""The command line: what to run, how a failure is said, and with which exit status."""

from __future__ import annotations

import inspect
import logging
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console

from swarm import __version__
from swarm.app import printed
from swarm.app.stages import GPU, PLAN, RESUME, SEED, STAGES, WORKERS, Options, Stage
from swarm.app.unexpected import is_reader_gone, unexpected
from swarm.run.kernel_cache import CACHE_VARIABLE, claim_kernel_cache
from swarm.run.progress import Teller, telling
from swarm.run.writing import why_not_written
from targets.base.errors import InputError, NothingFeasible, SchedulerLost

if TYPE_CHECKING:
    from swarm.run.folder import Run

EXIT_UNEXPECTED, EXIT_INPUT, EXIT_NOTHING = 1, 2, 3

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Which bodies a mothership's probes can reach, and which plans are worth flying.",
)
_err = Console(stderr=True)

StudyPath = Annotated[Path, typer.Argument(metavar="STUDY.toml", help="The study file.")]
RunDir = Annotated[Path, typer.Option("--run", metavar="DIR", help="The run folder.")]
Workers = Annotated[int | None, typer.Option("--workers", min=1, help="Processes; default one per core.")]
Scheduler = Annotated[str | None, typer.Option("--scheduler", help="Address of a running Dask scheduler.")]
Seed = Annotated[int | None, typer.Option("--seed", min=0, help="Instead of the study's seed; recorded.")]
Resume = Annotated[
    bool, typer.Option("--resume", help="Go on in a folder that holds results; finished stages are kept.")
]
Until = Annotated[
    str | None,
    typer.Option("--until", metavar="STAGE", help="Stop after a stage; front is the one of optimize."),
]
From = Annotated[
    Path | None,
    typer.Option("--from", metavar="DIR", help="An older run: what has not changed is taken from it."),
]
Gpu = Annotated[
    bool, typer.Option("--gpu", help="Filter the population on a GPU first; the answer is the same.")
]
PlanNumber = Annotated[int, typer.Option("--plan", metavar="ID", help="A number of front.parquet.")]
All = Annotated[bool, typer.Option("--all", help="Print everything that is known, not the summary.")]
Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback of an unexpected error.")]


@app.callback(invoke_without_command=True)
def _version(version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False) -> None:
    if version:
        printed.say(__version__)
        raise typer.Exit


@app.command()
def check(study: StudyPath, everything: All = False, debug: Debug = False) -> None:
    """The study as understood: bodies, path, dates, what looks odd; with --all every value with its unit and source.

    Keys and examples of every section: swarm help study. A mothership that meets planets is written row by row:

    \b
        \\[mothership]
        kind = "legs"
        \\[\\[mothership.legs]]
        body = "Earth"
        date = "2031-01-25 TDB"
        \\[\\[mothership.legs]]
        body = "Mars"
        date = "2031-11-15 TDB"
    """

    def work() -> None:
        from swarm.refine.two_body import two_body_warning
        from swarm.study.at_a_glance import glance
        from swarm.study.schema import read_study, require_files, require_supported, study_notes, study_rows

        understood = read_study(study)
        require_supported(understood, file=study)
        require_files(understood, file=study)
        if everything:
            printed.study(study_rows(understood))
        else:
            printed.labelled(glance(understood))
        for note in filter(None, (*study_notes(understood), two_body_warning(understood))):
            typer.echo(f"note: {note}", err=True)

    _guard(work, debug=debug)


@app.command(name="passages")
def passages_command(study: StudyPath, debug: Debug = False) -> None:
    """Where the mothership passes a planet or a moon, and what a low pass there would take."""
    _tell(study, "swarm.app.passing:passage_lines", debug)


@app.command(name="lifetime")
def lifetime_command(study: StudyPath, debug: Debug = False) -> None:
    """What orbits about a planet or a moon come to: the way in, how long they live, what they see until then."""
    _tell(study, "swarm.app.lifetimes:lifetime_lines", debug)


@app.command(name="corridor")
def corridor_command(study: StudyPath, debug: Debug = False) -> None:
    """What entries into an atmosphere come to: corridor, loads, what is heard before the probe is lost."""
    _tell(study, "swarm.app.entries:corridor_lines", debug)


def _tell(study: Path, lines: str, debug: bool) -> None:
    """Print what a function says of a study, as "module:name"."""

    def work() -> None:
        from swarm.app.pages import said_of

        for line in said_of(study, lines):
            printed.say(line)

    _guard(work, debug=debug)


@app.command(name="run")
def run_command(
    study: StudyPath,
    run: RunDir,
    workers: Workers = None,
    scheduler: Scheduler = None,
    seed: Seed = None,
    resume: Resume = False,
    until: Until = None,
    old: From = None,
    gpu: Gpu = False,
    everything: All = False,
    debug: Debug = False,
) -> None:
    """Every stage in order, from the catalogue to the page; then the answer in eight lines."""

    def work() -> None:
        from swarm.app.pipeline import command_to_go_on, left_after, run_all

        options = Options(workers, scheduler, seed, resume, gpu)
        with telling(_err) as teller:
            said = printed.AsItComes(teller.say, everything=everything)
            try:
                made = run_all(study, run, options, teller, until=until, old=old, on_stage=said)
            except BaseException:
                said.warnings()  # they may be why it failed
                raise
        printed.answer(made)
        said.warnings()
        if left := left_after(until, made):
            printed.left_over(left, command_to_go_on(study, run, options, old))

    _guard(work, debug=debug, folder=run)


# --- a command for each stage -------------------------------------------------------------------------------

_OF_OPTION: dict[str, tuple[tuple[str, Any, Any], ...]] = {
    PLAN: (("plan", PlanNumber, inspect.Parameter.empty),),
    WORKERS: (("workers", Workers, None), ("scheduler", Scheduler, None)),
    SEED: (("seed", Seed, None),),
    RESUME: (("resume", Resume, False),),
    GPU: (("gpu", Gpu, False),),
}


def _command_of(stage: Stage) -> Callable[..., None]:
    """The command that runs one stage; its options are those that the stage's record names."""

    def command(**given: Any) -> None:
        def work() -> None:
            names = ("workers", "scheduler", "seed", "resume", "gpu")
            chosen = {name: given[name] for name in names if name in given}
            options = Options(**chosen)
            with telling(_err) as teller:
                made = _run(stage, given, options, teller)
            printed.AFTER.get(stage.name, printed.nothing)(made)

        _guard(work, debug=given["debug"], folder=given["run"])

    asked = [
        ("run", RunDir, inspect.Parameter.empty),
        *(more for name in stage.options for more in _OF_OPTION[name]),
    ]
    if not stage.needs:  # it starts a run
        asked.insert(0, ("study", StudyPath, inspect.Parameter.empty))
    asked.append(("debug", Debug, False))
    keyword = inspect.Parameter.KEYWORD_ONLY
    parameters = [
        inspect.Parameter(name, keyword, default=default, annotation=kind) for name, kind, default in asked
    ]
    command.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]  # read by typer
    command.__annotations__ = {name: kind for name, kind, _ in asked}
    return command


def _run(stage: Stage, given: dict[str, Any], options: Options, teller: Teller) -> Run:
    from swarm.app.pipeline import run_one, run_screen

    if not stage.needs:
        return run_screen(given["study"], given["run"], options, teller)
    return run_one(stage.name, given["run"], options, teller, plan=given.get("plan"))


for _stage in STAGES:
    app.command(name=_stage.name, help=_stage.says)(_command_of(_stage))


@app.command(name="warm")
def warm_command(workers: Workers = None, debug: Debug = False) -> None:
    """Compile ahead what a first run would compile: once on a machine, and after every update."""

    def work() -> None:
        from swarm.app.pipeline import warm_up

        with telling(_err) as teller:
            teller.say("compiling; some minutes of processor time")
            found = warm_up(Options(workers))
        printed.say(f"{found.compiled} kernels ready in {os.environ[CACHE_VARIABLE]}")
        for name in found.left:
            printed.say(f"  compiled when it is first used: {name}")

    _guard(work, debug=debug)


@app.command(name="help")
def help_command(
    page: Annotated[
        str, typer.Argument(metavar="PAGE", help="Which page; without one they are listed.")
    ] = "",
    debug: Debug = False,
) -> None:
    """Pages of the reference: the study file, the tables, many studies, beyond one machine, scripts."""

    def work() -> None:
        from swarm.app.pages import PAGES, page_text

        printed.say(page_text(page) if page else "\n".join(f"swarm help {name}" for name in PAGES))

    _guard(work, debug=debug)


# --- commands that look at runs ------------------------------------------------------------------------------


@app.command()
def show(
    run: RunDir,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Default: any that is free.")] = 0,
    debug: Debug = False,
) -> None:
    """Serve the page of a run to a browser on this machine, until Ctrl-C."""

    def work() -> None:
        from swarm.report.show import address_of, open_server, serve

        server = open_server(run, port)
        printed.say(f"page: {address_of(server)} (this machine only; Ctrl-C ends it)")
        serve(server)

    _guard(work, debug=debug, folder=run)


@app.command()
def explain(
    run: RunDir,
    opportunity: Annotated[
        int | None, typer.Option("--opportunity", metavar="N", help="A number of opportunities.parquet.")
    ] = None,
    plan: Annotated[
        int | None, typer.Option("--plan", metavar="N", help="A number of front.parquet.")
    ] = None,
    everything: All = False,
    debug: Debug = False,
) -> None:
    """The answer of a run in eight lines, or all of it; or why an opportunity, or a plan, is worth what it is worth."""

    def work() -> None:
        from swarm.decide.explain import explain_opportunity
        from swarm.decide.explain_plan import explain_plan
        from swarm.run.folder import Run

        if sum((opportunity is not None, plan is not None, everything)) > 1:
            expected = "--opportunity N, --plan N or --all; without one, the answer in eight lines"
            raise InputError("one thing is explained at a time", found="more than one", expected=expected)
        opened = Run.open(run)
        if opportunity is not None:
            printed.explanation(explain_opportunity(opened, opportunity))
        elif plan is not None:
            printed.explanation(explain_plan(opened, plan))
        elif everything:
            printed.everything(opened)
        elif opened.has("front") and "summary" in opened.manifest["notes"]:
            printed.answer(opened)
        else:
            raise InputError("this run has no front", file=run, do="finish it with: swarm run --resume")

    _guard(work, debug=debug, folder=run)


@app.command()
def batch(
    variations: Annotated[
        Path, typer.Argument(metavar="VARIATIONS.toml", help="A base study and what to vary.")
    ],
    into: Annotated[Path, typer.Option("--into", metavar="DIR", help="Folder for the run folders.")],
    workers: Workers = None,
    scheduler: Scheduler = None,
    seed: Seed = None,
    resume: Resume = False,
    debug: Debug = False,
) -> None:
    """Many studies: a list or a grid of changes to one study, a run folder each."""

    def work() -> None:
        from swarm.app.batch import run_batch
        from swarm.app.batch_ranking import write_ranking

        with telling(_err) as teller:
            outcomes = run_batch(variations, into, Options(workers, scheduler, seed, resume), teller)
        for outcome in outcomes:
            printed.say(f"{outcome.name}: {outcome.status}{f': {outcome.reason}' if outcome.reason else ''}")
        for line in write_ranking(into, tuple(each.name for each in outcomes if each.status == "done")):
            printed.say(line)
        if any(outcome.status != "done" for outcome in outcomes):
            raise typer.Exit(EXIT_UNEXPECTED)

    _guard(work, debug=debug)


@app.command(name="carriers")
def carriers_command(
    study: StudyPath,
    run: RunDir,
    workers: Workers = None,
    scheduler: Scheduler = None,
    seed: Seed = None,
    resume: Resume = False,
    gpu: Gpu = False,
    debug: Debug = False,
) -> None:
    """Which mothership to fly: departure dates, files and small burns ranked, searched, on one front."""

    def work() -> None:
        from swarm.app.carriers.choice_answer import answer_lines
        from swarm.app.carriers.together import run_carriers

        with telling(_err) as teller:
            made = run_carriers(study, run, Options(workers, scheduler, seed, resume, gpu), teller)
        for line in answer_lines(made.manifest["notes"]["carriers"]):
            printed.say(line)

    _guard(work, debug=debug, folder=run)


@app.command(name="compare-runs")
def compare_runs_command(
    runs: Annotated[
        list[Path], typer.Argument(metavar="DIR...", help="Run folders; the first is the reference.")
    ],
    sql: Annotated[
        str | None, typer.Option("--sql", help="A question to the tables of all runs instead.")
    ] = None,
    schema: Annotated[
        bool, typer.Option("--schema", help="The tables and columns that --sql knows.")
    ] = False,
    figure: Annotated[
        Path | None,
        typer.Option(
            "--figure", metavar="PATH", help="Where their fronts are drawn; default: beside the runs."
        ),
    ] = None,
    debug: Debug = False,
) -> None:
    """What changed between runs, in assumptions and in answers; their fronts on one figure."""

    def work() -> None:
        from swarm.app.compare_runs import ask, compare_runs, draw_fronts, lines, schema_lines

        if schema:
            for line in schema_lines(runs):
                printed.say(line)
        elif sql is not None:
            answer = ask(runs, sql)
            printed.say("\t".join(answer.column_names))
            for row in zip(*(column.to_pylist() for column in answer.columns), strict=True):
                printed.say("\t".join(str(cell) for cell in row))
        else:
            for line in lines(compare_runs(runs)):
                printed.say(line)
            if (drawn := draw_fronts(runs, figure)) is not None:
                printed.say(f"fronts on one figure: {drawn}")

    _guard(work, debug=debug)


# --- how a failure is said ----------------------------------------------------------------------------------


def _guard(work: Callable[[], None], *, debug: bool, folder: Path | None = None) -> None:
    """Run a command; turn what goes wrong into one message and the exit status of its kind."""
    claim_kernel_cache()
    try:
        work()
    except InputError as problem:
        _fail(f"{problem}", EXIT_INPUT)
    except NothingFeasible as limit:
        _fail(f"nothing feasible: {limit}", EXIT_NOTHING)
    except SchedulerLost as lost:
        _fail(f"stopped: {lost}", EXIT_UNEXPECTED)
    except KeyboardInterrupt:
        _fail("stopped; go on with --resume", EXIT_UNEXPECTED)
    except typer.Exit:
        raise
    except OSError as problem:
        if isinstance(problem, BrokenPipeError) and is_reader_gone():
            raise typer.Exit(EXIT_UNEXPECTED) from None
        if (why := why_not_written(problem)) is None:
            _fail(unexpected(problem, debug=debug, folder=folder), EXIT_UNEXPECTED)
        _fail(f"stopped: {why}", EXIT_UNEXPECTED)
    except Exception as error:
        _fail(unexpected(error, debug=debug, folder=folder), EXIT_UNEXPECTED)


def _fail(text: str, status: int) -> None:
    typer.echo(text, err=True)
    raise typer.Exit(status)


def main() -> None:
    """Entry point of the `swarm` command."""
    logging.captureWarnings(True)
    app()


if __name__ == "__main__":
    main()
