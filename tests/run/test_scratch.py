"""Temporary folders go with their process, and those of killed ones with the next."""

import subprocess
import sys
import tempfile

from swarm.run.scratch import scratch_folder
from tests.helpers.places import ROOT

HOLDING = """
import time
from swarm.run.scratch import scratch_folder
with scratch_folder("swarm-test-") as folder:
    (folder / "large").write_bytes(b"x" * 1000)
    print(folder, flush=True)
    time.sleep(60)
"""


def test_the_folder_of_a_killed_process_is_cleared_away_and_that_of_a_living_one_is_not(
    tmp_path, monkeypatch
):
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", None)
    with subprocess.Popen(
        [sys.executable, "-c", HOLDING], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as other:
        theirs = other.stdout.readline().strip()
        with scratch_folder("swarm-test-") as ours:
            assert {str(path) for path in tmp_path.iterdir()} == {theirs, str(ours)}
        other.kill()
    with scratch_folder("swarm-test-") as ours:
        assert list(tmp_path.iterdir()) == [ours]
    assert list(tmp_path.iterdir()) == []
