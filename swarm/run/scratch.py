"""Temporary folders of a driver that go with it: those of drivers that were killed are cleared away by the next.

Each holds a file that its owner keeps locked; the lock ends with the owner, however that dies.
"""

from __future__ import annotations

import contextlib
import fcntl
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_OWNED = ".owned"


@contextmanager
def scratch_folder(prefix: str) -> Iterator[Path]:
    """A folder of this process among the temporary ones, deleted when the context ends; `prefix` ends in a dash."""
    clear_abandoned(prefix)
    with tempfile.TemporaryDirectory(prefix=prefix, ignore_cleanup_errors=True) as name:
        folder = Path(name)
        with (folder / _OWNED).open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            yield folder


def clear_abandoned(prefix: str) -> None:
    """Delete the folders of this kind whose owners are gone."""
    for folder in Path(tempfile.gettempdir()).glob(f"{prefix}*"):
        # a folder without the file is being made, or another user's
        with contextlib.suppress(OSError), (folder / _OWNED).open("r+") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(folder, ignore_errors=True)
