"""The one door to Dask: the same function over many items, in order, on any number of workers.

Results never depend on the number of workers: items are cut by the study, come back in order, and random
work gets its seed with the item. One worker means no Dask at all, so there is always a serial way to run
everything.

Compiled kernels are cached on disk by numba, and such a cache is not safe to share between processes that
write to it. So each process has a folder of its own: the driver's is claimed by `swarm.run.kernel_cache`, each
worker's is filled from the driver's when it starts, and before a map where the driver has compiled more since; what the
workers of this machine compiled joins the driver's at the end.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import dask
import distributed

from swarm.run.kernel_cache import CACHE_VARIABLE, join_kernels, take_over, tell_numba
from swarm.run.scratch import scratch_folder
from targets.base.errors import InputError, SchedulerLost

# Name of a worker's own folder of kernels.
_KERNELS = "kernels"

OnDone = Callable[[int, int], None]
_CacheState = frozenset[tuple[str, int, int]]
Task = Callable[[Any, Any], Any]

# A worker that dies takes its task and its copy of the shared object along; both are sent again this often.
_ROUNDS = 4
_START_TIMEOUT_S = 120
# Workers that die while they start are started again this often.
_STARTS = 4
_AGAIN_S = 1.0
_PLUGIN = "swarm-kernel-cache"
# Between looks at what workers have done: short at first, then a share of the time since the last that was done, so
# that looking takes nothing from the workers and hardly delays what is done.
_LOOK_S, _LOOK_SHARE, _LOOK_MOST_S = 0.002, 0.02, 0.05
# A scheduler that is given is there or it is not: nobody waits for one to be started.
_CONNECT_TIMEOUT_S = 8
# What a scheduler that is gone shows as, where it is not a task's own error.
_BROKEN = (
    distributed.comm.CommClosedError, distributed.client.ClosedClientError, OSError, TimeoutError,
    distributed.client.FutureCancelledError, RuntimeError,
)  # fmt: skip


class WorkersLost(SchedulerLost):
    """Workers died so often that it is not by chance."""


class Pool:
    """Where tasks run. `map` gives results in the order of the items."""

    workers = 1

    def map(
        self, func: Task, items: Sequence[Any], *, shared: Any = None, on_done: OnDone | None = None
    ) -> list[Any]:
        """`[func(item, shared) for item in items]`; `func` is a module-level function.

        `on_done(done, total)` is called in the driver after each item.
        """
        results = []
        for done, item in enumerate(items, start=1):
            results.append(func(item, shared))
            if on_done is not None:
                on_done(done, len(items))
        return results


class _DaskPool(Pool):
    def __init__(self, client: Any, workers: int) -> None:
        self._client, self.workers = client, workers
        self._copied: _CacheState | None = (
            None  # what the driver's cache held when the workers last took it over
        )
        self._address = client.scheduler.address

    def map(
        self, func: Task, items: Sequence[Any], *, shared: Any = None, on_done: OnDone | None = None
    ) -> list[Any]:
        try:
            return self._mapped(func, items, shared, on_done)
        except _BROKEN as problem:
            if self._client.status == "running":
                raise
            raise SchedulerLost(
                f"the scheduler at {self._address} does not answer any more ({type(problem).__name__}); finished "
                "stages are kept: start it again, or choose --workers, and go on with --resume"
            ) from problem

    def _mapped(self, func: Task, items: Sequence[Any], shared: Any, on_done: OnDone | None) -> list[Any]:
        self._share_kernels()
        results: dict[int, Any] = {}
        for _ in range(_ROUNDS):
            missing = [k for k in range(len(items)) if k not in results]
            if not missing:
                break
            lost = self._round(func, items, shared, missing, results, on_done)
        if len(results) < len(items):
            raise WorkersLost(
                f"workers died again and again over the same work, {_ROUNDS} rounds of it ({lost}); finished stages "
                "are kept: look for what kills them (memory?), then go on with --resume, with fewer --workers"
            )
        return [results[k] for k in range(len(items))]

    def _share_kernels(self) -> None:
        """Hand the driver's kernels to the workers where it has compiled some since they last took them over."""
        kernels = os.environ.get(CACHE_VARIABLE)
        state = _cache_state(kernels)
        if state != self._copied:
            # a worker that died since the last map is replaced, and the new one fills its cache by itself
            self._client.run(_fill_kernel_cache, kernels, on_error="ignore")
            self._copied = state

    def _round(
        self,
        func: Task,
        items: Sequence[Any],
        shared: Any,
        missing: list[int],
        results: dict[int, Any],
        on_done: OnDone | None,
    ) -> BaseException | None:
        """Run the missing items once; what a lost worker took along stays missing."""
        lost: BaseException | None = None
        # A task's result, not scattered data: where the worker that holds it dies it is made again, while scattering to
        # all waits for the dead. Workers fetch it from one another.
        with dask.config.set({"distributed.admin.large-graph-warning-threshold": "1TB"}):
            common = self._client.submit(_itself, shared, pure=False)
        futures = {self._client.submit(func, items[k], common, pure=False): k for k in missing}
        try:
            for future in self._completed(list(futures)):
                if future.status == "finished":
                    results[futures[future]] = future.result()
                    if on_done is not None:
                        on_done(len(results), len(items))
                    future.release()
                else:
                    lost = _lost(future)
        except distributed.comm.CommClosedError as problem:
            # of a worker that died while it was spoken to; where it is the scheduler's, there is nobody to go on with
            if self._client.status != "running":
                raise
            lost = problem
        finally:
            if self._client.status == "running":
                self._client.cancel(list(futures), force=True)
        return lost

    def _completed(self, futures: list[Any]) -> Iterator[Any]:
        """Futures as they end. Tasks given to a scheduler that is gone would never do so: it is looked at, too."""
        completed, last_s = distributed.as_completed(futures), time.monotonic()
        while completed.count():
            batch = completed.next_batch(block=False)
            yield from batch
            if batch:
                last_s = time.monotonic()
                continue
            if self._client.status != "running":
                raise distributed.comm.CommClosedError(self._address)
            waited_s = time.monotonic() - last_s
            time.sleep(min(max(_LOOK_S, _LOOK_SHARE * waited_s), _LOOK_MOST_S))


