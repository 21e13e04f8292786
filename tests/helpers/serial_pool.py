"""Pools for tests: one process, or some."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from typing import Any


class Serial:
    workers = 1

    def map(self, func: Callable, items: list, *, shared: Any = None, on_done: Any = None) -> list:
        return [func(item, shared) for item in items]


class Processes:
    workers = 2

    def __init__(self, executor: ProcessPoolExecutor) -> None:
        self.executor = executor

    def map(self, func: Callable, items: list, *, shared: Any = None) -> list:
        return list(self.executor.map(func, items, itertools.repeat(shared)))
