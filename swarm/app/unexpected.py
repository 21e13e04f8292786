"""What is said of an error that nobody thought of; and of a reader who has gone, nothing."""

from __future__ import annotations

import contextlib
import os
import select
import sys
import traceback
from pathlib import Path


def is_reader_gone() -> bool:
    """Whether nobody reads what is printed any more, as after `| head`: the rest then goes nowhere."""
    try:
        place = sys.stdout.fileno()
    except (OSError, ValueError):  # it is no file
        return False
    asked = select.poll()
    asked.register(place, 0)
    if not any(event & select.POLLERR for _, event in asked.poll(0)):
        return False
    os.dup2(os.open(os.devnull, os.O_WRONLY), place)
    return True


def unexpected(error: Exception, *, debug: bool, folder: Path | None) -> str:
    """One sentence; the traceback goes into the run folder, or is shown where it is asked for."""
    trace = traceback.format_exc()
    said = f"unexpected error: {type(error).__name__}: {error}"
    if debug:
        return f"{trace}\n{said}"
    if folder is not None and (folder / "manifest.json").is_file():
        place = folder / "traceback.txt"
        with contextlib.suppress(OSError):
            place.write_text(trace, encoding="utf-8")
            return f"{said}\n  traceback: {place}"
    return f"{said}\n  show the traceback with --debug"
