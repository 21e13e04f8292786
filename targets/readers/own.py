"""The tool's own catalogue, Parquet or CSV (told by content): the columns of `Catalogue` by name.

The target and the elements must be there; every other column may be left out and then follows the
rules. In CSV, lines that start with '#' are comments and lines without text are skipped.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq
from numpy.typing import NDArray

from targets.bodies import SCHEMA, Catalogue
from targets.errors import InputError
from targets.readers.draft import Draft, Numbers, no_numbers, numbers_of, tidy
from targets.readers.rules import ELEMENTS
from targets.readers.source import Source, read_source, text_of

REQUIRED = ("target", *ELEMENTS)
_NUMBERS = (*ELEMENTS, "h_mag", "g_slope", "albedo", "diameter_km", "u_code")
_PARQUET_MAGIC = b"PAR1"
_YES, _NO = ("true", "1", "yes"), ("false", "0", "no", "", "none")


@dataclass(frozen=True)
class _Columns:
    """Named columns of texts or values, one entry per row; what is absent is unknown."""

    names: tuple[str, ...]
    lines: NDArray[np.int64]
    values: Mapping[str, Sequence[Any]]
    texts: Sequence[str] | None
    broken: Sequence[str]


def read_draft(path: Path) -> tuple[Draft, Source]:
    """Return the rows of an own-format file as they are, with the source they came from."""
    source = read_source(path)
    columns = _from_parquet(source) if source.content.startswith(_PARQUET_MAGIC) else _from_csv(source)
    if len(columns.lines) == 0:
        raise InputError("the catalogue is empty", file=path, found="column names and no row")
    return _draft(columns), source


def write_csv(catalogue: Catalogue, path: Path) -> None:
    """Write the catalogue as CSV of the own format; every number reads back exactly."""
    pyarrow.csv.write_csv(catalogue.to_table(), path)


def _from_parquet(source: Source) -> _Columns:
    try:
        table = pq.read_table(io.BytesIO(source.content))
    except (pa.ArrowException, OSError) as error:
        raise InputError("the Parquet file is damaged or truncated", file=source.path, found=error) from error
    _check_names(table.column_names, source.path, "columns")
    values = {name: _parquet_values(table[name]) for name in table.column_names if name in SCHEMA.names}
    rows = table.num_rows
    return _Columns(tuple(table.column_names), np.arange(1, rows + 1), values, None, [""] * rows)


def _parquet_values(column: pa.ChunkedArray) -> Sequence[Any]:
    if pa.types.is_floating(column.type) and column.null_count == 0:
        return column.to_numpy()
    return column.to_pylist()


def _from_csv(source: Source) -> _Columns:
    lines = list(io.StringIO(text_of(source), newline=""))
    rows = _csv_rows(lines, source.path)
    place, names, _ = next(rows, (1, [], ""))
    names = [name.strip() for name in names]
    _check_names(names, source.path, f"line {place}")
    numbers, texts, broken = [], [], []
    cells: list[list[str]] = []
    for line, fields, text in rows:
        fits = len(fields) == len(names)
        broken.append("" if fits else f"{len(fields)} fields where the header has {len(names)}")
        cells.append(fields if fits else [""] * len(names))
        numbers.append(line)
        texts.append(text)
    values = {name: [row[k].strip() for row in cells] for k, name in enumerate(names) if name in SCHEMA.names}
    return _Columns(tuple(names), np.array(numbers, dtype=np.int64), values, texts, broken)


def _csv_rows(lines: list[str], path: Path) -> Iterator[tuple[int, list[str], str]]:
    """Yield (line the row starts on, fields, text); a quoted field may run over several lines."""
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
            yield start, fields, "".join(lines[start - 1 : ended]).rstrip("\r\n")


def _without_comments(lines: list[str]) -> Iterator[str]:
    for line in lines:
        yield "\n" if line.startswith("#") else line


def _check_names(names: Sequence[str], path: Path, place: str) -> None:
    lacking = [name for name in REQUIRED if name not in names]
    if lacking:
        raise InputError(
            f"required columns are missing: {', '.join(lacking)}",
            file=path,
            place=place,
            found=", ".join(names)[:200] or "no column names",
            expected=f"CSV or Parquet with the columns {', '.join(REQUIRED)}",
        )
    twice = sorted({name for name in names if list(names).count(name) > 1})
    if twice:
        raise InputError(f"columns stand twice: {', '.join(twice)}", file=path, place=place)


def _draft(columns: _Columns) -> Draft:
    count = len(columns.lines)

    def text_of_row(row: int) -> str:
        if columns.texts is not None:
            return columns.texts[row]
        return ",".join(str(values[row]) for values in columns.values.values())

    numbers = {name: _numbers(columns, name, count) for name in _NUMBERS}
    u_texts = columns.values.get("u_code", ())
    letters = np.array([isinstance(u, str) and u.isalpha() for u in u_texts] or [False] * count, dtype=bool)
    visited, unclear = _flags(columns.values.get("visited", [False] * count))
    return Draft(
        lines=columns.lines,
        text_of=text_of_row,
        broken=columns.broken,
        target=_texts(columns, "target", count),
        name=_texts(columns, "name", count),
        taxonomy=_texts(columns, "taxonomy", count),
        visited=visited,
        numbers=numbers,
        label_of={name: name for name in _NUMBERS},
        u_letter=letters,
        assumed=_assumed(columns, count),
        notes=(*_unused_notes(columns.names), *_unclear_notes(unclear)),
    )


def _numbers(columns: _Columns, name: str, count: int) -> Numbers:
    return numbers_of(columns.values[name]) if name in columns.values else no_numbers(count)


def _texts(columns: _Columns, name: str, count: int) -> list[str]:
    return [tidy(value) for value in columns.values[name]] if name in columns.values else [""] * count


def _flags(values: Sequence[Any]) -> tuple[NDArray[np.bool_], int]:
    """Return yes/no values and how many are neither (taken as no)."""
    words = [str(value).strip().lower() for value in values]
    unclear = sum(word not in _YES and word not in _NO for word in words)
    return np.array([word in _YES for word in words], dtype=bool), unclear


def _assumed(columns: _Columns, count: int) -> NDArray[np.uint16]:
    bits = _numbers(columns, "assumed", count).values
    known = np.isfinite(bits) & (bits >= 0) & (bits <= np.iinfo(np.uint16).max)
    return np.where(known, bits, 0).astype(np.uint16)


def _unused_notes(names: Sequence[str]) -> tuple[str, ...]:
    unused = [name for name in names if name not in SCHEMA.names]
    return (f"Columns not used: {', '.join(unused)}.",) if unused else ()


def _unclear_notes(unclear: int) -> tuple[str, ...]:
    sentence = f"{unclear} rows with a visited flag that is neither true nor false: taken as not visited."
    return (sentence,) if unclear else ()
