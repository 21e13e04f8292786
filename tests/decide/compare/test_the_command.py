"""`swarm compare` on a study of seconds: its tables, its lines, the same bytes on one worker and on two."""

import shutil

import pytest
from typer.testing import CliRunner

from swarm.app.cli import app
from swarm.decide.recourse import recourse_lines
from swarm.plan.verify import BrokenPlan, Tables, verify
from swarm.run.folder import Run
from swarm.run.tables import made_by
from tests.helpers.batch_of_four import BASE

COUNTS = "\n[compare]\ncounts = [0, 1, 2]\nseeds = 2\nrule = 'most-science'\n"


def run(folder, workers):
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "study.toml").write_text(BASE + COUNTS, encoding="utf-8")
    stages = (["screen", folder / "study.toml"], ["optimize"], ["compare"])
    for stage in stages:
        words = [*stage, "--run", folder / "out", "--workers", workers]
        result = CliRunner().invoke(app, [str(word) for word in words])
        assert result.exit_code == 0, result.stdout + result.stderr
    return folder / "out", result


@pytest.fixture(scope="module")
def one(tmp_path_factory):
    return run(tmp_path_factory.mktemp("one"), 1)


def test_every_table_is_there_and_belongs_to_the_chosen_plan(one):
    made = Run.open(one[0])
    assert [name for name in (made.name for made in made_by("compare")) if not made.has(name)] == []
    chosen = made.manifest["notes"]["summary"]["plan"]
    plan = [row for row in made.read_table("plans").to_pylist() if row["plan"] == chosen]
    left = made.read_table("recourse").to_pylist()
    assert [row["opportunity"] for row in left] == [row["opportunity"] for row in plan]
    assert {row["plan"] for row in left} == {chosen}
    science = made.read_table("front")["science"].to_pylist()[chosen]
    for row in left:
        assert row["science"] == pytest.approx(science, abs=1e-12)
        assert row["science_without"] <= row["science_reassigned"] <= row["science"]
    assert made.manifest["notes"]["verified_count_plans"] == made.read_table("count_fronts").num_rows


def test_what_is_said(one):
    lines = one[1].stdout.splitlines()
    assert any(line.strip().startswith("2 carried (36 kg), 2 flown: science 0.") for line in lines)
    told = recourse_lines(Run.open(one[0]).read_table("recourse"))
    assert len(told) == 4
    assert [line.strip() for line in lines[-4:]] == told


def test_the_same_bytes_on_two_workers(one, tmp_path):
    two = tmp_path / "two"
    shutil.copytree(one[0], two)
    for name in (made.name for made in made_by("compare")):
        (two / f"{name}.parquet").unlink()
    result = CliRunner().invoke(app, ["compare", "--run", str(two), "--workers", "2"])
    assert result.exit_code == 0, result.stdout + result.stderr
    for name in (made.name for made in made_by("compare")):
        assert (two / f"{name}.parquet").read_bytes() == (one[0] / f"{name}.parquet").read_bytes(), name


def test_the_checker_sees_a_count_that_is_exceeded(one):
    made = Run.open(one[0])
    tables = Tables(made.read_table("opportunities"), made.read_table("front"), made.read_table("plans"))
    assert verify(made.study, tables) == tables.front.num_rows
    with pytest.raises(BrokenPlan, match="out of range"):
        verify(made.study, tables, probes=1)
