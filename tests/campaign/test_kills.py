"""Drivers killed at random, then gone on with: the same archive as an undisturbed run, and no temporary file left.

Minutes each, so all with `-m slow`; in CI, `tests/app/batch` kills a batch. A case is repeated by its seed, as far as
the machine's speed is the same.
"""

import os
import random
import subprocess
import sys
import time

import pytest

from tests.helpers.command_line import TINY
from tests.helpers.places import ROOT

LONGEST_S = 600.0
pytestmark = pytest.mark.slow


def contents(folder):
    """Bytes of all files but the manifest, which holds times."""
    files = (path for path in sorted(folder.rglob("*")) if path.is_file() and path.name != "manifest.json")
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def command(study, folder, *more):
    program = [
        sys.executable,
        "-m",
        "swarm.app.cli",
        "run",
        str(study),
        "--run",
        str(folder),
        "--workers",
        "1",
    ]
    return subprocess.Popen(
        [*program, *more], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def finished(process):
    said, wrong = process.communicate(timeout=LONGEST_S)
    assert process.returncode == 0, f"{said}\n{wrong}"
    return wrong


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    """The study, its archive, and the seconds that it took on a machine where the kernels are there."""
    folder = tmp_path_factory.mktemp("undisturbed")
    study = folder / "study.toml"
    study.write_text(TINY)
    finished(command(study, folder / "first"))
    begun = time.monotonic()
    finished(command(study, folder / "out"))
    return study, contents(folder / "out"), time.monotonic() - begun


def killed_and_resumed(undisturbed, folder, rng, monkeypatch):
    study, archive, took_s = undisturbed
    folder.mkdir()
    temporary = folder / "tmp"
    temporary.mkdir()
    monkeypatch.setenv("TMPDIR", str(temporary))
    out = folder / "out"
    for _ in range(rng.randint(1, 3)):
        process = command(study, out, "--resume")
        time.sleep(rng.uniform(0.05, 1.0) * took_s)
        process.kill()
        process.communicate()
    finished(command(study, out, "--resume"))
    assert contents(out) == archive
    assert os.listdir(temporary) == []


@pytest.mark.parametrize("seed", range(100, 150))
def test_a_run_killed_at_random_goes_on_to_the_same_archive(undisturbed, tmp_path, monkeypatch, seed):
    killed_and_resumed(undisturbed, tmp_path / "one", random.Random(seed), monkeypatch)


@pytest.mark.parametrize("how", ["deleted", "cut off", "one bit other", "a folder"])
def test_every_file_of_a_run_damaged(undisturbed, tmp_path, how):
    """Each file that a stage made, by itself: after `--resume` the bytes of an undisturbed run."""
    study, archive, _ = undisturbed
    out = tmp_path / "out"
    finished(command(study, out))
    for name in archive:
        damage(out / name, how)
        finished(command(study, out, "--resume"))
        assert contents(out) == archive, name


def damage(path, how):
    content = path.read_bytes()
    if how == "cut off":
        path.write_bytes(content[: len(content) // 2])
    elif how == "one bit other":
        middle = len(content) // 2
        path.write_bytes(content[:middle] + bytes([content[middle] ^ 1]) + content[middle + 1 :])
    else:
        path.unlink()
        if how == "a folder":
            (path / "inside").mkdir(parents=True)
