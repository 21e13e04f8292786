"""Tables as CSV for people: a cell never becomes a formula of the program that opens it.

A text that a spreadsheet would read as a formula (it begins with = + - @, a tab or a carriage return) gets an
apostrophe before it (OWASP, "CSV Injection"); a number does not.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

import pyarrow as pa

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def csv_text(table: pa.Table) -> str:
    """A table as CSV: a line of names, then a line a row."""
    return csv_of_rows(
        table.column_names, zip(*(column.to_pylist() for column in table.columns), strict=True)
    )


def csv_of_rows(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Rows as CSV under a line of names."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(head)
    writer.writerows([plain_cell(value) for value in row] for row in rows)
    return stream.getvalue()


def plain_cell(value: object) -> object:
    """The value, or the text that no spreadsheet takes for a formula; a carriage return would end the row."""
    if not isinstance(value, str):
        return value
    text = value.replace("\r", " ")
    return f"'{text}" if value.startswith(_FORMULA) and not _is_number(value) else text


def plain_columns(table: pa.Table) -> pa.Table:
    """The table with no text that a spreadsheet takes for a formula."""
    for k, field in enumerate(table.schema):
        if pa.types.is_string(field.type):
            cells = [plain_cell(value) for value in table[field.name].to_pylist()]
            table = table.set_column(k, field, pa.array(cells, pa.string()))
    return table


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
