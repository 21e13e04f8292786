"""HTML and JSON that hostile names cannot break out of."""

from __future__ import annotations

import html
import json
from collections.abc import Iterable, Sequence

# `<`, `>` and `&` would let a string end the script element; U+2028/2029 end a line in older JavaScript.
_IN_SCRIPT = {ord(sign): f"\\u{ord(sign):04x}" for sign in "<>&\u2028\u2029"}


def text(value: object) -> str:
    """Text of the page: every sign that means something to HTML is escaped."""
    return html.escape(str(value), quote=True)


def label(value: object) -> str:
    """Text inside a figure, where a small part of HTML would be obeyed."""
    return html.escape(str(value), quote=False)


def script_json(data: object) -> str:
    """JSON that may stand inside a script element; NaN is refused."""
    plain = json.dumps(data, sort_keys=True, allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    return plain.translate(_IN_SCRIPT)


def table(
    heads: Sequence[str], rows: Iterable[Sequence[object]], *, numeric: frozenset[int] = frozenset()
) -> str:
    """An HTML table; `numeric` columns are set to the right."""
    head = "".join(f"<th>{text(name)}</th>" for name in heads)
    body = "".join(f"<tr>{_cells(row, numeric)}</tr>\n" for row in rows)
    return f'<div class="wide"><table><thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody></table></div>'


def _cells(row: Sequence[object], numeric: frozenset[int]) -> str:
    return "".join(
        f'<td class="n">{text(cell)}</td>' if k in numeric else f"<td>{text(cell)}</td>"
        for k, cell in enumerate(row)
    )


def listing(items: Iterable[object]) -> str:
    """A bulleted list."""
    return "<ul>" + "".join(f"<li>{text(item)}</li>" for item in items) + "</ul>"
