"""A batch runs each variation as it would run alone, and goes on after any kill to the same bytes."""

import json
import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest

from swarm.app.batch import read_variations
from swarm.run.folder import Run
from swarm.study.schema import read_study
from targets.base.errors import InputError
from tests.helpers.batch_of_four import FOUR, contents, write


def test_each_variation_has_a_run_folder(undisturbed):
    folder, result = undisturbed
    for name in ("as-it-is", "weaker", "heavier-row", "elsewhere"):
        run = Run.open(folder / "out" / name)
        assert {stage["status"] for stage in run.manifest["stages"].values()} == {"done"}
        assert (folder / "out" / name / "report.html").is_file()
        assert f"{name}: done" in result.stdout
    outcomes = json.loads((folder / "out" / "batch.json").read_text(encoding="utf-8"))["outcomes"]
    assert {entry["status"] for entry in outcomes.values()} == {"done"}


def test_what_shares_catalogue_and_dates_is_swept_once(undisturbed):
    _, result = undisturbed
    assert "4 variations share a catalogue and dates" in result.stderr
    assert result.stderr.count("reading the catalogue") == 1


def test_a_variation_is_the_run_of_its_study_alone(undisturbed, swarm, tmp_path):
    folder, _ = undisturbed
    study = write(tmp_path, FOUR).with_name("study.toml")
    text = study.read_text(encoding="utf-8")
    study.write_text(text.replace("burn_limit_m_s = 1200.0", "burn_limit_m_s = 900.0"), encoding="utf-8")
    assert swarm("run", study, "--run", tmp_path / "alone", "--workers", "1").exit_code == 0
    alone, inside = contents(tmp_path / "alone"), contents(folder / "out" / "weaker")
    tables = [name for name in alone if name.endswith(".parquet")]
    assert len(tables) > 5
    assert {name: alone[name] for name in tables} == {name: inside[name] for name in tables}
    base = contents(folder / "out" / "as-it-is")
    assert base["opportunities.parquet"] != alone["opportunities.parquet"]


def killed_and_resumed(path, into, *, kills, seed, longest_s):
    """Run a batch in processes of its own, killed at random moments, then to its end; how many were killed."""
    rng = np.random.default_rng(seed)
    command = [
        sys.executable,
        "-m",
        "swarm.app.cli",
        "batch",
        str(path),
        "--into",
        str(into),
        "--workers",
        "1",
    ]
    killed = 0
    for _ in range(kills):
        resume = ["--resume"] if (into / "batch.json").is_file() else []
        started = subprocess.Popen(
            command + resume, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=os.environ.copy()
        )
        # from the moment the batch has begun to write
        while not (into / "batch.json").is_file() and started.poll() is None:
            time.sleep(0.05)
        time.sleep(rng.uniform(0.5, longest_s))
        if started.poll() is None:
            started.send_signal(signal.SIGKILL)
            killed += 1
        started.wait()
    last = subprocess.run([*command, "--resume"], capture_output=True, text=True, check=False)
    assert last.returncode == 0, last.stderr
    return killed


def test_killed_twice_and_resumed_it_leaves_the_same_bytes(undisturbed, tmp_path):
    folder, _ = undisturbed
    path = write(tmp_path, FOUR)
    killed = killed_and_resumed(path, tmp_path / "out", kills=2, seed=1, longest_s=6.0)
    assert killed >= 1
    assert contents(tmp_path / "out") == contents(folder / "out")


@pytest.mark.slow
def test_a_batch_of_24_killed_three_times_leaves_the_same_bytes(swarm, tmp_path):
    many = """
    base = "study.toml"
    [grid]
    "probe.burn_limit_m_s" = [900.0, 1000.0, 1200.0]
    "probe.count" = [1, 2]
    "mothership.mean_anomaly_deg" = [15.0, 25.0]
    "survival.shared_fraction" = [0.0, 0.2]
    """
    whole = write(tmp_path / "whole", many)
    assert swarm("batch", whole, "--into", tmp_path / "whole/out", "--workers", "1").exit_code == 0
    path = write(tmp_path / "killed", many)
    assert killed_and_resumed(path, tmp_path / "killed/out", kills=3, seed=2, longest_s=40.0) >= 2
    found = contents(tmp_path / "killed/out")
    assert found == contents(tmp_path / "whole/out")
    assert sum(name.endswith("front.parquet") for name in found) == 24


