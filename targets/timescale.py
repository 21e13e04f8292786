"""Time: TDB inside (seconds past J2000), Julian dates in tables, ISO 8601 with the scale written out for people."""

from __future__ import annotations

import math
import re
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import ArrayLike

from targets.constants import DAY_S, J2000_JD_TDB

_J2000 = datetime(2000, 1, 1, 12)
_ISO_TDB = re.compile(r"^(\d{4})-(\d{2})-(\d{2})(?:[T ](\d{2}):(\d{2})(?::(\d{2}(?:\.\d{1,6})?))?)?\s+TDB$")


def tdb_s_from_jd(jd_tdb: ArrayLike) -> np.ndarray:
    """Seconds past J2000 TDB of Julian dates TDB."""
    return (np.asarray(jd_tdb, dtype=float) - J2000_JD_TDB) * DAY_S


def jd_from_tdb_s(tdb_s: ArrayLike) -> np.ndarray:
    """Julian dates TDB of seconds past J2000 TDB (a double tick of a Julian date is 40 us)."""
    return np.asarray(tdb_s, dtype=float) / DAY_S + J2000_JD_TDB


def tdb_jd_from_tt_jd(jd_tt: ArrayLike) -> np.ndarray:
    """TDB from TT by the two largest terms (good to about 0.03 ms).

    Source: Explanatory Supplement to the Astronomical Almanac (1992), eq. 2.222-1.
    """
    jd = np.asarray(jd_tt, dtype=float)
    g_rad = np.radians(357.53 + 0.985_600_3 * (jd - J2000_JD_TDB))
    return jd + (0.001_658 * np.sin(g_rad) + 0.000_014 * np.sin(2.0 * g_rad)) / DAY_S


def parse_tdb_jd(date: float | int | str) -> float:
    """Julian date TDB of a number (taken as it is) or an ISO string ending in ' TDB'.

    Raises ValueError with what was expected; callers add the file and key.
    """
    if isinstance(date, bool):
        raise ValueError("expected a Julian date TDB or a text like '2031-03-01T00:00:00 TDB'")
    if isinstance(date, (int, float)):
        if not math.isfinite(date):
            raise ValueError("expected a finite Julian date TDB")
        return float(date)
    match = _ISO_TDB.match(date.strip())
    if match is None:
        raise ValueError(
            "expected a Julian date TDB or a text like '2031-03-01T00:00:00 TDB' (the scale is part of it)"
        )
    year, month, day, hour, minute, second = match.groups()
    moment = datetime(int(year), int(month), int(day), int(hour or 0), int(minute or 0))
    past_s = (moment - _J2000).total_seconds() + float(second or 0.0)
    return J2000_JD_TDB + past_s / DAY_S


def iso_tdb(jd_tdb: float, digits: int = 0) -> str:
    """ISO 8601 text with the scale, e.g. '2031-03-01T00:00:00 TDB', rounded to `digits` decimals of a second."""
    unit_us = 10 ** (6 - digits)
    past_us = round((jd_tdb - J2000_JD_TDB) * DAY_S * 1e6 / unit_us) * unit_us
    text = (_J2000 + timedelta(microseconds=past_us)).isoformat(timespec="microseconds")
    return f"{text[: 19 + (digits + 1 if digits else 0)]} TDB"
