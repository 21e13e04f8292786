"""One driver a folder: a lock with its owner's process and machine.

The file lock of the system is what counts: it ends with its process however that dies. What stands in the file says
whose it is. A file that its owner left behind is taken over.
"""

from __future__ import annotations

import errno
import fcntl
import json
import os
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from targets.base.errors import InputError

LOCK = ".lock"


@contextmanager
def folder_held(folder: Path, *, say: Callable[[str], None]) -> Iterator[None]:
    """Hold an existing folder while the context lasts; InputError where another process holds it.

    say : is told that the lock of a process that is gone was taken over
    """
    stream = _locked(folder / LOCK)
    with stream:
        earlier = _owner(stream)
        if earlier and earlier.get("machine") != socket.gethostname():
            raise _held(folder, earlier, do=f"if that run is over, delete {folder / LOCK}")
        if earlier:
            say(f"the lock of process {earlier.get('process')}, which is gone, is taken over: {folder}")
        stream.seek(0)
        stream.truncate()
        json.dump({"process": os.getpid(), "machine": socket.gethostname()}, stream)
        stream.flush()
        try:
            yield
        finally:
            (folder / LOCK).unlink(
                missing_ok=True
            )  # while it is held: nobody takes over a file that is going


def _locked(path: Path) -> IO[str]:
    """The lock's file, open and held; one that its owner deleted meanwhile is opened again."""
    while True:
        stream = path.open("a+", encoding="utf-8")
        try:
            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as problem:
            owner = _owner(stream)
            stream.close()
            if problem.errno not in (errno.EWOULDBLOCK, errno.EACCES):
                raise
            raise _held(path.parent, owner, do="wait for it, or give another folder") from None
        if path.exists() and os.path.samestat(os.fstat(stream.fileno()), path.stat()):
            return stream
        stream.close()


def _owner(stream: IO[str]) -> dict[str, Any]:
    """What the file says of its owner; nothing where it is empty, or was cut off while it was written."""
    stream.seek(0)
    try:
        read = json.load(stream)
    except ValueError:
        return {}
    return read if isinstance(read, dict) else {}


def _held(folder: Path, owner: dict[str, Any], *, do: str) -> InputError:
    found = f"process {owner.get('process', 'unknown')} on {owner.get('machine', 'a machine unknown')}"
    return InputError(
        "another process works in this folder", file=folder, found=found, expected="one at a time", do=do
    )
