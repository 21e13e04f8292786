"""A batch that ran through, made once for all processes of a test run."""

import fcntl
import json
from types import SimpleNamespace

import pytest

from tests.helpers.batch_of_four import FOUR, write
from tests.helpers.command_line import call


@pytest.fixture(scope="session")
def undisturbed(tmp_path_factory, worker_id):
    """A batch of four that ran through, and its folder; nobody changes it."""
    own = tmp_path_factory.getbasetemp()
    shared = own if worker_id == "master" else own.parent
    folder, said = shared / "undisturbed", shared / "undisturbed.json"
    with (shared / "undisturbed.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not said.exists():
            folder.mkdir()
            result = call("batch", write(folder, FOUR), "--into", folder / "out", "--workers", 1)
            assert result.exit_code == 0, result.stdout + result.stderr
            said.write_text(json.dumps([result.exit_code, result.stdout, result.stderr]), encoding="utf-8")
    exit_code, stdout, stderr = json.loads(said.read_text(encoding="utf-8"))
    return folder, SimpleNamespace(exit_code=exit_code, stdout=stdout, stderr=stderr)
