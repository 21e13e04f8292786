"""The Minor Planet Center's fixed-width orbit format (MPCORB), plain or gzip, with or without its header.

Format: the Center's page "Export Format for Minor-Planet Orbits". Epochs are TT. A file is read as
columns of bytes, block by block: 1.5 million lines take seconds and stay near 1 GB in all.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from targets.base.errors import InputError
from targets.base.timescale import tdb_jd_from_tt_jd
from targets.catalogue.readers.designations import is_provisional, unpack_designation, unpack_epoch
from targets.catalogue.readers.draft import Draft, Numbers, naming_notes, no_numbers, tidy
from targets.catalogue.readers.source import Source, read_source

Bytes = NDArray[np.uint8]

# (field, first column, last column), counted from 1 as published
COLUMNS: tuple[tuple[str, int, int], ...] = (
    ("desig", 1, 7),
    ("H", 9, 13),
    ("G", 15, 19),
    ("Epoch", 21, 25),
    ("M", 27, 35),
    ("Peri", 38, 46),
    ("Node", 49, 57),
    ("i", 60, 68),
    ("e", 71, 79),
    ("n", 81, 91),
    ("a", 93, 103),
    ("U", 106, 106),
    ("Reference", 108, 116),
    ("#Obs", 118, 122),
    ("#Opp", 124, 126),
    ("Arc", 128, 136),
    ("rms", 138, 141),
    ("Pert", 143, 145),
    ("Pert2", 147, 149),
    ("Computer", 151, 160),
    ("Flags", 162, 165),
    ("readable designation", 167, 194),
    ("LastObs", 195, 202),
)
_PLACE = {field: (first, last) for field, first, last in COLUMNS}
_ORBIT_END = _PLACE["a"][1]
_ORBIT_FIELDS = [place for place in _PLACE.values() if place[1] <= _ORBIT_END]
# Between the fields of the orbit nothing is written; a line that is shifted betrays itself here.
_BLANK_COLUMNS = np.array(
    [column for (_, last), (first, _) in pairwise(_ORBIT_FIELDS) for column in range(last + 1, first)]
)

# column of the catalogue -> field of the format
_NUMBER_FIELDS = {
    "a_au": "a",
    "e": "e",
    "i_deg": "i",
    "node_deg": "Node",
    "argp_deg": "Peri",
    "mean_anomaly_deg": "M",
    "h_mag": "H",
    "g_slope": "G",
    "u_code": "U",
}

TOO_SHORT = f"the line ends before column {_ORBIT_END}, where the orbit ends"
SHIFTED = "between two fields, where the line should be blank, something is written"
NO_DATE = "Epoch (columns 21-25) is no packed date"
_FORMAT = "the Minor Planet Center's fixed-width orbit format"

_BLANK, _NEWLINE, _RETURN, _POINT, _ZERO = (ord(sign) for sign in " \n\r.0")
_SIGNS = (ord("+"), ord("-"))
# The header of the Center's file has 43 lines and ends in a line of dashes.
_LONGEST_HEADER_LINES = 400
_DASHES = re.compile(rb"\s*-{20,}\s*")
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
# Rows and bytes looked at in one go: large enough for numpy, small against the file.
_BLOCK_ROWS = 40_000
_BLOCK_BYTES = 8_000_000


@dataclass(frozen=True)
class _Lines:
    """The lines of a file as spans of its bytes: `numbers` from 1, line ends not in the span."""

    content: bytes
    numbers: NDArray[np.int64]
    starts: NDArray[np.int64]
    ends: NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.numbers)

    def take(self, index: Any) -> _Lines:
        return _Lines(self.content, self.numbers[index], self.starts[index], self.ends[index])

    def text(self, row: int) -> str:
        return self.content[self.starts[row] : self.ends[row]].decode("utf-8", "replace")

    def cells(self, columns: NDArray[np.intp]) -> Bytes:
        """Return the bytes in `columns` (from 1), (n, len(columns)); blank beyond the end of a line."""
        view = np.frombuffer(self.content, dtype=np.uint8)
        at = self.starts[:, None] + (columns - 1)
        held = view[np.minimum(at, len(view) - 1)]
        return np.where(at < self.ends[:, None], held, np.uint8(_BLANK))

    def field(self, name: str) -> Bytes:
        first, last = _PLACE[name]
        return self.cells(np.arange(first, last + 1))


def read_draft(path: Path) -> tuple[Draft, Source]:
    """Return the rows of a fixed-width orbit file as they are, with the source they came from."""
    source = read_source(path)
    rows = _rows(_lines_of(source.content))
    if len(rows) == 0:
        raise InputError("the catalogue is empty", file=path, found="a header and no row")
    parts = [_part(rows.take(block)) for block in _blocks(len(rows), _BLOCK_ROWS)]
    draft = _joined(rows, parts)
    if all(reason in (TOO_SHORT, SHIFTED) for reason in draft.broken):
        raise _other_format(path, rows)
    return draft, source


def _blocks(length: int, size: int) -> Iterator[slice]:
    return (slice(start, min(start + size, length)) for start in range(0, length, size))


def _lines_of(content: bytes) -> _Lines:
    view = np.frombuffer(content, dtype=np.uint8)
    found = [
        np.flatnonzero(view[block] == _NEWLINE) + block.start for block in _blocks(len(view), _BLOCK_BYTES)
    ]
    ends = np.concatenate([*found, [len(view)]]).astype(np.int64)
    starts = np.concatenate([[0], ends[:-1] + 1])
    if content.startswith(_BYTE_ORDER_MARK):
        starts[0] = len(_BYTE_ORDER_MARK)
    ended_by_return = (ends > starts) & (view[np.maximum(ends - 1, 0)] == _RETURN)
    return _Lines(content, np.arange(1, len(ends) + 1), starts, ends - ended_by_return)


def _rows(lines: _Lines) -> _Lines:
    """Return the lines after the header that are not blank."""
    body = lines.take(slice(_header_length(lines), None))
    written = body.ends > body.starts
    for row in np.flatnonzero(written & (body.ends - body.starts < _ORBIT_END)):
        written[row] = body.text(int(row)).strip() != ""
    return body.take(written)


def _header_length(lines: _Lines) -> int:
    """Return how many lines end in the line of dashes; 0 where it is missing or an orbit stands before it."""
    start = lines.take(slice(0, _LONGEST_HEADER_LINES))
    for row in range(len(start)):
        if _DASHES.fullmatch(lines.content, int(start.starts[row]), int(start.ends[row])):
            above = start.take(slice(0, row))
            return 0 if (_layout_faults(above) == "").any() else row + 1
    return 0


def _layout_faults(rows: _Lines) -> NDArray[np.object_]:
    faults = np.full(len(rows), "", dtype=object)
    faults[(rows.cells(_BLANK_COLUMNS) != _BLANK).any(axis=1)] = SHIFTED
    faults[rows.ends - rows.starts < _ORBIT_END] = TOO_SHORT
    return faults


@dataclass(frozen=True)
class _Part:
    """What a block of rows says."""

    broken: list[str]
    target: list[str]
    name: list[str]
    numbers: dict[str, Numbers]
    u_letter: NDArray[np.bool_]


def _part(rows: _Lines) -> _Part:
    broken = _layout_faults(rows)
    target = _targets(_texts(rows.field("desig")), broken)
    numbers = {column: _decimals(rows.field(field)) for column, field in _NUMBER_FIELDS.items()}
    numbers["epoch_jd_tdb"] = _epochs(rows.field("Epoch"), broken)
    u = rows.field("U")[:, 0]
    return _Part(
        broken=broken.tolist(),
        target=target,
        name=[_name(text) for text in _texts(rows.field("readable designation"))],
        numbers=numbers,
        u_letter=((u | 0x20) >= ord("a")) & ((u | 0x20) <= ord("z")),
    )


def _targets(packed: list[str], broken: NDArray[np.object_]) -> list[str]:
    """Return the unpacked designations; where there is none, `broken` is told why."""
    targets = []
    for row, code in enumerate(packed):
        try:
            targets.append(unpack_designation(code) if code else "")
        except ValueError as error:
            targets.append("")
            broken[row] = broken[row] or str(error)
    return targets


def _epochs(cells: Bytes, broken: NDArray[np.object_]) -> Numbers:
    """Return TDB epochs; few different dates stand in a file, each is unpacked once."""
    codes, of_row = np.unique(_packed_texts(cells), return_inverse=True)
    jd_tt = np.array([_jd_or_nan(code.decode("latin-1")) for code in codes])[of_row]
    missing = (cells == _BLANK).all(axis=1)
    broken[np.isnan(jd_tt) & ~missing & (broken == "")] = NO_DATE
    return Numbers(tdb_jd_from_tt_jd(jd_tt), missing)


def _jd_or_nan(packed: str) -> float:
    try:
        return unpack_epoch(packed)
    except ValueError:
        return float("nan")


def _name(readable: str) -> str:
    """Return "Eros" of "(433) Eros"; '' where the designation is all there is."""
    if not readable.startswith("("):
        return ""
    name = readable.partition(")")[2].strip()
    return "" if is_provisional(name) else tidy(name)


def _packed_texts(cells: Bytes) -> NDArray[np.bytes_]:
    return np.ascontiguousarray(cells).view(f"S{cells.shape[1]}").ravel()


def _texts(cells: Bytes) -> list[str]:
    return [text.decode("utf-8", "replace").strip() for text in _packed_texts(cells).tolist()]


def _decimals(cells: Bytes) -> Numbers:
    """Return fixed-point numbers of at most 15 columns, NaN where the columns hold none.

    A whole number below 2^53 divided by a power of ten is rounded once, so every value is the double
    that `float` makes of the text.
    """
    blank, point = cells == _BLANK, cells == _POINT
    digits = cells - np.uint8(_ZERO)  # below zero wraps round to a large value
    digit = digits <= 9
    whole = np.zeros(len(cells), dtype=np.int64)
    for k in range(cells.shape[1]):
        whole = np.where(digit[:, k], 10 * whole + digits[:, k], whole)
    decimals = (digit & np.logical_or.accumulate(point, axis=1)).sum(axis=1)
    negative = (cells == ord("-")).any(axis=1)
    values = np.where(negative, -whole, whole) / 10.0**decimals
    missing = blank.all(axis=1)
    return Numbers(np.where(_is_decimal(cells, blank, point, digit), values, np.nan), missing)


def _is_decimal(
    cells: Bytes, blank: NDArray[np.bool_], point: NDArray[np.bool_], digit: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Tell which rows are blanks, a sign or none, digits with at most one point, blanks."""
    sign = np.isin(cells, _SIGNS)
    known = (blank | point | digit | sign).all(axis=1)
    begins = ~blank
    begins[:, 1:] &= blank[:, :-1]  # written after a blank
    one_word = begins.sum(axis=1) == 1
    sign_first = ~(sign & ~begins).any(axis=1)
    return np.asarray(known & one_word & sign_first & digit.any(axis=1) & (point.sum(axis=1) <= 1))


