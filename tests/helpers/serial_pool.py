"""Pools for tests, all in one process."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any


class Serial:
    workers = 1

    def map(self, func: Callable, items: list, *, shared: Any = None, on_done: Any = None) -> list:
        return [func(item, shared) for item in items]


class Backwards:
    """One process that does to tasks what workers do: the last item first, each on copies that were pickled.

    What gives the same through it and `Serial` hangs on no order and on nothing that a task left behind; that real
    workers give the same is tested where a whole run goes through them.
    """

    workers = 3

    def map(self, func: Callable, items: list, *, shared: Any = None, on_done: Any = None) -> list:
        results: dict[int, Any] = {}
        for k in reversed(range(len(items))):
            results[k] = pickle.loads(pickle.dumps(func(*pickle.loads(pickle.dumps((items[k], shared))))))
            if on_done is not None:
                on_done(len(results), len(items))
        return [results[k] for k in range(len(items))]


@contextmanager
def open_backwards(*_: Any) -> Iterator[Backwards]:
    """In the place of `open_workers`, for a command that is to run through `Backwards`."""
    yield Backwards()
