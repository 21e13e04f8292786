"""What commands print: facts of the manifest and tables of the run, put into sentences when they are printed."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from swarm.decide.explain import Step
    from swarm.run.folder import Run

_out = Console()


def say(text: str) -> None:
    typer.echo(text)


def labelled(lines: list[tuple[str, str]]) -> None:
    """Lines of a label and a sentence; on a terminal a long sentence goes on under its own beginning."""
    if not _out.is_terminal:
        width = max(len(label) for label, _ in lines)
        for label, text in lines:
            say(f"{label:<{width}}  {text}")
        return
    shown = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1))
    for label, text in lines:
        shown.add_row(Text(label, style="bold"), _plain_cell(text))
    _out.print(shown)


def explanation(steps: list[Step]) -> None:
    from swarm.decide.explain import as_text

    if not _out.is_terminal:
        for line in as_text(steps):
            say(line)
        return
    for step in steps:
        _out.print(_plain_cell(step.title), style="bold")
        shown = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1))
        for label, said in step.lines:
            shown.add_row(_plain_cell(f"  {label}"), _plain_cell(said))
        _out.print(shown)


def study(rows: list[tuple[str, str, str, str]]) -> None:
    if not _out.is_terminal:
        for row in rows:
            say("\t".join(row))
        return
    shown = Table("key", "value", "unit", "source", box=None, pad_edge=False)
    for row in rows:
        shown.add_row(*(_plain_cell(cell) for cell in row))
    _out.print(shown)


def _plain_cell(text: str) -> Text:
    return Text(text)


def screen(run: Run) -> None:
    notes = run.manifest["notes"]
    rejected = run.manifest["rejected_rows"]
    say(f"bodies: {notes['catalogue']['bodies']} read, {sum(rejected.values())} rows not taken")
    for reason, count in sorted(rejected.items()):
        say(f"  {count:>6}  {reason}")
    for step, count in notes.get("survivors", {}).items():
        shown = f"{count:.1f}" if isinstance(count, float) else str(count)
        words = step.removesuffix("_m_s").replace("_", " ")
        say(f"  {shown:>8}  {words}{', m/s' if step.endswith('_m_s') else ''}")
    for text in run.manifest["warnings"]:
        say(f"warning: {text}")


def _print_costs(costs: list[dict[str, Any]]) -> None:
    """What the front would gain without each constraint, by a short search; the rest is named in one line."""
    matter = [
        row for row in costs if row["opportunities"] or row["science"] > 1e-9 or row["hypervolume"] > 1e-9
    ]
    if not costs:
        return
    say("without one constraint, by a short search:")
    for row in sorted(matter, key=_gain, reverse=True):
        gains = f"hypervolume +{row['hypervolume']:.5f}, most science +{row['science']:.4f}"
        say(f"  {row['constraint']}: {gains}, {row['opportunities']} more opportunities")
    idle = [row["constraint"] for row in costs if row not in matter]
    if idle:
        say(f"  nothing gained without: {'; '.join(idle)}")


def _gain(row: dict[str, Any]) -> float:
    return float(row["hypervolume"])


def front(run: Run) -> None:
    from swarm.decide.rests import rests_on_lines
    from swarm.decide.sigma_price import price_lines, sigma_prices
    from swarm.decide.summary import answer_lines, bound_line, front_lines, level_lines, limits

    summary = run.manifest["notes"]["summary"]
    say(f"in reach: {summary['targets']} targets, {summary['opportunities']} opportunities")
    for limit, count in summary["removed"].items():
        if not count:
            continue
        say(f"  {count:>8}  removed by {limit}")
    say(f"front (chosen by rule: {summary['rule']}):")
    if not summary["rule_met"]:
        say("  no plan meets the rule and compare.chance_least: the one that comes closest is chosen")
    table, opportunities, plans = (run.read_table(name) for name in ("front", "opportunities", "plans"))
    for line in front_lines(table, summary["plan"]):
        say(f"  {line}")
    say(f"  {bound_line(run.read_table('bound'), summary['bounded'])}")
    say(f"what plan {summary['plan']} may come to:")
    for line in level_lines(table, summary["plan"]):
        say(f"  {line}")
    say(
        f"  of the encounters it expects to see and send home, {100.0 * summary['low_quality_share']:.0f} % show their "
        "target and hardly more (quality under 0.1)"
    )
    say("what that rests on: defaults the study does not set (the same plan, judged again):")
    for line in rests_on_lines(run.read_table("rests_on")):
        say(f"  {line}")
    prices = price_lines(sigma_prices(run.study, opportunities, plans))
    if prices:
        say("what one sigma of the counter costs, of what the front flies:")
    for line in prices:
        say(f"  {line}")
    _print_costs(summary["constraint_costs"])
    say("what limits it, the tightest first:")
    for line in limits(run.study, opportunities, table, plans):
        say(f"  {line}")
    say("in words:")
    for line in answer_lines(run.study, table, plans, opportunities, chosen=summary["plan"]):
        say(f"  {line}")
    say(
        "what astronomers could help with: observe.csv; why a plan is worth it: swarm explain --run DIR --plan N"
    )
    say("concept-study figures, not for operations; see the cautions in the README")


def counts(run: Run) -> None:
    from swarm.decide.counts import count_lines
    from swarm.decide.recourse import recourse_lines

    if not run.has("counts"):
        return
    say(f"probe counts (plan of each by rule: {run.study.compare.rule}):")
    for line in count_lines(run.read_table("counts"), run.study):
        say(f"  {line}")
    say("recourse of the chosen plan:")
    for line in recourse_lines(run.read_table("recourse")):
        say(f"  {line}")


def sensitivity(run: Run) -> None:
    from swarm.decide.sensitivity import tornado_lines

    noted = run.manifest["notes"].get("sensitivity")
    if noted is None or not run.has("sensitivity"):
        return
    say(f"what plan {noted['plan']} depends on, the widest first:")
    for line in tornado_lines(run.read_table("sensitivity")):
        say(f"  {line}")
    say("risks in a 5x5 table (likelihood, consequence; bins of the study), the highest first:")
    for row in sorted(run.read_table("risk_table").to_pylist(), key=_severity):
        say(
            f"  {row['likelihood_bin']} x {row['consequence_bin']}  {row['item']} "
            f"({row['likelihood']:.2g}, {100 * row['consequence']:.0f} % of the science)"
        )


def _severity(row: dict[str, Any]) -> tuple[int, str]:
    return -row["likelihood_bin"] * row["consequence_bin"], row["item"]


def refined(run: Run) -> None:
    noted = run.manifest["notes"].get("refined")
    if noted is None or not run.has("refined"):
        return
    import pyarrow as pa

    from swarm.refine.duties import mothership_duties

    table = run.read_table("refined")
    say(f"plan {noted['plan']} under all forces:")
    for row in table.to_pylist():
        say(
            f"  probe {row['probe']:>2}: burn {row['burn_m_s']:.3f} m/s ({row['burn_change_m_s']:+.3f}), aim point "
            f"{row['aim_km']:.1f} km, sigma {row['delivery_sigma_km']:.1f} km, dV99 {row['dv99_m_s']:.2f} m/s, "
            f"corrections affordable {row['success']:.3f}"
        )
    if run.has("dispersed_passes"):
        from swarm.refine.passes_dispersed import spread_lines

        for line in spread_lines(run.read_table("dispersed_passes")):
            say(f"  {line}")
    if run.has("flown_orbits"):
        from swarm.refine.orbits_flown import orbit_lines

        for line in orbit_lines(run.read_table("flown_orbits")):
            say(f"  {line}")
    recoil = run.read_table("recoil") if run.has("recoil") else pa.table({})
    say(f"  {mothership_duties(run.study, table, recoil, run.read_table('judged'))}")
    for probe, reason in noted["not_refined"].items():
        say(f"  probe {probe:>2}: not refined: {reason}")
    for text in (*noted["ranking_changes"], *noted["cautions"]):
        say(f"caution: {text}")


def package(run: Run) -> None:
    noted = run.manifest["notes"].get("handoff")
    if noted is not None and "handoff" in run.manifest["stages"]:
        say(
            f"package of plan {noted['plan']}: {run.folder / 'handoff'}, {len(noted['files'])} files, read back within "
            f"{noted['read_back_m']:g} m and {noted['read_back_m_s']:g} m/s"
        )
        if noted["not_refined"]:
            say(f"  not in it, and why (README.txt): probes {', '.join(noted['not_refined'])}")


def page(run: Run) -> None:
    say(f"page: {run.folder / 'report.html'}")


def judged(run: Run) -> None:
    """How many opportunities may bring data home."""
    table = run.read_table("judged", whole=False)
    returned = table["chance_returned"].to_numpy() > 0.5
    say(
        f"judged: {table.num_rows} opportunities, {int(returned.sum())} with a chance above 0.5 that data come home"
    )


def account(run: Run) -> None:
    from swarm.decide.account.said import account_lines

    if "account" not in run.manifest["notes"] or not run.has("outcomes"):
        return
    say(f"plan {run.manifest['notes']['account']['plan']} in a spreadsheet:")
    for line in account_lines(run):
        say(f"  {line}")


def nothing(run: Run) -> None:
    """A stage that has nothing to say."""


# What is printed after a stage, by its name.
AFTER: dict[str, Callable[[Run], None]] = {
    "screen": screen,
    "judge": judged,
    "optimize": front,
    "compare": counts,
    "account": account,
    "sensitivity": sensitivity,
    "refine": refined,
    "handoff": package,
    "report": page,
}


def _found_by_screen(run: Run) -> str:
    notes = run.manifest["notes"]
    names = run.read_table("opportunities", whole=False)["target"]
    return (
        f"{len(names.unique())} of {notes['catalogue']['bodies']} bodies in reach, {len(names)} opportunities"
    )


def _found_by_optimize(run: Run) -> str:
    summary = run.manifest["notes"]["summary"]
    front = run.read_table("front")
    row = next(row for row in front.to_pylist() if row["plan"] == summary["plan"])
    return (
        f"{front.num_rows} plans; {summary['rule']} chooses plan {row['plan']}: {row['probes']} probes, "
        f"{100 * row['science']:.0f} % of the science, risk {100 * row['risk']:.0f} %"
    )


def _found_by_handoff(run: Run) -> str:
    noted = run.manifest["notes"]["handoff"]
    return f"{len(noted['files'])} files in {run.folder / 'handoff'}, read back"


# What is said of a stage in one line when it is done; of others that they are.
_FOUND: dict[str, Callable[[Run], str]] = {
    "screen": _found_by_screen,
    "optimize": _found_by_optimize,
    "handoff": _found_by_handoff,
}


class AsItComes:
    """What `swarm run` prints: a line a stage while it runs, then the answer in eight lines, then what to beware of.

    say        : takes the lines about stages (standard error)
    everything : each stage is printed in full when it is done
    """

    def __init__(self, say: Callable[[str], None], *, everything: bool = False) -> None:
        self._say, self._everything = say, everything
        self._warned = 0
        self._run: Run | None = None

    def __call__(self, stage: str, run: Run) -> None:
        self._run = run
        if self._everything:
            AFTER.get(stage, nothing)(run)
            if stage == "screen":  # its lines end with the warnings there are
                self._warned = len(run.manifest["warnings"])
            self.warnings()
        elif stage in _FOUND:
            self._say(f"{stage}: {_FOUND[stage](run)}")

    def warnings(self) -> None:
        """Each warning that was not printed yet; also where a later stage failed."""
        if self._run is None:
            return
        warnings = self._run.manifest["warnings"]
        for text in warnings[self._warned :]:
            say(f"warning: {text}")
        self._warned = len(warnings)


def answer(run: Run) -> None:
    """The eight lines, what refinement warns of, and what such figures are good for."""
    from swarm.decide.headline import headline

    if not run.has("front"):
        return
    labelled(headline(run))
    noted = run.manifest["notes"].get("refined")
    for text in (*noted["ranking_changes"], *noted["cautions"]) if noted and run.has("refined") else ():
        say(f"caution: {text}")
    say("Concept-study figures, not for operations; see the cautions in the README.")


def everything(run: Run) -> None:
    """Every stage of a run in full, as `swarm run --all` prints it."""
    for stage in AFTER:
        if run.manifest["stages"].get(stage, {}).get("status") == "done":
            AFTER[stage](run)


def left_over(stages: tuple[str, ...], command: str) -> None:
    """What was not run, and how to go on."""
    say(f"not run yet: {', '.join(stages)}; go on with: {command}")