def _joined(rows: _Lines, parts: list[_Part]) -> Draft:
    count = len(rows)
    numbers = {
        column: _joined_numbers([part.numbers[column] for part in parts]) for column in parts[0].numbers
    }
    target = [text for part in parts for text in part.target]
    unnumbered = sum(not text.isdigit() for text in target if text)
    return Draft(
        lines=rows.numbers,
        text_of=rows.text,
        broken=[reason for part in parts for reason in part.broken],
        target=target,
        name=[text for part in parts for text in part.name],
        taxonomy=[""] * count,
        visited=np.zeros(count, dtype=bool),
        numbers=numbers | {"albedo": no_numbers(count), "diameter_km": no_numbers(count)},
        label_of=_labels(),
        u_letter=np.concatenate([part.u_letter for part in parts]),
        assumed=np.zeros(count, dtype=np.uint16),
        notes=naming_notes(unnumbered),
    )


def _joined_numbers(parts: list[Numbers]) -> Numbers:
    return Numbers(
        np.concatenate([part.values for part in parts]), np.concatenate([part.missing for part in parts])
    )


def _labels() -> dict[str, str]:
    fields = _NUMBER_FIELDS | {"epoch_jd_tdb": "Epoch"}
    return {column: _label(field) for column, field in fields.items()} | {
        "albedo": "albedo",
        "diameter_km": "diameter",
    }


def _label(field: str) -> str:
    first, last = _PLACE[field]
    return f"{field} (column {first})" if first == last else f"{field} (columns {first}-{last})"


def ruler() -> str:
    """Return the template of a line: each field's name where the field begins, dots to its last column."""
    line = [" "] * COLUMNS[-1][2]
    for field, first, last in COLUMNS:
        width = last - first + 1
        line[first - 1 : last] = field[:width].ljust(width, ".")
    return "".join(line)


def _other_format(path: Path, rows: _Lines) -> InputError:
    shown = "".join(sign if sign.isprintable() else "?" for sign in rows.text(0)[: COLUMNS[-1][2]])
    return InputError(
        f"the file has another format than {_FORMAT}: no line fits it",
        file=path,
        place=f"line {rows.numbers[0]}",
        found=shown,
        expected=ruler(),
        do=f"give a file whose orbits stand in columns 1-{_ORBIT_END} as in the line above, or name its format",
    )
