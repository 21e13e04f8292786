"""HTML and JSON that hostile names cannot break out of: templates that escape every value, and what fills them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import pyarrow as pa
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from swarm.report.forms import shown

# `<`, `>` and `&` would let a string end the script element; U+2028/2029 end a line in older JavaScript.
_IN_SCRIPT = {ord(sign): f"\\u{ord(sign):04x}" for sign in "<>&\u2028\u2029"}
LONG = 24  # names up to this stay on one line of a table

_TEMPLATES = Environment(
    loader=PackageLoader("swarm.report"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_TEMPLATES.globals["long"] = LONG


@dataclass(frozen=True)
class Shown:
    """A column of an archive table as the page shows it; `form` as in `swarm.report.forms`."""

    key: str
    head: str
    form: str = "text"

    @property
    def numeric(self) -> bool:
        return self.form not in ("text", "yes")


def filled(template: str, **values: Any) -> Markup:
    """A template of `swarm/report/templates` with its values, each escaped unless it is markup itself."""
    return Markup(_TEMPLATES.get_template(template).render(**values))


def part(name: str, *values: Any, template: str = "parts.html", **more: Any) -> Markup:
    """A macro of a template with its values, escaped likewise."""
    return Markup(getattr(_TEMPLATES.get_template(template).module, name)(*values, **more))


def name(value: object) -> Markup:
    """A name from a catalogue: escaped, and kept from turning the direction of the text around it."""
    return part("name", value)


def script_json(data: object) -> Markup:
    """JSON that may stand inside a script element; NaN is refused."""
    plain = json.dumps(data, sort_keys=True, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    return Markup(plain.translate(_IN_SCRIPT))


def number(table: str, key: str, row: int, *, value: Any, form: str) -> Markup:
    """A number in a sentence, with the place in the archive it was read from."""
    return part("number", f"{table}/{key}/{row}", form, shown(value, form))


def archive_table(
    table: str,
    data: pa.Table,
    columns: Sequence[Shown],
    *,
    caption: str,
    order: Sequence[int] | None = None,
    numbered: bool = False,
) -> Markup:
    """An HTML table of an archive table; each cell knows its place there. Columns that are missing are left out.

    order    : rows of the archive's table as they are to stand; as they are there when None
    numbered : whether a first column counts the rows from 1
    """
    there = [column for column in columns if column.key in data.column_names]
    listed = data.to_pylist()
    rows = [
        (at, [shown(listed[at][column.key], column.form) for column in there])
        for at in (range(len(listed)) if order is None else order)
    ]
    return part("archive_table", table, there, rows, caption, numbered)


def plain_table(heads: Sequence[str], rows: Iterable[Sequence[object]], *, caption: str) -> Markup:
    """An HTML table of texts."""
    return part("plain_table", heads, list(rows), caption)


def listing(items: Iterable[object]) -> Markup:
    """A bulleted list."""
    return part("listing", list(items))


def place(figure: str, *, alone: bool = False) -> Markup:
    """Where the page shows a figure; one that stands `alone` does not fill a wide page."""
    return part("place", figure, alone)


def beside(*parts: Markup) -> Markup:
    """Parts side by side on a wide page."""
    return part("side_by_side", parts)


def folded(summary: str, inner: Markup, *, narrow: bool = False) -> Markup:
    """Shown when asked for; what is `narrow` is folded on a narrow screen only, where a row takes a whole card."""
    return part("details", summary, inner, narrow)


def with_rows(caption: str, data: pa.Table) -> str:
    """A caption with how many rows its table has."""
    return f"{caption}: {data.num_rows} {'row' if data.num_rows == 1 else 'rows'}"


def paragraph(inner: object, kind: str = "") -> Markup:
    return part("paragraph", inner, kind)
