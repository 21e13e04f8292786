"""Files changed at random, from a seed: bytes, numbers, lines and pieces of one another."""

from __future__ import annotations

import random
import re
from collections.abc import Callable

_NUMBER = re.compile(rb"-?[0-9]+(?:\.[0-9]*)?(?:[eE][-+]?[0-9]+)?")
_ODD_NUMBERS = (
    b"0", b"-1", b"1e308", b"-1e308", b"1e-308", b"1e400", b"nan", b"inf", b"-inf", b"9" * 400, b"2147483648",
    b"9223372036854775808", b"0x10", b"1_000", b"1.0000000000000002", b"", b"null", b"true", b'""', b"[]", b"{}",
)  # fmt: skip
_ODD_TEXTS = (
    b"\x00", b"\x1b[2J", b"\xff\xfe", b"\xef\xbb\xbf", b"\r\n", b"\t", b",", b'"', b"'", b"[", b"{", b"=", b"#",
    b"[" * 2000, b"{" * 2000, b"x" * 100_000, b"=cmd|' /C calc'!A0", b"\xe2\x80\xae",
    b"../../etc/hostname", b" " * 5000,
)  # fmt: skip


def mutated(content: bytes, rng: random.Random) -> bytes:
    """The content after one to four changes."""
    for _ in range(rng.randint(1, 4)):
        content = rng.choice(_CHANGES)(content, rng)
    return content


def _flip(content: bytes, rng: random.Random) -> bytes:
    changed = bytearray(content)
    for _ in range(rng.choice((1, 1, 2, 8, 64))):
        if changed:
            changed[rng.randrange(len(changed))] ^= 1 << rng.randrange(8)
    return bytes(changed)


def _cut(content: bytes, rng: random.Random) -> bytes:
    return content[: rng.randrange(len(content) + 1)]


def _drop(content: bytes, rng: random.Random) -> bytes:
    start = rng.randrange(len(content) + 1)
    return content[:start] + content[start + rng.choice((1, 4, 40, 400)) :]


def _number(content: bytes, rng: random.Random) -> bytes:
    found = list(_NUMBER.finditer(content))
    if not found:
        return content
    one = rng.choice(found)
    return content[: one.start()] + rng.choice(_ODD_NUMBERS) + content[one.end() :]


def _insert(content: bytes, rng: random.Random) -> bytes:
    place = rng.randrange(len(content) + 1)
    return content[:place] + rng.choice(_ODD_TEXTS) + content[place:]


def _repeat(content: bytes, rng: random.Random) -> bytes:
    start = rng.randrange(len(content) + 1)
    piece = content[start : start + rng.choice((1, 10, 100, 1000))]
    return content[:start] + piece * rng.choice((1, 2, 50)) + content[start:]


def _lines(content: bytes, rng: random.Random) -> bytes:
    lines = content.splitlines(keepends=True)
    rng.shuffle(lines)
    return b"".join(lines)


_CHANGES: tuple[Callable[[bytes, random.Random], bytes], ...] = (
    _flip, _flip, _cut, _drop, _number, _number, _number, _insert, _repeat, _lines,
)  # fmt: skip
