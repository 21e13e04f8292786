"""Kills of workers never end a run while one can be started; what happened is named."""

import os
import random
import signal
import subprocess
import sys
import time

import psutil
import pytest

from swarm.run import workers
from tests.helpers import work_items
from tests.helpers.places import ROOT

CALLS = """
import sys
from swarm.run.workers import open_workers
from tests.helpers import work_items
if __name__ == "__main__":
    with open_workers(2) as pool:
        print("started", flush=True)
        print(pool.map(work_items.slow_square, range(40), shared=0.1))
"""


def processes_of(driver):
    """The worker processes below a driver: the deepest ones of its tree."""
    try:
        below = psutil.Process(driver.pid).children(recursive=True)
        return [child for child in below if "spawn_main" in " ".join(child.cmdline())]
    except psutil.NoSuchProcess:
        return []


def start(path):
    path.write_text(CALLS, encoding="utf-8")
    return subprocess.Popen(
        [sys.executable, str(path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip


def kill_some(driver, *, times, every_s, rng):
    killed = 0
    deadline = time.monotonic() + 60.0
    while killed < times and driver.poll() is None and time.monotonic() < deadline:
        time.sleep(every_s)
        if found := processes_of(driver):
            try:
                rng.choice(found).send_signal(signal.SIGKILL)
                killed += 1
            except psutil.NoSuchProcess:
                continue
    return killed


def test_workers_killed_while_they_start_are_started_again(tmp_path):
    with start(tmp_path / "calls.py") as driver:
        assert kill_some(driver, times=2, every_s=0.3, rng=random.Random(1)) == 2
        said, wrong = driver.communicate(timeout=240)
    assert driver.returncode == 0, wrong
    assert said.splitlines() == ["started", str([k**2 for k in range(40)])]


def test_workers_killed_at_random_while_they_work_change_nothing(tmp_path):
    with start(tmp_path / "calls.py") as driver:
        assert driver.stdout.readline() == "started\n"
        kill_some(driver, times=4, every_s=0.7, rng=random.Random(2))
        said, wrong = driver.communicate(timeout=240)
    assert driver.returncode == 0, wrong
    assert said.splitlines() == [str([k**2 for k in range(40)])]


def test_work_that_kills_its_worker_each_time_ends_with_what_happened(monkeypatch):
    monkeypatch.setattr(workers, "_ROUNDS", 1)
    with workers.open_workers(2) as pool, pytest.raises(workers.WorkersLost, match="died again and again"):
        pool.map(work_items.die_always, [0])


def test_processes_that_cannot_live_are_not_blamed_on_the_script(monkeypatch):
    def dying(**settings):
        raise RuntimeError("Nanny failed to start.")

    monkeypatch.setattr(workers.distributed, "LocalCluster", dying)
    with pytest.raises(workers.InputError, match="cannot be started") as refused, workers.open_workers(2):
        pass
    assert "__main__" not in str(refused.value)
    assert "died while they started" in str(refused.value)
