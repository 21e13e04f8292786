"""HTML and JSON that hostile names cannot break out of."""

from __future__ import annotations

import html
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import pyarrow as pa

from swarm.report.forms import shown

# `<`, `>` and `&` would let a string end the script element; U+2028/2029 end a line in older JavaScript.
_IN_SCRIPT = {ord(sign): f"\\u{ord(sign):04x}" for sign in "<>&\u2028\u2029"}
LONG = 24  # names up to this stay on one line of a table


@dataclass(frozen=True)
class Column:
    """A column of an archive table as the page shows it; `form` as in `swarm.report.forms`."""

    key: str
    head: str
    form: str = "text"


def text(value: object) -> str:
    """Text of the page: every sign that means something to HTML is escaped."""
    return html.escape(str(value), quote=True)


def name(value: object) -> str:
    """A name from a catalogue: escaped, and kept from turning the direction of the text around it."""
    long = ' class="long"' if len(str(value)) > LONG else ""
    return f"<bdi{long}>{text(value)}</bdi>"


def script_json(data: object) -> str:
    """JSON that may stand inside a script element; NaN is refused."""
    plain = json.dumps(data, sort_keys=True, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    return plain.translate(_IN_SCRIPT)


def number(table: str, key: str, row: int, *, value: Any, form: str) -> str:
    """A number in a sentence, with the place in the archive it was read from."""
    return f'<data data-at="{table}/{key}/{row}" data-form="{form}">{text(shown(value, form))}</data>'


def archive_table(table: str, data: pa.Table, columns: Sequence[Column], *, caption: str) -> str:
    """An HTML table of an archive table; each cell knows its place there. Columns that are missing are left out."""
    there = [column for column in columns if column.key in data.column_names]
    heads = [column.head for column in there]
    numeric = [column.form not in ("text", "yes") for column in there]
    rows = [
        [_cell(table, column, k, row[column.key]) for column in there]
        for k, row in enumerate(data.to_pylist())
    ]
    return _frame(caption, heads, numeric, ["".join(row) for row in rows])


def _cell(table: str, column: Column, row: int, value: Any) -> str:
    written = shown(value, column.form)
    inner = name(written) if column.form == "text" else text(written)
    kind = ' class="n"' if column.form not in ("text", "yes") else ""
    return f'<td{kind} data-at="{table}/{column.key}/{row}" data-form="{column.form}">{inner}</td>'


def plain_table(heads: Sequence[str], rows: Iterable[Sequence[object]], *, caption: str) -> str:
    """An HTML table of texts."""
    made = ["".join(f"<td>{name(cell)}</td>" for cell in row) for row in rows]
    return _frame(caption, heads, [False] * len(heads), made)


def _frame(caption: str, heads: Sequence[str], numeric: Sequence[bool], rows: Sequence[str]) -> str:
    head = "".join(
        f'<th scope="col"{" class=n" if right else ""}>{text(said)}</th>'
        for said, right in zip(heads, numeric, strict=True)
    )
    body = "".join(f"<tr>{row}</tr>\n" for row in rows)
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{text(caption)}"><table>'
        f"<caption>{text(caption)}</caption><thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody></table></div>"
    )


def listing(items: Iterable[object]) -> str:
    """A bulleted list."""
    return "<ul>" + "".join(f"<li>{name(item)}</li>" for item in items) + "</ul>"
