"""What is said of an error that nobody thought of."""

from __future__ import annotations

import contextlib
import traceback
from pathlib import Path


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
