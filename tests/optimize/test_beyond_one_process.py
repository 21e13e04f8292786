"""The same front whatever runs the islands, and whatever happens to it half-way."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import dask
import pytest

from swarm.optimize.search import Optimised
from swarm.run.workers import open_workers
from targets.base.errors import SchedulerLost
from tests.helpers.flown_as_aimed import optimize
from tests.helpers.serial_pool import Serial
from tests.helpers.small_cases import medium_case

TABLES = ("front", "plans", "bound", "progress", "costs")


@pytest.fixture(scope="module")
def alone() -> Optimised:
    study, table, targets = _case()
    return optimize(study, table, targets, pool=Serial())


def _case() -> tuple[Any, Any, Any]:
    study, table, targets = medium_case()
    settings = study.optimize.model_copy(update={"constraint_costs": True, "levels": 6})
    return study.model_copy(update={"optimize": settings}), table, targets


def on_workers(workers: int, on_done: Callable[[Any, int], None]) -> Optimised:
    study, table, targets = _case()
    with open_workers(workers) as pool:
        return optimize(study, table, targets, pool=pool, on_done=lambda done, _: on_done(pool, done))


def same(one: Optimised, other: Optimised) -> list[str]:
    return [name for name in TABLES if not getattr(one, name).equals(getattr(other, name))]


@pytest.mark.parametrize("workers", [1, 3])
def test_any_number_of_workers_gives_the_same_tables(alone: Optimised, workers: int) -> None:
    assert same(alone, on_workers(workers, lambda pool, done: None)) == []


@pytest.mark.parametrize("delay_s", [0.0, 0.05], ids=["between two epochs", "during one"])
def test_a_worker_killed_half_way_changes_nothing(alone: Optimised, delay_s: float) -> None:
    killed = []

    def kill(process: int) -> None:
        os.kill(process, signal.SIGKILL)
        killed.append(process)

    def kill_one(pool: Any, done: int) -> None:
        if done == 2:
            process = next(iter(pool._client.run(os.getpid).values()))
            if delay_s:
                threading.Timer(delay_s, kill, [process]).start()
            else:
                kill(process)

    assert same(alone, on_workers(2, kill_one)) == []
    assert len(killed) == 1


@pytest.fixture
def scheduler(tmp_path: Path) -> Iterator[tuple[str, subprocess.Popen]]:
    """A scheduler and one worker as separate processes, started as on a network."""
    file = tmp_path / "scheduler.json"
    begin = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0"]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    process = subprocess.Popen([*begin, "--no-dashboard", "--scheduler-file", str(file)], **quiet)
    worker = [
        sys.executable,
        "-m",
        "distributed.cli.dask_worker",
        "--scheduler-file",
        str(file),
        "--nthreads",
        "1",
    ]
    for _ in range(300):
        if file.exists() and file.stat().st_size:
            break
        time.sleep(0.1)
    helper = subprocess.Popen([*worker, "--no-dashboard", "--no-nanny", "--death-timeout", "20"], **quiet)
    try:
        yield json.loads(file.read_text())["address"], process
    finally:
        for running in (helper, process):
            running.kill()
            running.wait()


def test_a_running_cluster_gives_the_same_and_its_death_is_said_clearly(
    alone: Optimised, scheduler: tuple[str, subprocess.Popen]
) -> None:
    address, process = scheduler
    study, table, targets = _case()
    with dask.config.set({"distributed.comm.timeouts.connect": "2s"}):
        with open_workers(scheduler=address) as pool:
            assert same(alone, optimize(study, table, targets, pool=pool)) == []

        def stop(done: int, total: int) -> None:
            if done == 2:
                process.send_signal(signal.SIGKILL)

        with (
            pytest.raises(SchedulerLost, match="go on with --resume"),
            open_workers(scheduler=address) as pool,
        ):
            optimize(study, table, targets, pool=pool, on_done=stop)
