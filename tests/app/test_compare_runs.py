"""Runs side by side: exactly what differs, what it did, and questions across them."""

import csv
import shutil
from fnmatch import fnmatchcase

import pytest

from swarm.app.compare_runs import answers_of, ask, compare_runs, lines
from swarm.run.folder import Run
from targets.base.errors import InputError


@pytest.fixture(scope="module")
def a_batch(undisturbed, tmp_path_factory):
    """A copy of the batch: figures are drawn beside its runs."""
    folder = tmp_path_factory.mktemp("compared")
    shutil.copytree(undisturbed[0], folder, dirs_exist_ok=True)
    return folder


@pytest.fixture
def two(a_batch):
    folder = a_batch
    return [folder / "out" / "as-it-is", folder / "out" / "weaker"]


def test_two_runs_that_differ_in_one_key_list_exactly_that_key(two):
    found = compare_runs(two)
    assert found.differing.to_pylist() == [
        {"kind": "key", "name": "probe.burn_limit_m_s", "as-it-is": "1200", "weaker": "900"}
    ]


def test_and_the_effect(two):
    found = compare_runs(two)
    first, second = found.answers.to_pylist()
    assert second["targets"] < first["targets"]
    assert second["opportunities"] == Run.open(two[1]).read_table("opportunities").num_rows
    names = [set(Run.open(folder).read_table("opportunities")["target"].to_pylist()) for folder in two]
    assert second["targets_retained"] == len(names[0] & names[1]) / len(names[0]) < 1.0
    assert (first["targets_retained"], first["plan_targets_kept"]) == (1.0, 1.0)
    for row, folder in zip((first, second), two, strict=True):
        run = Run.open(folder)
        plan = run.manifest["notes"]["summary"]["plan"]
        assert row["plan"] == plan
        assert row["science"] == run.read_table("front")["science"].to_pylist()[plan]


def test_the_hypervolumes_have_one_reference_point(a_batch):
    # set by the fullest tanks among the runs: a smaller swarm beside changes nothing, a larger one does
    folder = a_batch
    runs = {name: Run.open(folder / "out" / name) for name in ("as-it-is", "weaker")}
    together = answers_of(runs)["hypervolume"].to_pylist()
    assert answers_of({"as-it-is": runs["as-it-is"]})["hypervolume"][0].as_py() == together[0]
    assert answers_of({"weaker": runs["weaker"]})["hypervolume"][0].as_py() != together[1]


def test_a_run_beside_its_like_differs_in_nothing(a_batch, swarm, tmp_path):
    folder = a_batch
    again = tmp_path / "again"
    study = folder / "out" / "studies" / "as-it-is.toml"
    assert swarm("run", study, "--run", again, "--workers", "1").exit_code == 0
    found = compare_runs([folder / "out" / "as-it-is", again])
    assert found.differing.num_rows == 0
    first, second = found.answers.to_pylist()
    assert {**second, "run": ""} == {**first, "run": ""}


def test_a_version_and_a_hash_that_differ_are_listed(two, monkeypatch):
    opened = Run.open

    def other(folder):
        run = opened(folder)
        if str(folder).endswith("weaker"):
            run.manifest["libraries"]["numpy"] = "0.0"
            run.manifest["inputs"]["catalogue"] = "abc"
        return run

    monkeypatch.setattr(Run, "open", staticmethod(other))
    kinds = {(row["kind"], row["name"]) for row in compare_runs(two).differing.to_pylist()}
    assert kinds == {("key", "probe.burn_limit_m_s"), ("input", "catalogue"), ("version", "numpy")}


def test_the_command_says_it(two, swarm):
    result = swarm("compare-runs", *two)
    assert result.exit_code == 0
    *said, drawn = result.stdout.splitlines()
    assert said == lines(compare_runs(two))
    assert drawn == f"fronts on one figure: {two[0].parent / 'fronts-compared.png'}"
    assert "key probe.burn_limit_m_s: as-it-is: 1200, weaker: 900" in result.stdout


def test_questions_in_sql_over_all_runs(two, swarm):
    answer = ask(two, "select run, count(*) as plans from front group by run order by run").to_pylist()
    assert [row["run"] for row in answer] == ["as-it-is", "weaker"]
    assert [row["plans"] for row in answer] == [
        Run.open(folder).read_table("front").num_rows for folder in two
    ]
    joined = """select s.value, max(f.science) from front f join settings s using (run)
                where s.key = 'probe.burn_limit_m_s' group by s.value order by 1"""
    assert ask(two, joined).num_rows == 2
    result = swarm(
        "compare-runs", *two, "--sql", "select count(*) as n from settings where key = 'study.seed'"
    )
    assert result.stdout.split() == ["n", "2"]


def test_the_schema_is_that_of_the_tables(two, swarm):
    first, *lines = swarm("compare-runs", *two, "--schema").stdout.splitlines()
    assert "first column run" in first
    told: dict[str, list[str]] = {}
    for line in lines:
        if line.startswith(" "):
            told[list(told)[-1]].append(line.split()[0])
        elif line:
            told[line.split(".parquet")[0].split(" ")[0]] = []
    assert {"front", "plans", "opportunities", "settings"} <= set(told)
    for name in ("front", "plans", "settings"):
        column, *others = ask(two, f"select * from {name} limit 1").column_names
        assert column == "run"
        assert all(any(fnmatchcase(other, pattern) for pattern in told[name]) for other in others)


def test_what_cannot_be_compared_is_said(two, tmp_path, swarm):
    with pytest.raises(InputError, match="two or more"):
        compare_runs(two[:1])
    with pytest.raises(InputError, match="twice"):
        compare_runs([two[0], two[0]])
    assert swarm("compare-runs", two[0], tmp_path).exit_code == 2
    assert swarm("compare-runs", *two, "--sql", "select nothing from nowhere").exit_code == 2


def test_what_is_no_run_is_left_out_and_named(two, tmp_path, swarm):
    result = swarm("compare-runs", *two, two[0].parent / "studies", "--figure", tmp_path / "both.png")
    assert result.exit_code == 0, result.stderr
    assert result.stdout.splitlines()[0] == "left out: studies is no run folder"
    assert (tmp_path / "both.png").read_bytes()[:4] == b"\x89PNG"
    rows = list(csv.DictReader((tmp_path / "both.csv").read_text(encoding="utf-8").splitlines()))
    for folder in two:
        science = [float(row["science"]) for row in rows if row["run"] == folder.name]
        assert science == Run.open(folder).read_table("front")["science"].to_pylist()


def test_a_batch_is_ranked_by_the_science_of_its_chosen_plans(undisturbed):
    folder, result = undisturbed
    rows = list(csv.DictReader((folder / "out" / "ranking.csv").read_text(encoding="utf-8").splitlines()))
    science = {}
    for name in ("as-it-is", "weaker", "heavier-row", "elsewhere"):
        run = Run.open(folder / "out" / name)
        plan = run.manifest["notes"]["summary"]["plan"]
        science[name] = run.read_table("front")["science"].to_pylist()[plan]
    assert [float(row["science"]) for row in rows] == sorted(science.values(), reverse=True)
    assert {row["run"]: float(row["science"]) for row in rows} == science
    assert (folder / "out" / "fronts.svg").is_file()
    assert f"ranking: {folder / 'out' / 'ranking.csv'}" in result.stdout
