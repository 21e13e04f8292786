"""Progress: a bar on a terminal, a plain line now and then elsewhere. Everything goes to standard error."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Protocol

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

OnDone = Callable[[int, int], None]
_LINE_EVERY_S = 15.0


class Teller(Protocol):
    """Says what is going on."""

    def say(self, text: str) -> None: ...

    def stage(self, name: str) -> OnDone: ...


class Silent:
    """Says nothing: for library use and tests."""

    def say(self, text: str) -> None:
        pass

    def stage(self, name: str) -> OnDone:
        return _ignore


def _ignore(done: int, total: int) -> None:
    pass


class Lines:
    """Plain lines: one when a stage starts, one at its end, and one every quarter of a minute between."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def say(self, text: str) -> None:
        self._console.print(text, markup=False, highlight=False, soft_wrap=True)

    def stage(self, name: str) -> OnDone:
        begun = last = time.monotonic()
        self.say(f"{name} ...")

        def on_done(done: int, total: int) -> None:
            nonlocal last
            now = time.monotonic()
            if done == total or now - last >= _LINE_EVERY_S:
                last = now
                self.say(f"{name}: {done} of {total} ({now - begun:.0f} s)")

        return on_done


class Bars:
    """Bars of rich, one per stage."""

    def __init__(self, progress: Progress) -> None:
        self._progress = progress

    def say(self, text: str) -> None:
        self._progress.console.print(text, markup=False, highlight=False, soft_wrap=True)

    def stage(self, name: str) -> OnDone:
        bar = self._progress.add_task(name, total=None)

        def on_done(done: int, total: int) -> None:
            self._progress.update(bar, completed=done, total=total)

        return on_done


@contextmanager
def telling(console: Console | None = None) -> Iterator[Teller]:
    """Bars where standard error is a terminal, lines where it is not."""
    console = console or Console(stderr=True)
    if not console.is_terminal:
        yield Lines(console)
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    # What is printed meanwhile goes above the bars on a terminal; to a file it goes as it is, not to standard error.
    with Progress(*columns, console=console, redirect_stdout=sys.stdout.isatty()) as progress:
        yield Bars(progress)
