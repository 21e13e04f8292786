"""The command line: what to run, how a failure is said, and with which exit status."""

from __future__ import annotations

import logging
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.table import Table

from swarm import __version__
from swarm.run.kernel_cache import claim_kernel_cache
from targets.base.errors import InputError, NothingFeasible, SchedulerLost

if TYPE_CHECKING:
    from swarm.decide.explain import Step
    from swarm.run.folder import Run

EXIT_UNEXPECTED, EXIT_INPUT, EXIT_NOTHING = 1, 2, 3

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Which bodies a mothership's probes can reach, and which plans are worth flying.",
)
_out, _err = Console(), Console(stderr=True)

StudyPath = Annotated[Path, typer.Argument(metavar="STUDY.toml", help="The study file.")]
RunDir = Annotated[Path, typer.Option("--run", metavar="DIR", help="The run folder.")]
Workers = Annotated[int | None, typer.Option("--workers", min=1, help="Processes; default one per core.")]
Scheduler = Annotated[str | None, typer.Option("--scheduler", help="Address of a running Dask scheduler.")]
Seed = Annotated[int | None, typer.Option("--seed", min=0, help="Instead of the study's seed; recorded.")]
Resume = Annotated[
    bool, typer.Option("--resume", help="Go on in a folder that holds results; finished stages are kept.")
]
PlanNumber = Annotated[int, typer.Option("--plan", metavar="ID", help="A number of front.parquet.")]
Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback of an unexpected error.")]


@app.callback(invoke_without_command=True)
def _version(version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False) -> None:
    if version:
        _say(__version__)
        raise typer.Exit


@app.command()
def check(study: StudyPath, debug: Debug = False) -> None:
    """The study as understood: every value with its unit and source."""

    def work() -> None:
        from swarm.study.schema import read_study, require_files, require_supported, study_notes, study_rows

        understood = read_study(study)
        require_supported(understood, file=study)
        require_files(understood, file=study)
        _print_rows(study_rows(understood))
        for note in study_notes(understood):
            typer.echo(f"note: {note}", err=True)

    _guard(work, debug=debug)


@app.command()
def screen(
    study: StudyPath,
    run: RunDir,
    workers: Workers = None,
    scheduler: Scheduler = None,
    seed: Seed = None,
    resume: Resume = False,
    debug: Debug = False,
) -> None:
    """Catalogue and mothership -> opportunities."""

    def work() -> None:
        from swarm.app.pipeline import Options, run_screen
        from swarm.run.progress import telling

        with telling(_err) as teller:
            made = run_screen(study, run, Options(workers, scheduler, seed, resume), teller)
        _print_screen(made)

    _guard(work, debug=debug, folder=run)


@app.command()
def optimize(
    run: RunDir,
    workers: Workers = None,
    scheduler: Scheduler = None,
    seed: Seed = None,
    resume: Resume = False,
    debug: Debug = False,
) -> None:
    """Opportunities -> front."""

    def work() -> None:
        from swarm.app.pipeline import Options, run_optimize
        from swarm.run.progress import telling

        with telling(_err) as teller:
            made = run_optimize(run, Options(workers, scheduler, seed, resume), teller)
        _print_front(made)

    _guard(work, debug=debug, folder=run)


@app.command()
def compare(
    run: RunDir,
    workers: Workers = None,
    scheduler: Scheduler = None,
    resume: Resume = False,
    debug: Debug = False,
) -> None:
    """One front per probe count, and what the next probe is worth."""

    def work() -> None:
        from swarm.app.pipeline import Options, run_compare
        from swarm.run.progress import telling

        with telling(_err) as teller:
            made = run_compare(run, Options(workers, scheduler, None, resume), teller)
        _print_counts(made)

    _guard(work, debug=debug, folder=run)


@app.command()
def sensitivity(
    run: RunDir,
    workers: Workers = None,
    scheduler: Scheduler = None,
    resume: Resume = False,
    debug: Debug = False,
) -> None:
    """What the answer hangs on: one assumption changed at a time, and a 5x5 risk table."""

    def work() -> None:
        from swarm.app.pipeline import Options, run_sensitivity
        from swarm.run.progress import telling

        with telling(_err) as teller:
            made = run_sensitivity(run, Options(workers, scheduler, None, resume), teller)
        _print_sensitivity(made)

    _guard(work, debug=debug, folder=run)


@app.command(name="run")
def run_command(
    study: StudyPath,
    run: RunDir,
    workers: Workers = None,
    scheduler: Scheduler = None,
    seed: Seed = None,
    resume: Resume = False,
    debug: Debug = False,
) -> None:
    """Every stage in order: screen, optimize, refine, handoff, report."""

    def work() -> None:
        from swarm.app.pipeline import Options, run_all
        from swarm.run.progress import telling

        with telling(_err) as teller:
            made = run_all(study, run, Options(workers, scheduler, seed, resume), teller)
        _print_screen(made)
        _print_front(made)
        if made.study.compare.counts:
            _print_counts(made)
        _print_sensitivity(made)
        _print_refined(made)
        _say(f"page: {made.folder / 'report.html'}")

    _guard(work, debug=debug, folder=run)


