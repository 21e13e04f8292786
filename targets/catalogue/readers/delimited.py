"""Rows of a CSV file under a line of column names: the cells of the columns wanted, and where each row stands."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from targets.base.errors import InputError
from targets.catalogue.readers.source import Source, text_of


@dataclass(frozen=True)
class CsvRows:
    """n rows: `names` of all columns; `values` of those wanted, blanks round them dropped.

    lines  : (n,) the line each row starts on, from 1
    broken : (n,) '' or why the row is no row at all
    """

    names: tuple[str, ...]
    lines: NDArray[np.int64]
    values: dict[str, list[str]]
    broken: list[str]
    _ends: list[int]
    _file_lines: list[str]

    def text(self, row: int) -> str:
        start, end = int(self.lines[row]), self._ends[row]
        return "".join(self._file_lines[start - 1 : end]).rstrip("\r\n")


def read_csv_rows(source: Source, required: Sequence[str], wanted: Collection[str], kind: str) -> CsvRows:
    """Read a CSV file whose first row names its columns.

    Lines that start with '#' are comments, rows without text are skipped. Raises InputError, with `kind`
    to say what was expected, where a required column is missing, a name stands twice or the file is no CSV.
    """
    file_lines = list(io.StringIO(text_of(source), newline=""))
    rows = _fields(file_lines, source.path)
    place, _, header = next(rows, (1, 1, []))
    names = tuple(name.strip() for name in header)
    check_names(names, required, kind, path=source.path, place=f"line {place}")
    kept = {name: k for k, name in enumerate(names) if name in wanted}
    values: dict[str, list[str]] = {name: [] for name in kept}
    starts, ends, broken = [], [], []
    for start, end, fields in rows:
        fits = len(fields) == len(names)
        broken.append("" if fits else f"{len(fields)} fields where the header has {len(names)}")
        starts.append(start)
        ends.append(end)
        for name, k in kept.items():
            values[name].append(fields[k].strip() if fits else "")
    return CsvRows(names, np.array(starts, dtype=np.int64), values, broken, ends, file_lines)


def check_names(names: Sequence[str], required: Sequence[str], kind: str, *, path: Path, place: str) -> None:
    """Refuse a list of column names in which a required one is missing or any stands twice."""
    lacking = [name for name in required if name not in names]
    if lacking:
        raise InputError(
            f"required columns are missing: {', '.join(lacking)}",
            file=path,
            place=place,
            found=", ".join(names)[:200] or "no column names",
            expected=f"{kind} with the columns {', '.join(required)}",
        )
    twice = sorted({name for name in names if list(names).count(name) > 1})
    if twice:
        raise InputError(f"columns stand twice: {', '.join(twice)}", file=path, place=place)


def _fields(lines: list[str], path: Path) -> Iterator[tuple[int, int, list[str]]]:
    """Yield (line the row starts on, line it ends on, fields); a quoted field may run over several lines."""
    reader = csv.reader(_without_comments(lines), strict=True)
    ended = 0
    while True:
        try:
            fields = next(reader, None)
        except csv.Error as error:
            raise InputError(
                "the file is not readable as CSV", file=path, place=f"line {ended + 1}", found=error
            ) from error
        if fields is None:
            return
        start, ended = ended + 1, reader.line_num
        if any(field.strip() for field in fields):
            yield start, ended, fields


def _without_comments(lines: list[str]) -> Iterator[str]:
    for line in lines:
        yield "\n" if line.startswith("#") else line
