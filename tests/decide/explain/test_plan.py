"""Why a plan is worth what it is worth: what each probe adds, the groups, pairs with their break-even, budgets."""

from __future__ import annotations

import re

import numpy as np
import pytest
from typer.testing import CliRunner

from swarm.app.cli import app
from swarm.decide.explain import Step
from swarm.decide.explain_plan import explain_plan, observing_line
from swarm.plan.judged import chances_from_table
from swarm.plan.measures import plans_matrix
from swarm.plan.objectives import evaluate
from targets.base.errors import InputError
from targets.catalogue.reading import Catalogue
from tests.helpers.flown_as_aimed import plan_data
from tests.helpers.written import write_some


def said(steps: list[Step], title: str) -> dict[str, str]:
    (step,) = [step for step in steps if title in step.title.lower()]
    return dict(step.lines)


@pytest.fixture(scope="module")
def problem(run):
    """The front, its plans as a matrix, and the data of the objectives."""
    table, front = run.read_table("opportunities"), run.read_table("front")
    judged = chances_from_table(run.study, run.read_table("judged"))
    data = plan_data(run.study, table, Catalogue.from_table(run.read_table("targets")), judged=judged)
    return front, plans_matrix(run.read_table("plans"), table, front.num_rows, probes=3), data


def largest(front) -> int:
    return int(np.argmax(front["science"].to_numpy()))


def test_what_each_probe_adds_is_what_is_lost_without_it(run, problem) -> None:
    front, matrix, data = problem
    number = largest(front)
    lines = said(explain_plan(run, number), "what each probe adds")
    plan = matrix[number]
    whole = evaluate([plan], data)[0]
    assert len(lines) == (plan >= 0).sum() > 1
    for k in range(len(lines)):
        without = plan.copy()
        without[k] = -1
        left = evaluate([without], data)[0]
        science, risk = (float(text) for text in re.findall(r"[+-]\d\.\d{4}", lines[f"probe {k}"]))
        assert science == pytest.approx(whole[0] - left[0], abs=1e-4)
        assert risk == pytest.approx(whole[2] - left[2], abs=1e-4)


def test_the_head_gives_the_row_of_the_front(run, problem) -> None:
    front, _, _ = problem
    number = largest(front)
    values = front.to_pylist()[number]
    head = dict(explain_plan(run, number)[0].lines)
    assert head["science"].startswith(f"{values['science']:.4f}")
    assert head["P(baseline)"] == f"{values['p_baseline']:.4f}"
    assert f"{1.0 - values['risk']:.4f}" in head["risk"]
    assert f"{values['cvar10_science']:.4f}" in head["worst tenth"]


def test_rows_add_up_to_the_science(run, problem) -> None:
    front, _, _ = problem
    number = largest(front)
    lines = said(explain_plan(run, number), "rows")
    added = [float(re.search(r"adds (\d\.\d{4})", line)[1]) for line in lines.values()]
    assert sum(added) == pytest.approx(front["science"][number].as_py(), abs=2e-4)
    assert "no threshold" in lines['"any, well seen"']


def test_shared_failures_name_their_groups_and_a_sweep(run, problem) -> None:
    lines = said(explain_plan(run, largest(problem[0])), "shared failures")
    assert {"all probes", "first lot"} <= set(lines)
    risks = [
        float(re.search(r"P\(none\) (\S+)", lines[f"were {fraction:g} shared by all"])[1])
        for fraction in (0.0, 0.05, 0.1, 0.2)
    ]
    assert risks == sorted(risks)


def test_a_pair_is_printed_with_its_break_even(run, problem) -> None:
    front, matrix, data = problem
    paired = [
        k for k, plan in enumerate(matrix)
        if len(set(data.target[plan[plan >= 0]])) < (plan >= 0).sum()
    ]  # fmt: skip
    for number in range(front.num_rows):
        titles = [step.title for step in explain_plan(run, number)]
        assert any("two probes at one target" in title.lower() for title in titles) is (number in paired)
    assert paired, "the two encounters with the first body are worth more than the others"
    for line in said(explain_plan(run, paired[0]), "two probes at one target").values():
        assert "Break-even: the target must be worth" in line


def test_the_list_for_astronomers_is_in_it(run, problem) -> None:
    front, matrix, data = problem
    number = largest(front)
    lines = said(explain_plan(run, number), "astronomers")
    visited = {f"X{target}" for target in data.target[matrix[number][matrix[number] >= 0]]}
    assert set(lines) == visited


def test_a_line_of_the_list_in_words() -> None:
    row = {
        "class": "", "sigma_km": 9000.0, "sigma_improved_km": 400.0, "success": 0.2, "success_improved": 0.5,
        "science_gained_orbit": 0.03, "science_gained_class": 0.01, "days_seen": 80.0,
        "first_seen_jd_tdb": 2463000.5, "last_seen_jd_tdb": 2463080.5, "brightest_jd_tdb": 2463040.5,
        "brightest_mag": 19.5,
    }  # fmt: skip
    line = observing_line(row)
    assert "9000 -> 400 km, success 0.200 -> 0.500, science +0.0300" in line
    assert "colours: science +0.0100" in line
    assert "80 d between" in line
    assert "best V 19.5" in line
    never = observing_line({**row, "class": "S", "brightest_mag": float("nan"), "sigma_improved_km": 9000.0})
    assert "never within the limits" in never
    assert "colours" not in never
    assert "as well as the uncertainty U can say" in never


def test_the_empty_plan_can_be_explained(run, problem) -> None:
    front, _, _ = problem
    empty = int(np.flatnonzero(front["probes"].to_numpy() == 0)[0])
    assert said(explain_plan(run, empty), "1 probes")["none"] == "nothing flies"


def test_an_unknown_plan_is_answered_with_the_range(run, problem) -> None:
    with pytest.raises(InputError, match=rf"among 0 to {problem[0].num_rows - 1}"):
        explain_plan(run, 10_000)


# --- the command ----------------------------------------------------------------------------------------------


def call(run, *arguments: str):
    return CliRunner().invoke(app, ["explain", "--run", str(run.folder), *arguments])


def test_the_command_prints_either(run) -> None:
    one, plan = call(run, "--opportunity", "100"), call(run, "--plan", "0")
    assert (one.exit_code, plan.exit_code) == (0, 0)
    assert one.stdout.startswith("Opportunity 100")
    assert plan.stdout.startswith("Plan 0")
    assert "not for operations" in one.stdout
    assert "not for operations" in plan.stdout


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((), "finish it with: swarm run --resume"),
        (("--plan", "0", "--opportunity", "100"), "found:    more than one"),
        (("--opportunity", "5"), "100 to 104"),
        (("--plan", "-1"), "a number among 0 to"),
    ],
)
def test_bad_requests_are_bad_input(run, arguments: tuple[str, ...], message: str) -> None:
    result = call(run, *arguments)
    assert result.exit_code == 2
    assert message in result.stderr


def test_a_run_without_judgement_says_what_is_missing(run, tmp_path) -> None:
    from swarm.run.folder import Run

    made = Run.create(tmp_path / "bare", run.folder / "study.toml")
    write_some(made, "opportunities", run.read_table("opportunities"))
    result = call(made, "--opportunity", "100")
    assert result.exit_code == 2
    assert "judged.parquet" in result.stderr