@app.command()
def refine(
    run: RunDir,
    plan: PlanNumber,
    workers: Workers = None,
    scheduler: Scheduler = None,
    resume: Resume = False,
    debug: Debug = False,
) -> None:
    """A plan -> full-force trajectories that hit their aim points, and what dispersion does to them."""

    def work() -> None:
        from swarm.app.pipeline import Options, run_refine
        from swarm.run.progress import telling

        with telling(_err) as teller:
            made = run_refine(run, plan, Options(workers, scheduler, None, resume), teller)
        _print_refined(made)

    _guard(work, debug=debug, folder=run)


@app.command()
def handoff(
    run: RunDir,
    plan: PlanNumber,
    workers: Workers = None,
    scheduler: Scheduler = None,
    debug: Debug = False,
) -> None:
    """A plan -> messages, ephemerides and tables for other people's tools."""

    def work() -> None:
        from swarm.app.pipeline import Options, run_handoff
        from swarm.run.progress import telling

        with telling(_err) as teller:
            made = run_handoff(run, plan, Options(workers, scheduler, None, False), teller)
        _print_package(made)

    _guard(work, debug=debug, folder=run)


@app.command()
def report(run: RunDir, debug: Debug = False) -> None:
    """Write the page of a run again, from what the folder holds."""

    def work() -> None:
        from swarm.app.pipeline import run_report

        _say(f"page: {run_report(run)}")

    _guard(work, debug=debug, folder=run)


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
        _say(f"page: {address_of(server)} (this machine only; Ctrl-C ends it)")
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
    debug: Debug = False,
) -> None:
    """Why an opportunity, or a plan, is worth what it is worth."""

    def work() -> None:
        from swarm.decide.explain import explain_opportunity, explain_plan
        from swarm.run.folder import Run

        if (opportunity is None) == (plan is None):
            found = "neither" if plan is None else "both"
            raise InputError(
                "one thing is explained at a time", found=found, expected="--opportunity N or --plan N"
            )
        opened = Run.open(run)
        if opportunity is not None:
            _print_steps(explain_opportunity(opened, opportunity))
        elif plan is not None:
            _print_steps(explain_plan(opened, plan))

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
        from swarm.app.pipeline import Options
        from swarm.run.progress import telling

        with telling(_err) as teller:
            outcomes = run_batch(variations, into, Options(workers, scheduler, seed, resume), teller)
        for outcome in outcomes:
            _say(f"{outcome.name}: {outcome.status}{f': {outcome.reason}' if outcome.reason else ''}")
        if any(outcome.status != "done" for outcome in outcomes):
            raise typer.Exit(EXIT_UNEXPECTED)

    _guard(work, debug=debug)


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
    debug: Debug = False,
) -> None:
    """What changed between runs, in assumptions and in answers."""

    def work() -> None:
        from swarm.app.compare_runs import ask, compare_runs, lines, schema_lines

        if schema:
            for line in schema_lines(runs):
                _say(line)
        elif sql is not None:
            answer = ask(runs, sql)
            _say("\t".join(answer.column_names))
            for row in zip(*(column.to_pylist() for column in answer.columns), strict=True):
                _say("\t".join(str(cell) for cell in row))
        else:
            for line in lines(compare_runs(runs)):
                _say(line)

    _guard(work, debug=debug)


# --- what is printed ----------------------------------------------------------------------------------------


def _say(text: str) -> None:
    typer.echo(text)


def _print_steps(steps: list[Step]) -> None:
    from swarm.decide.explain import as_text

    if not _out.is_terminal:
        for line in as_text(steps):
            _say(line)
        return
    for step in steps:
        _out.print(_plain_cell(step.title), style="bold")
        shown = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1))
        for label, said in step.lines:
            shown.add_row(_plain_cell(f"  {label}"), _plain_cell(said))
        _out.print(shown)


def _print_rows(rows: list[tuple[str, str, str, str]]) -> None:
    if not _out.is_terminal:
        for row in rows:
            _say("\t".join(row))
        return
    shown = Table("key", "value", "unit", "source", box=None, pad_edge=False)
    for row in rows:
        shown.add_row(*(_plain_cell(cell) for cell in row))
    _out.print(shown)


def _plain_cell(text: str) -> Any:
    from rich.text import Text

    return Text(text)


def _print_screen(run: Run) -> None:
    notes = run.manifest["notes"]
    rejected = run.manifest["rejected_rows"]
    _say(f"bodies: {notes['catalogue']['bodies']} read, {sum(rejected.values())} rows not taken")
    for reason, count in sorted(rejected.items()):
        _say(f"  {count:>6}  {reason}")
    for step, count in notes.get("survivors", {}).items():
        shown = f"{count:.1f}" if isinstance(count, float) else str(count)
        words = step.removesuffix("_m_s").replace("_", " ")
        _say(f"  {shown:>8}  {words}{', m/s' if step.endswith('_m_s') else ''}")
    for text in run.manifest["warnings"]:
        _say(f"warning: {text}")


