"""The stage in a whole run: its tables, the same bytes in any order of the work, going on, and what is refused."""

import shutil

import pytest
from typer.testing import CliRunner

from swarm.app import pipeline, surface
from swarm.app.cli import app
from swarm.run.folder import Run
from swarm.run.questions import question
from swarm.run.tables import made_by
from tests.helpers.batch_of_four import BASE
from tests.helpers.serial_pool import open_backwards

ASKED = """
[sensitivity]
burn_limit_fraction = 0.25
slips_days = [30, -20]
effort = 1
"""
COLUMNS = [
    "factor", "side", "setting", "science", "propellant_kg", "risk", "science_held", "risk_held",
    "science_change", "risk_change", "targets_retained", "rank_correlation",
]  # fmt: skip


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A run up to its sensitivities, on one worker, and what was printed."""
    folder = tmp_path_factory.mktemp("sensitivity")
    (folder / "study.toml").write_text(BASE + ASKED, encoding="utf-8")
    (folder / "plain.toml").write_text(BASE, encoding="utf-8")
    call = CliRunner().invoke
    for arguments in (
        ["screen", str(folder / "study.toml"), "--run", str(folder / "out"), "--workers", "1"],
        ["optimize", "--run", str(folder / "out"), "--workers", "1"],
        ["sensitivity", "--run", str(folder / "out"), "--workers", "1"],
    ):
        result = call(app, arguments)
        assert result.exit_code == 0, result.stderr
    return folder, result


def test_the_tables_of_the_stage(whole):
    folder, _ = whole
    run = Run.open(folder / "out")
    table = run.read_table("sensitivity")
    assert table.column_names == COLUMNS
    rows = table.to_pylist()
    assert {(row["factor"], row["side"]) for row in rows} >= {
        ("burn limit", "low"), ("burn limit", "high"), ("success of a probe", "low"),
        ("success of a probe", "high"), ("shared failures", "low"), ("shared failures", "high"),
        ("weight of large", "low"), ("weight of dark", "high"), ("mothership schedule, 30 d", "high"),
        ("mothership schedule, 20 d", "low"), ("a target left out", "out"), ("nothing changed", "out"),
    }  # fmt: skip
    base = rows[-1]
    by = {(row["factor"], row["side"]): row for row in rows}
    assert by["burn limit", "high"]["science"] >= base["science"] - 1e-12
    assert by["burn limit", "low"]["science"] <= base["science"] + 1e-12
    assert by["burn limit", "high"]["setting"] == "1500 m/s"
    # the burns of the plan lead from a path on which a late mothership is not
    assert by["mothership schedule, 30 d", "high"]["science_held"] == 0.0
    assert by["mothership schedule, 30 d", "high"]["science"] > 0.0
    assert (
        by["mothership schedule, 30 d", "high"]["science"]
        != by["mothership schedule, 20 d", "low"]["science"]
    )
    assert base["science"] >= base["science_held"] - 1e-12
    plan = run.manifest["notes"]["sensitivity"]["plan"]
    flown = sum(row["plan"] == plan for row in run.read_table("plans").to_pylist())
    assert run.read_table("left_out").column_names == [
        "target", "science_held", "science_replanned", "science_change",
    ]  # fmt: skip
    assert run.read_table("left_out").num_rows == flown
    risks = run.read_table("risk_table")
    assert risks.column_names == [
        "item", "cause", "likelihood", "consequence", "likelihood_bin", "consequence_bin", "source",
    ]  # fmt: skip
    assert {row["item"].split(":")[0] for row in risks.to_pylist()} >= {
        "a probe fails", "a shared defect", "the mothership's schedule slips", "burns are weaker",
        "a target is not where it should be", "data do not come home",
    }  # fmt: skip
    assert all(
        1 <= row[f"{name}_bin"] <= 5 for row in risks.to_pylist() for name in ("likelihood", "consequence")
    )


def test_the_tornado_is_printed(whole):
    _, result = whole
    for text in (
        "depends on, the widest first",
        "mothership schedule, 30 d",
        "same plan",
        "5x5 table",
        "|",
    ):
        assert text in result.stdout


def test_the_same_bytes_in_any_order_of_the_work(whole, swarm, monkeypatch):
    monkeypatch.setattr(pipeline, "open_workers", open_backwards)
    folder, _ = whole
    shutil.copytree(folder / "out", folder / "two")
    for name in (made.name for made in made_by("sensitivity")):
        (folder / "two" / f"{name}.parquet").unlink()
    result = swarm("sensitivity", "--run", folder / "two", "--workers", 2)
    assert result.exit_code == 0, result.stderr
    for name in (made.name for made in made_by("sensitivity")):
        assert (folder / "two" / f"{name}.parquet").read_bytes() == (
            folder / "out" / f"{name}.parquet"
        ).read_bytes()


def test_a_second_time_is_refused_and_resuming_keeps_it(whole, swarm):
    folder, _ = whole
    again = swarm("sensitivity", "--run", folder / "out", "--workers", 1)
    assert again.exit_code == 2
    assert "already holds results" in again.stderr
    kept = swarm("sensitivity", "--run", folder / "out", "--workers", 1, "--resume")
    assert kept.exit_code == 0
    assert "done before, kept" in kept.stderr


def test_new_plans_take_the_sensitivities_of_the_old_ones_away(whole, swarm):
    folder, _ = whole
    shutil.copytree(folder / "out", folder / "searched-again")
    result = swarm("optimize", "--run", folder / "searched-again", "--workers", 1, "--seed", 99, "--resume")
    assert result.exit_code == 0, result.stderr
    assert not any(
        Run.open(folder / "searched-again").has(name)
        for name in (made.name for made in made_by("sensitivity"))
    )


def test_from_python_it_is_the_same(whole):
    folder, _ = whole
    shutil.copytree(folder / "out", folder / "python")
    for name in (made.name for made in made_by("sensitivity")):
        (folder / "python" / f"{name}.parquet").unlink()
    run = surface.sensitivity(folder / "python")
    for name in (made.name for made in made_by("sensitivity")):
        assert run.table(name).equals(Run.open(folder / "out").read_table(name))


def test_a_list_of_visited_bodies_that_has_changed_is_refused(tmp_path, swarm):
    text = (BASE + ASKED).replace("bodies = 2000", 'bodies = 2000\nvisited = "seen.txt"')
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    (tmp_path / "seen.txt").write_text("INV-0000001\n", encoding="utf-8")
    for arguments in (("screen", tmp_path / "study.toml"), ("optimize",)):
        assert swarm(*arguments, "--run", tmp_path / "out", "--workers", 1).exit_code == 0
    (tmp_path / "seen.txt").write_text("INV-0000002\n", encoding="utf-8")
    result = swarm("sensitivity", "--run", tmp_path / "out", "--workers", 1)
    assert result.exit_code == 2
    assert "not what the run was made from" in result.stderr
    assert "catalogue.visited" in result.stderr


def test_a_study_without_the_section_is_refused(whole, swarm):
    folder, _ = whole
    assert swarm("screen", folder / "plain.toml", "--run", folder / "plain", "--workers", 1).exit_code == 0
    result = swarm("sensitivity", "--run", folder / "plain", "--workers", 1)
    assert result.exit_code == 2
    assert "[sensitivity]" in result.stderr


def test_a_file_shifted_by_days_is_refused_by_the_command_line(tmp_path, swarm):
    elements = BASE[BASE.index("[mothership]") : BASE.index("[probe]")]
    text = BASE.replace(elements, '[mothership]\nkind = "oem"\nfile = "mothership.oem"\n')
    (tmp_path / "study.toml").write_text(text + "\n[sensitivity]\nslips_days = [30]\n", encoding="utf-8")
    result = swarm("check", tmp_path / "study.toml")
    assert result.exit_code == 2
    assert "not shifted in time" in result.stderr
    assert "slip_files" in result.stderr


def test_every_key_has_a_unit_and_a_source(whole, swarm):
    folder, _ = whole
    said = [line.split("\t") for line in swarm("check", folder / "study.toml", "--all").stdout.splitlines()]
    mine = {line[0].removeprefix("sensitivity."): line for line in said if line[0].startswith("sensitivity.")}
    assert mine["slips_days"][1:] == ["[30, -20]", "d", "study file"]
    assert mine["likelihood_slip"][3] == "to be set by the project"
    assert "NASA/SP-2011-3422" in mine["likelihood_bins"][3]
    plain = swarm("check", folder / "plain.toml", "--all").stdout
    assert "sensitivity." not in plain


def test_the_tables_can_be_asked_across_runs(whole):
    folder, _ = whole
    answer = question({"a": folder / "out"}, "select run, count(*) as n from risk_table group by run")
    assert answer.to_pylist()[0]["n"] > 4