def test_a_variation_that_fails_is_reported_and_the_rest_finished(swarm, tmp_path):
    path = write(
        tmp_path,
        """
        base = "study.toml"
        [[variations]]
        name = "hopeless"
        changes = { "probe.burn_limit_m_s" = 0.001 }
        [[variations]]
        name = "no-file"
        changes = { "catalogue.visited" = "not-there.txt" }
        [[variations]]
        name = "fine"
        """,
    )
    result = swarm("batch", path, "--into", tmp_path / "out", "--workers", "1")
    assert result.exit_code == 1
    assert "hopeless: nothing feasible" in result.stdout
    assert "no-file: bad input" in result.stdout
    assert "fine: done" in result.stdout
    assert Run.open(tmp_path / "out" / "fine").has("front")
    assert not (tmp_path / "out" / "no-file").exists()


# --- what is refused before anything runs -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ('"probe.no_such_key" = 1', "probe.no_such_key"),
        ('"nowhere.at_all" = 1', "nowhere"),
        ('"science.rows[7].weight" = 1.0', "science.rows[7].weight"),
        ('"probe.count" = -1', "probe.count"),
        ('"probe count" = 1', "probe count"),
    ],
)
def test_a_bad_variation_is_refused_before_anything_runs(swarm, tmp_path, changes, named):
    text = f'[[variations]]\nname = "good"\n[[variations]]\nname = "bad"\nchanges = {{ {changes} }}\n'
    path = write(tmp_path, f'base = "study.toml"\n{text}')
    result = swarm("batch", path, "--into", tmp_path / "out")
    assert result.exit_code == 2
    assert named in result.stderr
    assert "variation bad" in result.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no base study"),
        ('base = "study.toml"', "nothing to vary"),
        ('base = "study.toml"\nmore = 1\n[grid]\n"probe.count" = [1]', "unknown key"),
        ('base = "study.toml"\n[grid]\n"probe.count" = 1', "not a list"),
        ('base = "study.toml"\n[[variations]]\nname = "../up"', "not a name"),
        ('base = "study.toml"\n[[variations]]\nname = "a"\n[[variations]]\nname = "a"', "one name"),
        ("not toml", "TOML"),
    ],
)
def test_a_bad_file_of_variations_is_refused(swarm, tmp_path, text, said):
    result = swarm("batch", write(tmp_path, text), "--into", tmp_path / "out")
    assert result.exit_code == 2
    assert said in result.stderr


def test_a_folder_with_results_is_gone_on_with_only_when_asked(undisturbed, swarm, tmp_path):
    folder, _ = undisturbed
    path = folder / "variations.toml"
    assert swarm("batch", path, "--into", folder / "out").exit_code == 2
    before = contents(folder / "out")
    assert swarm("batch", path, "--into", folder / "out", "--workers", "1", "--resume").exit_code == 0
    assert contents(folder / "out") == before
    other = write(tmp_path, 'base = "study.toml"\n[[variations]]\nname = "x"')
    result = swarm("batch", other, "--into", folder / "out", "--resume")
    assert result.exit_code == 2
    assert "another batch" in result.stderr


# --- the file -----------------------------------------------------------------------------------------------


def test_a_grid_is_every_combination(tmp_path):
    text = 'base = "study.toml"\n[grid]\nprobe.count = [1, 2, 3]\n"science.rows[0].threshold" = [0, 1]\n'
    found = read_variations(write(tmp_path, text))
    asked = [(v.study.probe.count, v.study.science.rows[0].threshold) for v in found]
    assert asked == [(1, 0), (1, 1), (2, 0), (2, 1), (3, 0), (3, 1)]
    assert [v.name for v in found][:2] == ["count=1,threshold=0", "count=1,threshold=1"]


def test_a_written_study_reads_back_as_it_was(tmp_path):
    changes = '"study.name" = "q\\"\\\\ ü", "compare.counts" = [1, 2]'
    text = f'base = "study.toml"\n[[variations]]\nname = "a"\nchanges = {{ {changes} }}\n'
    (variation,) = read_variations(write(tmp_path, text))
    place = tmp_path / "again.toml"
    place.write_text(variation.text, encoding="utf-8")
    assert read_study(place).model_dump() == variation.study.model_dump()
    assert variation.study.study.name == 'q"\\ ü'
    assert variation.study.compare.counts == (1, 2)


def test_an_unreadable_base_is_named(tmp_path):
    path = tmp_path / "v.toml"
    path.write_text('base = "none.toml"\n[[variations]]\nname = "a"\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"none\.toml"):
        read_variations(path)
