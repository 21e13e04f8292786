"""One driver a folder: who holds it is named, and what a dead owner left is taken over."""

import json
import os
import socket
import subprocess
import sys

import pytest

from swarm.run.lock import LOCK, folder_held
from targets.base.errors import InputError
from tests.helpers.places import ROOT

HOLDING = """
import sys, time
from pathlib import Path
from swarm.run.lock import folder_held
with folder_held(Path(sys.argv[1]), say=print):
    print("held", flush=True)
    time.sleep(60)
"""


@pytest.fixture
def other(tmp_path):
    """Another process that holds the folder."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLDING, str(tmp_path)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout.readline() == "held\n"
        yield process
        process.kill()


def test_a_folder_that_another_process_holds_is_refused_and_its_owner_named(other, tmp_path):
    with pytest.raises(InputError) as refused, folder_held(tmp_path, say=print):
        pass
    assert f"process {other.pid} on {socket.gethostname()}" in str(refused.value)


def test_the_lock_of_a_killed_process_is_taken_over_with_a_sentence(other, tmp_path):
    other.kill()
    other.wait()
    said = []
    with folder_held(tmp_path, say=said.append):
        assert json.loads((tmp_path / LOCK).read_text())["process"] == os.getpid()
    assert len(said) == 1
    assert f"process {other.pid}, which is gone" in said[0]
    assert list(tmp_path.iterdir()) == []


def test_the_lock_of_another_machine_is_left_alone(tmp_path):
    (tmp_path / LOCK).write_text('{"process": 7, "machine": "elsewhere"}')
    with (
        pytest.raises(InputError, match=r"process 7 on elsewhere(?s:.*)delete"),
        folder_held(tmp_path, say=print),
    ):
        pass


@pytest.mark.parametrize("left", ["", '{"proc', "[]"])
def test_a_lock_that_was_cut_off_is_taken(tmp_path, left):
    (tmp_path / LOCK).write_text(left)
    with folder_held(tmp_path, say=print):
        assert (tmp_path / LOCK).exists()


def test_the_same_folder_is_free_afterwards_also_where_it_failed(tmp_path):
    with pytest.raises(ZeroDivisionError), folder_held(tmp_path, say=print):
        raise ZeroDivisionError
    with folder_held(tmp_path, say=pytest.fail):
        pass
