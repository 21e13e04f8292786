"""Exit 2, one clear message, no traceback, no run folder; exit 3 names the limit that emptied the list."""

import gzip
import json
import subprocess
import sys

import pytest

from tests.helpers.places import ROOT

BELT = 'format = "invented"\nbodies = 3000'
ROW = {
    "Principal_desig": "2031 QX1", "Epoch": 2461000.5, "a": 2.5, "e": 0.1, "i": 3.0, "Node": 10.0,
    "Peri": 20.0, "M": 30.0, "H": 16.0, "G": 0.15, "U": "0",
}  # fmt: skip


def refused(result, *said):
    """One message on standard error, nothing that looks like a traceback."""
    assert result.exit_code == 2, result.stderr
    for text in said:
        assert text in result.stderr
    assert "Traceback" not in result.stdout + result.stderr
    assert "traceback" not in result.stderr
    messages = [line for line in result.stderr.splitlines() if line and not line.startswith("  ")]
    assert len([line for line in messages if not line.startswith("reading the catalogue")]) == 1


@pytest.fixture
def catalogue_study(tmp_path, tiny):
    def write(file, content=None):
        if content is not None:
            (tmp_path / file).write_bytes(content)
        return tiny((BELT, f'format = "mpc-json"\nfile = "{file}"'))

    return write


def test_a_missing_study(swarm, tmp_path):
    result = swarm("run", tmp_path / "none.toml", "--run", tmp_path / "out")
    refused(result, "none.toml", "not there")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("wet_mass_kg = 12.0", "wet_mass_kg = 12.0\nwet_mass = 3", "probe.wet_mass"),
        ("wet_mass_kg = 12.0", "wet_mass_kg = -12.0", "probe.wet_mass_kg"),
        ("count = 4", "count = ", "line"),
        (BELT, 'format = "invented"\nbodies = 0', "catalogue.bodies"),
        (BELT, 'format = "mpcorb"\nfile = "x.dat"', "x.dat"),
        (BELT, 'format = "mpc-json"\nfile = "none.json"', "none.json"),
        (BELT, 'format = "own"\nfile = "none.parquet"', "none.parquet"),
        ('kind = "elements"', 'kind = "spiral"', "mothership.kind"),
    ],
)
@pytest.mark.parametrize("command", ["run", "screen"])
def test_a_study_that_cannot_be_used(swarm, tiny, tmp_path, command, old, new, said):
    result = swarm(command, tiny((old, new)), "--run", tmp_path / "out", "--workers", 1)
    refused(result, said)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("file", "content"),
    [
        ("truncated.json.gz", gzip.compress(json.dumps([ROW] * 50).encode(), mtime=0)[:-20]),
        ("truncated.json", json.dumps([ROW]).encode()[:-10]),
        ("empty.json", b""),
        ("empty_list.json", b"[]"),
        ("other.json", b'{"a": 1}'),
        ("table.csv", b"name,a,e\nX,1,2\n"),
        ("binary.json", bytes(range(256))),
        ("nothing_taken.json", json.dumps([{**ROW, "e": 1.5}]).encode()),
    ],
)
def test_a_catalogue_that_cannot_be_used(swarm, catalogue_study, tmp_path, file, content):
    result = swarm("run", catalogue_study(file, content), "--run", tmp_path / "out", "--workers", 1)
    refused(result, file)
    assert not (tmp_path / "out").exists()


def test_a_folder_with_results_is_refused(swarm, tiny, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "front.parquet").write_bytes(b"precious")
    refused(swarm("run", tiny(), "--run", tmp_path / "out"), "already holds results", "--resume")
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["front.parquet"]


@pytest.mark.parametrize("command", ["optimize", "report"])
def test_a_folder_without_a_run_is_refused(swarm, tmp_path, command):
    refused(swarm(command, "--run", tmp_path), "no run is in this folder")


def test_a_missing_option_is_bad_input(swarm, tiny):
    result = swarm("run", tiny())
    assert result.exit_code == 2
    assert "--run" in result.stderr


@pytest.mark.parametrize(
    ("old", "new", "limit"),
    [
        ("burn_limit_m_s = 1200.0", "burn_limit_m_s = 0.001", "burn_limit_m_s"),
        ('end = "2032-09-01 TDB"', 'end = "2031-03-20 TDB"', "arc_min_days"),
    ],
)
def test_nothing_feasible_names_the_limit(swarm, tiny, tmp_path, old, new, limit):
    result = swarm("run", tiny((old, new)), "--run", tmp_path / "out", "--workers", 1)
    assert result.exit_code == 3, result.stderr
    assert limit in result.stderr
    assert "Traceback" not in result.stderr
    assert not list((tmp_path / "out").glob("*.parquet"))
    stages = json.loads((tmp_path / "out" / "manifest.json").read_text(encoding="utf-8"))["stages"]
    assert stages["screen"]["status"].startswith("nothing feasible")


def test_the_installed_command_ends_with_the_same_status(tiny, tmp_path):
    study = tiny(("wet_mass_kg = 12.0", "wet_mass_kg = -12.0"))
    command = [sys.executable, "-m", "swarm.app.cli", "run", str(study), "--run", str(tmp_path / "out")]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 2
    assert "probe.wet_mass_kg" in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_an_unexpected_error_is_short_and_its_traceback_is_kept(swarm, tiny, tmp_path, monkeypatch):
    def broken(*arguments, **settings):
        raise ZeroDivisionError("no such luck")

    monkeypatch.setattr("swarm.reach.opportunities.screen_together", broken)
    result = swarm("run", tiny(), "--run", tmp_path / "out", "--workers", 1)
    assert result.exit_code == 1
    assert "unexpected error: ZeroDivisionError: no such luck" in result.stderr
    assert "Traceback" not in result.stderr
    assert "Traceback" in (tmp_path / "out" / "traceback.txt").read_text(encoding="utf-8")
    shown = swarm("run", tiny(), "--run", tmp_path / "out2", "--workers", 1, "--debug")
    assert shown.exit_code == 1
    assert "Traceback" in shown.stderr
