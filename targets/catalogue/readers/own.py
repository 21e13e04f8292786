"""The tool's own catalogue, Parquet or CSV (told by content): the columns of `Catalogue` by name.

The target and the elements must be there; every other column may be left out and then follows the
rules. In CSV, lines that start with '#' are comments and lines without text are skipped.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq
from numpy.typing import NDArray

from targets.base.errors import InputError
from targets.base.files import MOST_BYTES
from targets.catalogue.bodies import ATTRIBUTES, SCHEMA, Catalogue, Floats, object_column, uncertainty_of
from targets.catalogue.readers.assumptions import ELEMENTS
from targets.catalogue.readers.delimited import check_names, read_csv_rows
from targets.catalogue.readers.draft import Draft, Numbers, few, no_numbers, numbers_of, spin_periods_h, tidy
from targets.catalogue.readers.source import Source, read_source

REQUIRED = ("target", *ELEMENTS)
_KNOWN = (*SCHEMA.names, *ATTRIBUTES)
_NUMBERS = (*ELEMENTS, "h_mag", "g_slope", "albedo", "diameter_km", "u_code")
_KIND = "CSV or Parquet"
_MOST_ROWS, _MOST_COLUMNS = 20_000_000, 1000  # own choices: ten times the bodies that are known
_PARQUET_MAGIC = b"PAR1"
_YES, _NO = ("true", "1", "yes"), ("false", "0", "no", "", "none")


@dataclass(frozen=True)
class _Columns:
    """Named columns of texts or values, one entry per row; what is absent is unknown."""

    names: tuple[str, ...]
    lines: NDArray[np.int64]
    values: Mapping[str, Sequence[Any]]
    text: Callable[[int], str] | None
    broken: Sequence[str]
    uncertainty: dict[str, Floats] = field(default_factory=dict)


def read_draft(path: Path) -> tuple[Draft, Source]:
    """Return the rows of an own-format file as they are, with the source they came from."""
    source = read_source(path)
    columns = _from_parquet(source) if source.content.startswith(_PARQUET_MAGIC) else _from_csv(source)
    if len(columns.lines) == 0:
        raise InputError("the catalogue is empty", file=path, found="column names and no row")
    return _draft(columns), source


def write_csv(catalogue: Catalogue, path: Path) -> None:
    """Write the catalogue as CSV of the own format; every number reads back exactly.

    Uncertainty arrays have no place in a table of single cells: Parquet keeps them.
    """
    table = catalogue.to_table()
    pyarrow.csv.write_csv(table.select([name for name in table.column_names if name in _KNOWN]), path)


def _from_parquet(source: Source) -> _Columns:
    try:
        file = pq.ParquetFile(io.BytesIO(source.content))
        _require_bounded(file.metadata, source)
        table = file.read()
    except (pa.ArrowException, OSError, ValueError, OverflowError, MemoryError):
        raise InputError(
            "the Parquet file is damaged or truncated", file=source.path, do="write it again"
        ) from None
    check_names(table.column_names, REQUIRED, _KIND, path=source.path, place="columns")
    values = {name: _parquet_values(table[name]) for name in table.column_names if name in _KNOWN}
    rows = table.num_rows
    lines = np.arange(1, rows + 1)
    return _Columns(tuple(table.column_names), lines, values, None, [""] * rows, _uncertainty(table, source))


def _require_bounded(metadata: pq.FileMetaData, source: Source) -> None:
    """Refuse what would not fit: a few bytes of Parquet may stand for any number of rows."""
    groups = [metadata.row_group(k) for k in range(metadata.num_row_groups)]
    unpacked = sum(group.total_byte_size for group in groups)
    if metadata.num_rows > _MOST_ROWS or metadata.num_columns > _MOST_COLUMNS or unpacked > MOST_BYTES:
        raise InputError(
            "the Parquet file is too large",
            file=source.path,
            found=f"{metadata.num_rows} rows of {metadata.num_columns} columns, {unpacked} bytes unpacked",
            expected=f"at most {_MOST_ROWS} rows of {_MOST_COLUMNS} columns, {MOST_BYTES} bytes",
        )


def _uncertainty(table: pa.Table, source: Source) -> dict[str, Floats]:
    try:
        return uncertainty_of(table)
    except InputError as error:
        raise InputError(
            error.what, file=source.path, place="columns", found=error.found, expected=error.expected
        ) from error


def _parquet_values(column: pa.ChunkedArray) -> Sequence[Any]:
    if pa.types.is_floating(column.type) and column.null_count == 0:
        return column.to_numpy()
    return column.to_pylist()


def _from_csv(source: Source) -> _Columns:
    rows = read_csv_rows(source, REQUIRED, _KNOWN, _KIND)
    return _Columns(rows.names, rows.lines, rows.values, rows.text, rows.broken)


def _draft(columns: _Columns) -> Draft:
    count = len(columns.lines)

    def text_of_row(row: int) -> str:
        if columns.text is not None:
            return columns.text(row)
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
        notes=(*_unused_notes(columns), *_unclear_notes(unclear)),
        attributes=_attributes(columns),
        **columns.uncertainty,
    )


def _attributes(columns: _Columns) -> dict[str, NDArray[Any]]:
    held: dict[str, NDArray[Any]] = {}
    if "binary" in columns.values:
        words = [str(value).strip().lower() for value in columns.values["binary"]]
        # unlike a visited flag, a cell without a word is not a no
        codes = [
            1 if word in _YES else 0 if word in _NO and word not in ("", "none") else -1 for word in words
        ]
        held["binary"] = np.array(codes, dtype=np.int8)
    if "spin_period_h" in columns.values:
        held["spin_period_h"] = spin_periods_h(columns.values["spin_period_h"])
    if "family" in columns.values:
        held["family"] = object_column([tidy(value) for value in columns.values["family"]])
    return held


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


def _unused_notes(columns: _Columns) -> tuple[str, ...]:
    unused = [name for name in columns.names if name not in _KNOWN and name not in columns.uncertainty]
    return (f"Columns not used: {few(unused)}.",) if unused else ()


def _unclear_notes(unclear: int) -> tuple[str, ...]:
    sentence = f"{unclear} rows with a visited flag that is neither true nor false: taken as not visited."
    return (sentence,) if unclear else ()
