"""Progress: a line a stage with the time left; a bar on a terminal, plain lines elsewhere; to standard error."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Protocol

from rich.console import Console
from rich.progress import BarColumn, Progress, ProgressColumn, Task, TextColumn
from rich.text import Text

OnDone = Callable[[int, int], None]
_LINE_EVERY_S = 15.0
# A time left is told when so much is done. Own choice: before, 5 min were told of 20 s.
_TOLD_FROM = 0.1


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


def time_left(elapsed_s: float, done: int, total: int) -> str:
    """How long a stage will take yet, were the steps to come like those done; in words, as it is a guess.

    The first steps wait for the workers to get ready: of less than a tenth no guess is made.
    """
    if done >= total:
        return f"done in {_duration(elapsed_s)}"
    if done < _TOLD_FROM * total:
        return f"{_duration(elapsed_s)} so far"
    return f"about {_duration(elapsed_s / done * (total - done))} left"


def _duration(seconds: float) -> str:
    whole = round(seconds)
    if whole < 120:
        return f"{whole} s"
    return f"{round(whole / 60)} min" if whole < 7200 else f"{whole / 3600:.1f} h"


class Lines:
    """Plain lines: one every quarter of a minute while a stage goes on, one at its end."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def say(self, text: str) -> None:
        self._console.print(text, markup=False, highlight=False, soft_wrap=True)

    def stage(self, name: str) -> OnDone:
        begun = last = time.monotonic()

        def on_done(done: int, total: int) -> None:
            nonlocal last
            now = time.monotonic()
            if done == total or now - last >= _LINE_EVERY_S:
                last = now
                step = "" if done == total else f"step {done} of {total}, "
                self.say(f"{name}: {step}{time_left(now - begun, done, total)}")

        return on_done


class _TimeLeft(ProgressColumn):
    """The time left as `time_left` puts it; the library's own forgets steps that are minutes apart."""

    def render(self, task: Task) -> Text:
        elapsed_s = (task.finished_time if task.finished else task.elapsed) or 0.0
        return Text(time_left(elapsed_s, int(task.completed), int(task.total or 1)))


class Bars:
    """A line a stage: its name, a bar, and the time left."""

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
    columns = (TextColumn("{task.description:<12}"), BarColumn(), _TimeLeft())
    # What is printed meanwhile goes above the bars on a terminal; to a file it goes as it is, not to standard error.
    with Progress(*columns, console=console, redirect_stdout=sys.stdout.isatty()) as progress:
        yield Bars(progress)
