"""The lines of an Orbit Ephemeris Message (CCSDS 502.0-B-3, section 5, KVN) cut into segments, unread."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from targets.base.errors import InputError

VERSIONS = ("1.0", "2.0", "3.0")
NEEDED = ("OBJECT_NAME", "OBJECT_ID", "CENTER_NAME", "REF_FRAME", "TIME_SYSTEM", "START_TIME", "STOP_TIME")
ALLOWED = (
    "REF_FRAME_EPOCH",
    "USEABLE_START_TIME",
    "USEABLE_STOP_TIME",
    "INTERPOLATION",
    "INTERPOLATION_DEGREE",
)
DATA_LINE = "EPOCH X Y Z X_DOT Y_DOT Z_DOT (km, km/s; three accelerations may follow)"
_HEADER = ("CREATION_DATE", "ORIGINATOR", "CLASSIFICATION", "MESSAGE_ID")


@dataclass(frozen=True)
class Line:
    number: int
    text: str

    @property
    def key(self) -> str:
        return self.text.split("=", 1)[0].strip() if "=" in self.text else self.text

    @property
    def value(self) -> str:
        return self.text.split("=", 1)[1].strip()


@dataclass(frozen=True)
class Block:
    """A segment's lines before their meaning is looked at."""

    number: int
    line: int
    meta: dict[str, Line]
    data: list[Line]


class Refusal:
    """InputErrors of one file."""

    def __init__(self, file: Path) -> None:
        self.file = file

    def at(self, line: Line, what: str, expected: str, *, found: str | None = None) -> InputError:
        shown = line.text if found is None else found
        return InputError(
            what, file=self.file, place=f"line {line.number}", found=shown[:200], expected=expected
        )

    def of(self, block: Block, what: str, expected: str, *, found: str) -> InputError:
        place = f"segment {block.number} (line {block.line})"
        return InputError(what, file=self.file, place=place, found=found, expected=expected)

    def end(self, what: str, last: int, expected: str) -> InputError:
        place = f"line {last}, the end of the file"
        return InputError(what, file=self.file, place=place, found="the file is cut off", expected=expected)


def lines_of(raw: bytes, refusal: Refusal) -> list[Line]:
    """Lines that say something, in order."""
    lines = []
    for number, line in enumerate(raw.splitlines(), start=1):
        try:
            text = line.decode("ascii").strip()
        except UnicodeDecodeError:
            # comments are passed over, whatever they are written in
            text = line.decode("latin-1").strip()
            if not text.startswith("COMMENT"):
                raise refusal.at(
                    Line(number, ascii(text)), "not ASCII text", "a CCSDS OEM, KVN text"
                ) from None
        if text and text != "COMMENT" and not text.startswith("COMMENT "):
            lines.append(Line(number, text))
    return lines


def blocks_of(lines: list[Line], refusal: Refusal) -> Iterator[Block]:
    """The segments of the message: header, then metadata and data by turns."""
    if not lines:
        raise InputError("the file is empty", file=refusal.file, expected="a CCSDS OEM, KVN text")
    if lines[0].key != "CCSDS_OEM_VERS" or "=" not in lines[0].text:
        raise refusal.at(lines[0], "not an orbit ephemeris message", "CCSDS_OEM_VERS = 3.0 (KVN) first")
    if lines[0].value not in VERSIONS:
        raise refusal.at(lines[0], "a version that is not known", f"CCSDS_OEM_VERS = {' or '.join(VERSIONS)}")
    k = 1
    while k < len(lines) and lines[k].text != "META_START":
        if lines[k].key not in _HEADER:
            raise refusal.at(
                lines[k], "not a line of the header", "CREATION_DATE, ORIGINATOR, then META_START"
            )
        k += 1
    if k == len(lines):
        raise refusal.end("no META_START", lines[-1].number, "META_START, metadata, META_STOP, states")
    number = 0
    while k < len(lines):
        number += 1
        start = lines[k].number
        meta, k = _metadata(lines, k + 1, refusal)
        data, k = _data(lines, k, refusal)
        yield Block(number, start, meta, data)


def _metadata(lines: list[Line], k: int, refusal: Refusal) -> tuple[dict[str, Line], int]:
    """The keys from line k to META_STOP, and the place behind it."""
    meta: dict[str, Line] = {}
    known = (*NEEDED, *ALLOWED)
    while k < len(lines) and lines[k].text != "META_STOP":
        line = lines[k]
        if "=" not in line.text:
            raise refusal.at(
                line, "no META_STOP before this line", "KEYWORD = value, or META_STOP before states"
            )
        if line.key not in known:
            raise refusal.at(line, "a keyword that metadata do not have", f"one of {', '.join(known)}")
        if line.key in meta:
            raise refusal.at(line, "a keyword for the second time", f"one {line.key} a segment")
        meta[line.key] = line
        k += 1
    if k == len(lines):
        raise refusal.end("no META_STOP", lines[-1].number, "META_STOP after the metadata, then states")
    for key in NEEDED:
        if key not in meta:
            raise refusal.at(lines[k], f"no {key} in the metadata above", f"{', '.join(NEEDED)}")
    return meta, k + 1


def _data(lines: list[Line], k: int, refusal: Refusal) -> tuple[list[Line], int]:
    """The state lines from line k to the next META_START, covariances passed over."""
    data = []
    while k < len(lines) and lines[k].text != "META_START":
        if lines[k].text == "COVARIANCE_START":
            stop = next((j for j in range(k, len(lines)) if lines[j].text == "COVARIANCE_STOP"), None)
            if stop is None:
                raise refusal.end("no COVARIANCE_STOP", lines[-1].number, "COVARIANCE_STOP after covariances")
            k = stop + 1
            continue
        if "=" in lines[k].text or lines[k].text == "META_STOP":
            raise refusal.at(lines[k], "not a line of states", f"{DATA_LINE}, or META_START")
        data.append(lines[k])
        k += 1
    return data, k
