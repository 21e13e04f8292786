"""Files written beside their place and moved there: a reader finds the old one or the new one, whole."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from pathlib import Path

# What a disk says that takes no more, and what that is called.
_TAKES_NO_MORE = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the quota of the disk is used up",
    errno.EFBIG: "the file is larger than this disk or process may write",
    errno.EROFS: "the disk is read-only",
    errno.EACCES: "writing is not allowed",
    errno.EPERM: "writing is not allowed",
}


def why_not_written(problem: OSError) -> str | None:
    """One sentence for a disk that takes no more; None where it is something else that went wrong."""
    what = _TAKES_NO_MORE.get(problem.errno or 0)
    if what is None:
        return None
    where = f" ({problem.filename})" if problem.filename else ""
    return f"{what}{where}; what was finished before is kept: mend that and go on with --resume"


def write_text_atomically(path: Path, text: str) -> None:
    """Write a text so that a reader finds the old one or the new one, whole."""
    write_bytes_atomically(path, text.encode("utf-8"))


def write_bytes_atomically(path: Path, content: bytes) -> None:
    """Write bytes so that a reader finds the old ones or the new ones, whole."""
    with replacing(path) as beside:
        beside.write_bytes(content)


def remove(path: Path) -> None:
    """Take away what is at a place, be it a file, a link or a folder; nothing is as good."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


class replacing:
    """A temporary path beside `path`, moved onto it when the block ends well."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __enter__(self) -> Path:
        handle, name = tempfile.mkstemp(dir=self.path.parent, prefix=f".{self.path.name}.")
        os.close(handle)
        self.beside = Path(name)
        return self.beside

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        if kind is not None:
            self.beside.unlink(missing_ok=True)
            return
        # mkstemp makes the file private; the result gets the permissions any new file would have.
        umask = os.umask(0)
        os.umask(umask)
        self.beside.chmod(0o666 & ~umask)
        os.replace(self.beside, self.path)
