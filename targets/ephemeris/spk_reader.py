"""SPK files read in a process of its own: SPICE may abort over a damaged one, which then costs that process only.

The process answers requests that come pickled by its standard input: None for the stretches of the body, or (epochs,
piece) for states. It answers with ("done", result) or ("refused", what of an InputError).
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any

import numpy as np

from targets.base.errors import InputError

# Own choice: a year of states is read in less than a second.
_PATIENCE_S = 60.0
_EXPECTED = "an SPK file that is whole, of a type SPICE reads"


class SpkBodyApart:
    """One body of an SPK file, read by another process; `windows`, `pieces` and `states` as in `spice.SpkBody`."""

    def __init__(self, file: Path, body: int, process: subprocess.Popen[bytes]) -> None:
        self.file, self.body, self._process = file, body, process
        self.windows, self.pieces = self._asked(None)

    def states(self, epochs_tdb_s: np.ndarray, piece: tuple[float, float]) -> np.ndarray:
        """(n, 6) heliocentric ICRF states, km, km/s; finite."""
        states: np.ndarray = self._asked((np.asarray(epochs_tdb_s, dtype=float), piece))
        if not np.isfinite(states).all():
            raise InputError(
                "states that are no numbers", file=self.file, place=f"body {self.body}", expected=_EXPECTED
            )
        return states

    def _asked(self, what: Any) -> Any:
        timer = threading.Timer(_PATIENCE_S, self._process.kill)
        timer.start()
        try:
            assert self._process.stdin is not None
            assert self._process.stdout is not None
            pickle.dump(what, self._process.stdin)
            self._process.stdin.flush()
            how, answer = pickle.load(self._process.stdout)
        except (OSError, EOFError, pickle.UnpicklingError):
            raise InputError(
                "SPICE ends over this file: it is damaged", file=self.file, place=f"body {self.body}",
                expected=_EXPECTED,
            ) from None  # fmt: skip
        finally:
            timer.cancel()
        if how == "refused":
            raise answer
        return answer


@contextmanager
def spk_body_apart(file: Path, body: int) -> Iterator[SpkBodyApart]:
    """A body of an SPK file of any type SPICE reads, for as long as the context lasts. Raises InputError."""
    with subprocess.Popen(
        [sys.executable, "-m", "targets.ephemeris.spk_reader", str(file), str(body)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
    ) as process:  # fmt: skip
        try:
            yield SpkBodyApart(file, body, process)
        finally:
            process.kill()
            with suppress(OSError):
                process.stdin.close()  # type: ignore[union-attr]  # a pipe was asked for


def _answer(file: Path, body: int, asked: IO[bytes], told: IO[bytes]) -> None:
    """Answer until nothing more is asked."""
    from targets.ephemeris.spice import spk_body

    with spk_body(file, body) as held:
        while True:
            try:
                what = pickle.load(asked)
            except EOFError:
                return
            result = (held.windows, held.pieces) if what is None else held.states(*what)
            pickle.dump(("done", result), told)
            told.flush()


def _main() -> None:
    asked, told = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what SPICE prints is no answer
    file, body = Path(sys.argv[1]), int(sys.argv[2])
    try:
        _answer(file, body, asked, told)
    except Exception as problem:
        refused = problem if isinstance(problem, InputError) else _not_readable(file, problem)
        pickle.dump(("refused", refused), told)
        told.flush()


def _not_readable(file: Path, problem: Exception) -> InputError:
    return InputError("SPICE cannot read this", file=file, found=type(problem).__name__, expected=_EXPECTED)


if __name__ == "__main__":
    _main()
