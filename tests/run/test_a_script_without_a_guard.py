"""Workers read the script that starts them again: one whose calls stand bare is told so, once."""

import os
import subprocess
import sys

from tests.helpers.places import ROOT

CALLS = (
    "from swarm.run.workers import open_workers\n"
    "{guard}with open_workers(2) as pool:\n{inside}print(pool.workers)\n"
)


def ran(path, guard, inside):
    path.write_text(CALLS.format(guard=guard, inside=inside), encoding="utf-8")
    return subprocess.run(
        [sys.executable, str(path)], capture_output=True, text=True, timeout=300, check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip


def test_without_a_guard_it_is_one_sentence(tmp_path):
    done = ran(tmp_path / "bare.py", "", "    ")
    assert done.returncode == 1
    assert done.stderr.count("the workers cannot be started") == 1
    assert '__name__ == "__main__"' in done.stderr
    assert "bootstrapping" not in done.stderr
    assert done.stderr.count("Traceback") == 1


def test_with_a_guard_they_start(tmp_path):
    done = ran(tmp_path / "guarded.py", 'if __name__ == "__main__":\n  ', "    ")
    assert (done.returncode, done.stdout) == (0, "2\n"), done.stderr
