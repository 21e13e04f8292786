"""The bytes of an input file, unpacked if they are gzip (told by content, not by name), with their hash."""

from __future__ import annotations

import gzip
import hashlib
import io
import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from targets.base.errors import InputError
from targets.base.files import MOST_BYTES, read_limited

_GZIP_MAGIC = b"\x1f\x8b"
# Own choices: small files may pack better than large ones.
_PACKED_AT_MOST, _ROOM_BYTES = 100, 16 << 20


@dataclass(frozen=True)
class Source:
    """A file read whole: `content` unpacked, `sha256` of the bytes as they lie on disk."""

    path: Path
    content: bytes
    sha256: str


def read_source(path: Path) -> Source:
    """Read a file, or say in one sentence why it cannot be read."""
    stored = _stored_bytes(path)
    if not stored:
        raise InputError("the file is empty", file=path)
    content = _unpacked(path, stored) if stored.startswith(_GZIP_MAGIC) else stored
    if not content.strip():
        raise InputError("the file holds no data", file=path)
    return Source(path, content, hashlib.sha256(stored).hexdigest())


def text_of(source: Source) -> str:
    """Return the content as text; a byte-order mark is dropped."""
    try:
        return source.content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(
            "the file is not text", file=source.path, place=f"byte {error.start}", expected="UTF-8 text"
        ) from error


def json_of(
    source: Source, *, expected: str, object_hook: Callable[[dict[str, Any]], Any] | None = None
) -> Any:
    """Return the content as JSON; `expected` says what the file should hold where it is none."""
    try:
        return json.loads(text_of(source), object_hook=object_hook)
    except json.JSONDecodeError as error:
        raise InputError(
            "the file is not JSON, or ends too early",
            file=source.path,
            place=f"line {error.lineno}, column {error.colno}",
            found=error.msg,
            expected=expected,
        ) from error
    except (ValueError, RecursionError) as error:  # numbers of thousands of digits, lists nested without end
        raise InputError(
            "the file is not usable JSON", file=source.path, found=error, expected=expected
        ) from error


def _stored_bytes(path: Path) -> bytes:
    try:
        return read_limited(path, most_bytes=MOST_BYTES)
    except FileNotFoundError:
        raise InputError("the file does not exist", file=path) from None
    except IsADirectoryError:
        raise InputError("this is a folder, not a file", file=path) from None
    except (OSError, ValueError) as error:  # a name that holds a zero byte is a ValueError
        found = error.strerror if isinstance(error, OSError) else error
        raise InputError("the file cannot be read", file=path, found=found) from error


def _unpacked(path: Path, stored: bytes) -> bytes:
    try:
        return _within_bounds(path, stored)
    except EOFError as error:
        raise InputError(
            "the gzip file is truncated",
            file=path,
            found=f"{len(stored)} bytes and no end",
            do="fetch it again",
        ) from error
    except (gzip.BadGzipFile, zlib.error) as error:
        raise InputError("the gzip file is damaged", file=path, found=error, do="fetch it again") from error


def _within_bounds(path: Path, stored: bytes) -> bytes:
    """Unpack as far as any table of numbers would go: deflate itself packs a thousand to one, text ten to one."""
    most = min(MOST_BYTES, _ROOM_BYTES + _PACKED_AT_MOST * len(stored))
    with gzip.GzipFile(fileobj=io.BytesIO(stored)) as packed:
        content = packed.read(most + 1)
    if len(content) > most:
        raise InputError(
            "the gzip file unpacks to more than a catalogue can be",
            file=path,
            found=f"{len(stored)} bytes, unpacked over {most}",
            expected=f"at most {_PACKED_AT_MOST} times as many bytes",
        )
    return content
