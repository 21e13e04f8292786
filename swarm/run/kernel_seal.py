"""Compiled kernels that were damaged on the disk are dropped, and compiled again when they are used.

numba believes its files. So the folder is sealed when its holder ends: size, date and hash of every file. When it is
claimed, what has the size and date of the seal is believed, anything else is hashed. Files that came after the seal,
of a run that was killed, must at least be whole: each is one pickle after another, to the last byte.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import pickletools
from pathlib import Path
from typing import Any

SEAL = "seal.json"
_KERNELS = (".nbi", ".nbc")


def seal(folder: Path) -> None:
    """Write down what the folder's files are; a folder that cannot be written is checked the longer way."""
    known = {_name(path, folder): [*_size_and_date(path), _hash(path)] for path in _files(folder)}
    beside = folder / f"{SEAL}.new"
    with contextlib.suppress(OSError):
        beside.write_text(json.dumps(known), encoding="utf-8")
        beside.replace(folder / SEAL)


def drop_damaged(folder: Path) -> list[str]:
    """Delete files that are not as they were sealed, or not whole; their names."""
    known = _sealed(folder)
    dropped = [path for path in _files(folder) if not _is_sound(path, known.get(_name(path, folder)))]
    for path in dropped:
        path.unlink(missing_ok=True)
    return [_name(path, folder) for path in dropped]


def _sealed(folder: Path) -> dict[str, Any]:
    try:
        known = json.loads((folder / SEAL).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return known if isinstance(known, dict) else {}


def _is_sound(path: Path, sealed: Any) -> bool:
    if not isinstance(sealed, list) or len(sealed) != 3:
        return _is_whole(path)
    return _size_and_date(path) == sealed[:2] or _hash(path) == sealed[2]


def _is_whole(path: Path) -> bool:
    """Whether a file is pickles and nothing else; none of them is executed."""
    try:
        with path.open("rb") as stream:
            size, pickles = path.stat().st_size, 0
            while stream.tell() < size:
                for _ in pickletools.genops(stream):
                    pass
                pickles += 1
    except (OSError, ValueError, EOFError, UnicodeDecodeError):
        return False
    return pickles == (2 if path.suffix == ".nbi" else 1)  # an index: numba's version, then the rest


def _files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.suffix in _KERNELS and path.is_file())


def _name(path: Path, folder: Path) -> str:
    return path.relative_to(folder).as_posix()


def _size_and_date(path: Path) -> list[int]:
    known = path.stat()
    return [known.st_size, known.st_mtime_ns]


def _hash(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "blake2b").hexdigest()