def _itself(shared: Any) -> Any:
    return shared


def _lost(future: Any) -> BaseException:
    """The reason a future has no result, when it is a lost worker; any other failure is raised."""
    if future.status == "cancelled":
        return RuntimeError("a task was cancelled")
    error = future.exception()
    if error is None:
        # it was finished, went with the worker that held its result, and was done again meanwhile
        return RuntimeError("a worker took the result of a task along")
    if isinstance(error, distributed.scheduler.KilledWorker | distributed.client.FutureCancelledError):
        return error
    raise error


@contextmanager
def open_workers(workers: int | None = None, scheduler: str | None = None) -> Iterator[Pool]:
    """A pool of `workers` processes (default: one per core), or of a running Dask `scheduler`'s.

    Parameters
    ----------
    workers   : 1 or less runs everything in this process
    scheduler : address such as "tcp://host:8786"; then `workers` is not used
    """
    if scheduler is None and (workers or os.cpu_count() or 1) <= 1:
        yield Pool()
        return
    with (
        scratch_folder("swarm-workers-") as scratch,
        _client(workers or os.cpu_count() or 1, scheduler, scratch) as client,
    ):
        yield _DaskPool(client, len(client.scheduler_info(n_workers=-1)["workers"]))
        _keep_kernels(scratch, os.environ.get(CACHE_VARIABLE))


def require_scheduler(scheduler: str | None) -> None:
    """Refuse an address at which no scheduler answers; nothing is to be read, or computed, before this is known."""
    if scheduler is not None:
        with scratch_folder("swarm-workers-") as scratch, _client(1, scheduler, scratch):
            pass


@contextmanager
def _client(workers: int, scheduler: str | None, scratch: Path) -> Iterator[Any]:
    plugin = _OwnKernelCache(os.environ.get(CACHE_VARIABLE))
    if scheduler is not None:
        # a scheduler that is gone is said once, in our words
        logging.getLogger("distributed").setLevel(logging.CRITICAL)
        try:
            client = distributed.Client(scheduler, timeout=_CONNECT_TIMEOUT_S)
        except (OSError, ValueError, TimeoutError) as problem:
            raise InputError(
                "no scheduler answers",
                place=f"--scheduler {scheduler}",
                found=problem,
                expected="the address of a Dask scheduler that runs, such as tcp://host:8786",
            ) from None
        with client:
            _plug_in(client, plugin)
            yield client
        return
    with ExitStack() as opened:
        cluster = opened.enter_context(_local_cluster(workers, scratch))
        client = opened.enter_context(distributed.Client(cluster, timeout=_START_TIMEOUT_S))
        _plug_in(client, plugin)
        yield client


