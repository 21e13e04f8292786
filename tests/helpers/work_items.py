"""Functions the workers run; they live in a module because Dask pickles them by reference."""

import os
import signal
import time
from pathlib import Path

from targets.base.errors import InputError, NothingFeasible


def scaled(item, shared):
    return item * shared


def slow_first(item, shared):
    time.sleep(0.3 if item == 0 else 0.0)
    return item


def where(item, shared):
    return os.getpid(), os.environ.get("NUMBA_CACHE_DIR"), os.environ.get("NUMBA_NUM_THREADS")


def die_once(item, shared):
    """Kill this worker the first time item 2 comes by; `shared` is a file that remembers."""
    mark = Path(shared)
    if item == 2 and not mark.exists():
        mark.write_text("killed")
        os.kill(os.getpid(), signal.SIGKILL)
    return item**2


def refuse(item, shared):
    if shared == "input":
        raise InputError("bad row", file="bodies.json", place="line 3", found="x", expected="a number")
    raise NothingFeasible("no target is in reach", limit="burn limit")


def fail(item, shared):
    raise ZeroDivisionError("one")


def slow_square(item, shared):
    time.sleep(shared)
    return item**2


def die_always(item, shared):
    os.kill(os.getpid(), signal.SIGKILL)
