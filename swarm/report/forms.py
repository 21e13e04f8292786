"""How a number of the archive is written on the page; page.js writes the same way (tests/report compares them)."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import Any

NOTHING = "\u2013"
_THIN = "\u202f"
_UNIX_JD = 2440587.5
_UNIX = datetime(1970, 1, 1)


def day(jd: float) -> str:
    """Return the day of a Julian date, to the nearest second: 2031-03-01."""
    return (_UNIX + timedelta(seconds=round((jd - _UNIX_JD) * 86400.0))).strftime("%Y-%m-%d")


def shown(value: Any, form: str) -> str:
    """Return a value as text.

    form : "text", "id" (a number that names something), "date" (a Julian date), "yes" (a bool), "%1" (a share, in
           percent with so many decimals), or the number of decimals, thousands set apart by a thin space
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return NOTHING
    if form in ("text", "id"):
        return str(value)
    if form == "date":
        return day(value)
    if form == "yes":
        return "yes" if value else "no"
    if form.startswith("%"):
        return _plain_zero(f"{100.0 * value:.{int(form[1:])}f}") + "\u00a0%"
    return _plain_zero(f"{value:,.{int(form)}f}").replace(",", _THIN)


def _plain_zero(written: str) -> str:
    """Without the minus of a number that is written as 0."""
    return written if written.strip("-0.,") else written.removeprefix("-")