def _plug_in(client: Any, plugin: distributed.WorkerPlugin) -> None:
    """Have every worker set up, those that come later too. One that dies meanwhile is spoken to in vain."""
    for left in reversed(range(_STARTS)):
        try:
            client.register_plugin(plugin, name=_PLUGIN)
            return
        except (OSError, TimeoutError):
            if not left or client.status != "running":
                raise
            time.sleep(_AGAIN_S)


def _local_cluster(workers: int, scratch: Path) -> Any:
    """Workers on this machine. Those that die while they start are started again, all of them, some times."""
    # A new process reads the script that started it again. One that asks for workers there ends without a word: what
    # is wrong is said once, by the process that started it.
    if getattr(multiprocessing.current_process(), "_inheriting", False):
        raise SystemExit(1)
    for _ in range(1 if _script_without_guard() else _STARTS):
        try:
            # Loopback only: nothing here is meant to be seen from other machines. The scheduler serves its pages
            # whatever is asked: on any free port, or two runs on one machine would quarrel about the usual one.
            return distributed.LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                processes=True,
                host="127.0.0.1",
                dashboard_address="127.0.0.1:0",
                local_directory=str(scratch),
                silence_logs=logging.CRITICAL,
                memory_limit=0,
            )
        except (RuntimeError, OSError, TimeoutError) as problem:
            failed = problem
    raise _not_started(workers, failed)


def _not_started(workers: int, problem: Exception) -> InputError:
    """Why: a script whose calls stand bare, or processes that die again and again."""
    if _script_without_guard():
        expected = 'in a script, calls under if __name__ == "__main__": each worker reads the script again'
        do = "put them there, or ask for 1 worker"
    else:
        expected = f"{workers} processes that live: all died while they started, {_STARTS} times"
        do = "look for what kills them (a limit of memory or of processes), or ask for fewer workers or 1"
    return InputError(
        "the workers cannot be started", place=f"workers = {workers}", found=problem, expected=expected, do=do
    )


def _script_without_guard() -> bool:
    """Whether the program that runs is a script that never asks for its own name."""
    script = getattr(sys.modules.get("__main__"), "__file__", None)
    try:
        return script is not None and "__name__" not in Path(script).read_text(encoding="utf-8")
    except (OSError, ValueError):
        return False


class _OwnKernelCache(distributed.WorkerPlugin):
    """Gives a worker its own cache folder and one thread, before it imports any kernel."""

    def __init__(self, source: str | None) -> None:
        self.source = source

    def setup(self, worker: Any) -> None:
        os.environ[CACHE_VARIABLE] = os.path.join(worker.local_directory, _KERNELS)
        os.environ["NUMBA_NUM_THREADS"] = "1"
        tell_numba()  # a script may have it loaded already
        _fill_kernel_cache(self.source)


def kernels_beside(own: str | None) -> list[Path]:
    """The folders of kernels of the other workers of this machine, of a worker whose own is `own`."""
    if own is None or Path(own).name != _KERNELS:
        return []
    return sorted(set(Path(own).parent.parent.glob(f"*/{_KERNELS}")) - {Path(own)})


def _cache_state(folder: str | None) -> _CacheState:
    """Name, size and date of every file in a cache folder."""
    if not folder:
        return frozenset()
    files = [Path(inner, name) for inner, _, names in os.walk(folder) for name in names]
    return frozenset((str(path), *_size_and_date(path)) for path in files)


def _size_and_date(path: Path) -> tuple[int, int]:
    try:
        known = path.stat()
    except OSError:  # gone meanwhile
        return -1, -1
    return known.st_size, known.st_mtime_ns


def _keep_kernels(scratch: Path, own: str | None) -> None:
    """Join what the workers of this machine have compiled into the driver's folder, for the next run."""
    for folder in sorted(scratch.rglob(_KERNELS)) if own else []:
        join_kernels(folder, Path(str(own)))


def _fill_kernel_cache(source: str | None) -> None:
    """Take the driver's compiled kernels over into this worker's own folder, where both see the same disk."""
    own = os.environ.get(CACHE_VARIABLE)
    if source and own and source != own:
        take_over(Path(source), Path(own))
