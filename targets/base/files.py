"""Input files read whole, within bounds: no pipe that never ends, no device, nothing larger than stated."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from targets.base.errors import InputError

# Own choice: the largest catalogue in use, all known bodies as JSON, is under 2 GiB unpacked.
MOST_BYTES = 4 << 30
MOST_TEXT_BYTES = 1 << 20  # of a file that people write: a study, variations


def read_limited(path: Path, *, most_bytes: int) -> bytes:
    """The bytes of a plain file; InputError where it is none, or larger. Raises OSError as opening a file does."""
    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK)  # a pipe without a writer is not waited for
    with os.fdopen(handle, "rb") as stream:
        known = os.fstat(handle)
        if stat.S_ISDIR(known.st_mode):
            raise IsADirectoryError(path)
        if not stat.S_ISREG(known.st_mode):
            raise InputError(
                "not a plain file", file=path, found="a pipe, socket or device", expected="a file"
            )
        content = stream.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise InputError(
            "the file is too large",
            file=path,
            found=f"{known.st_size} bytes",
            expected=f"at most {most_bytes} bytes",
        )
    return content