def _print_costs(costs: list[dict[str, Any]]) -> None:
    """What the front would gain without each constraint, by a short search; the rest is named in one line."""
    matter = [
        row for row in costs if row["opportunities"] or row["science"] > 1e-9 or row["hypervolume"] > 1e-9
    ]
    if not costs:
        return
    _say("without one constraint, by a short search:")
    for row in sorted(matter, key=_gain, reverse=True):
        gains = f"hypervolume +{row['hypervolume']:.5f}, most science +{row['science']:.4f}"
        _say(f"  {row['constraint']}: {gains}, {row['opportunities']} more opportunities")
    idle = [row["constraint"] for row in costs if row not in matter]
    if idle:
        _say(f"  nothing gained without: {'; '.join(idle)}")


def _gain(row: dict[str, Any]) -> float:
    return float(row["hypervolume"])


def _print_front(run: Run) -> None:
    summary = run.manifest["notes"]["summary"]
    _say(f"in reach: {summary['targets']} targets, {summary['opportunities']} opportunities")
    for limit, count in summary["removed"].items():
        if not count:
            continue
        _say(f"  {count:>8}  removed by {limit}")
    _say(f"front (chosen by rule: {summary['rule']}):")
    for line in summary["front"]:
        _say(f"  {line}")
    _say(f"  {summary['bound']}")
    _say(f"what plan {summary['plan']} may come to:")
    for line in summary["levels"]:
        _say(f"  {line}")
    _print_costs(summary["constraint_costs"])
    _say("what limits it, the tightest first:")
    for line in summary["limits"]:
        _say(f"  {line}")
    _say(
        "what astronomers could help with: observe.csv; why a plan is worth it: swarm explain --run DIR --plan N"
    )
    _say("concept-study figures, not for operations; see the cautions in the README")


def _print_counts(run: Run) -> None:
    _say(f"probe counts (plan of each by rule: {run.study.compare.rule}):")
    for line in run.manifest["notes"]["counts"]:
        _say(f"  {line}")
    _say("recourse of the chosen plan:")
    for line in run.manifest["notes"].get("recourse", []):
        _say(f"  {line}")


def _print_sensitivity(run: Run) -> None:
    noted = run.manifest["notes"].get("sensitivity")
    if noted is None or not run.has("sensitivity"):
        return
    _say(f"what plan {noted['plan']} hangs on, the widest first:")
    for line in noted["lines"]:
        _say(f"  {line}")
    _say("risks in a 5x5 table (likelihood, consequence; bins of the study), the highest first:")
    for row in sorted(run.read_table("risk_table").to_pylist(), key=_severity):
        _say(
            f"  {row['likelihood_bin']} x {row['consequence_bin']}  {row['item']} "
            f"({row['likelihood']:.2g}, {100 * row['consequence']:.0f} % of the science)"
        )


def _severity(row: dict[str, Any]) -> tuple[int, str]:
    return -row["likelihood_bin"] * row["consequence_bin"], row["item"]


def _print_refined(run: Run) -> None:
    noted = run.manifest["notes"].get("refined")
    if noted is None or not run.has("refined"):
        return
    _say(f"plan {noted['plan']} in full force:")
    for row in run.read_table("refined").to_pylist():
        _say(
            f"  probe {row['probe']:>2}: burn {row['burn_m_s']:.3f} m/s ({row['burn_change_m_s']:+.3f}), aim point "
            f"{row['aim_km']:.1f} km, sigma {row['delivery_sigma_km']:.1f} km, dV99 {row['dv99_m_s']:.2f} m/s, "
            f"delivered {row['success']:.3f}"
        )
    for probe, reason in noted["not_refined"].items():
        _say(f"  probe {probe:>2}: not refined: {reason}")
    for text in (*noted["ranking_changes"], *noted["cautions"]):
        _say(f"caution: {text}")
    _print_package(run)


def _print_package(run: Run) -> None:
    noted = run.manifest["notes"].get("handoff")
    if noted is not None and "handoff" in run.manifest["stages"]:
        _say(
            f"package of plan {noted['plan']}: {run.folder / 'handoff'}, {len(noted['files'])} files, read back within "
            f"{noted['read_back_m']:g} m and {noted['read_back_m_s']:g} m/s"
        )
        if noted["not_refined"]:
            _say(f"  not in it, and why (README.txt): probes {', '.join(noted['not_refined'])}")


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
    except Exception as error:
        _fail(_unexpected(error, debug=debug, folder=folder), EXIT_UNEXPECTED)


def _fail(text: str, status: int) -> None:
    typer.echo(text, err=True)
    raise typer.Exit(status)


def _unexpected(error: Exception, *, debug: bool, folder: Path | None) -> str:
    trace = traceback.format_exc()
    said = f"unexpected error: {type(error).__name__}: {error}"
    if debug:
        return f"{trace}\n{said}"
    if folder is not None and (folder / "manifest.json").is_file():
        place = folder / "traceback.txt"
        place.write_text(trace, encoding="utf-8")
        return f"{said}\n  traceback: {place}"
    return f"{said}\n  show the traceback with --debug"


def main() -> None:
    """Entry point of the `swarm` command."""
    logging.captureWarnings(True)
    app()


if __name__ == "__main__":
    main()
