"""Rows that were not taken: where they stand, why, and what they say."""

from __future__ import annotations

from collections.abc import Iterable

import pyarrow as pa

SCHEMA = pa.schema([("line", pa.int64()), ("reason", pa.string()), ("text", pa.string())])
# Enough to recognise a row by; a damaged file can hold rows of any length.
_LONGEST_TEXT = 500


def rejects_table(rows: Iterable[tuple[int, str, str]]) -> pa.Table:
    """Return the table of (line, reason, text), in the order of the source."""
    ordered = sorted(rows, key=_line)
    columns = [
        [line for line, _, _ in ordered],
        [reason for _, reason, _ in ordered],
        [_shortened(text) for _, _, text in ordered],
    ]
    return pa.Table.from_arrays(
        [pa.array(column, field.type) for column, field in zip(columns, SCHEMA, strict=True)], schema=SCHEMA
    )


def _line(row: tuple[int, str, str]) -> int:
    return row[0]


def _shortened(text: str) -> str:
    return text if len(text) <= _LONGEST_TEXT else text[: _LONGEST_TEXT - 1] + "…"
