"""Time: TDB inside (seconds past J2000), Julian dates in tables, ISO 8601 with the scale written out for people."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import ArrayLike

from targets.base.constants import DAY_S, J2000_JD_TDB

TT_MINUS_TAI_S = 32.184  # IAU 1991 resolution A4, exact

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
    return jd + _tdb_minus_tt_s(jd - J2000_JD_TDB) / DAY_S


def tdb_s_from_tt_s(tt_s: ArrayLike) -> np.ndarray:
    """Seconds past J2000 TDB of seconds past J2000 TT, as `tdb_jd_from_tt_jd` but to the microsecond of a double."""
    tt = np.asarray(tt_s, dtype=float)
    return tt + _tdb_minus_tt_s(tt / DAY_S)


def _tdb_minus_tt_s(days_past_j2000: np.ndarray) -> np.ndarray:
    g_rad = np.radians(357.53 + 0.985_600_3 * days_past_j2000)
    return 0.001_658 * np.sin(g_rad) + 0.000_014 * np.sin(2.0 * g_rad)


@dataclass(frozen=True)
class LeapSeconds:
    """TAI - UTC as a table of steps (targets.ephemeris.spice.leap_seconds reads it from the leap-second kernel).

    from_utc_s      : (k,) starts of the UTC days from which a value holds, seconds past 2000-01-01T12:00:00
                      counted with days of 86 400 s
    tai_minus_utc_s : (k,) s
    """

    from_utc_s: np.ndarray
    tai_minus_utc_s: np.ndarray

    def at(self, day_s: ArrayLike) -> np.ndarray:
        """TAI - UTC on the UTC days that start at `day_s`; NaN before the first step (1972)."""
        index = np.searchsorted(self.from_utc_s, np.asarray(day_s, dtype=float) + 1.0) - 1
        return np.where(index < 0, np.nan, self.tai_minus_utc_s[np.maximum(index, 0)])


def tdb_s_from_utc(day_s: ArrayLike, second_of_day: ArrayLike, *, leap: LeapSeconds) -> np.ndarray:
    """Seconds past J2000 TDB of UTC dates; NaN before 1972.

    day_s, second_of_day : as `calendar_day_and_second` gives them; a leap second is 86 400 <= s < 86 401
    """
    tai = np.asarray(day_s, dtype=float) + np.asarray(second_of_day, dtype=float) + leap.at(day_s)
    return tdb_s_from_tt_s(tai + TT_MINUS_TAI_S)


_CALENDAR = re.compile(r"^(\d{4})-(?:(\d{2})-(\d{2})|(\d{3}))T(\d{2}):(\d{2}):(\d{2}(?:\.\d*)?)(Z?)$")


def calendar_day_and_second(text: str) -> tuple[float, float]:
    """Split a date of no stated scale, '2031-03-01T00:00:00.000' or '2031-060T00:00:00', the 'Z' allowed.

    Returns the day's start in seconds past 2000-01-01T12:00:00 (days of 86 400 s) and the seconds since it.
    23:59:60 is read as the leap second it names; whether the scale has one is the caller's to judge.
    Formats: CCSDS 301.0-B-4, Time Code Formats, ASCII codes A and B. Raises ValueError.
    """
    match = _CALENDAR.match(text)
    if match is None:
        raise ValueError("a date such as 2031-03-01T00:00:00.000 or 2031-060T00:00:00.000")
    year, month, day, day_of_year, hour, minute, second, _ = match.groups()
    if day_of_year is None:
        midnight = datetime(int(year), int(month), int(day))
    else:
        midnight = datetime(int(year), 1, 1) + timedelta(days=int(day_of_year) - 1)
        if int(day_of_year) < 1 or midnight.year != int(year):
            raise ValueError(f"day {day_of_year} is not in {year}")
    minutes, seconds = 60 * int(hour) + int(minute), float(second)
    if int(hour) > 23 or int(minute) > 59 or not seconds < (61.0 if minutes == 1439 else 60.0):
        raise ValueError("an hour up to 23, minutes up to 59, seconds below 60 (below 61 in a leap second)")
    return (midnight - _J2000).total_seconds(), 60.0 * minutes + seconds


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


def iso_of_tdb_s(tdb_s: float, digits: int = 0) -> str:
    """`iso_tdb` of seconds past J2000 TDB."""
    return iso_tdb(float(jd_from_tdb_s(tdb_s)), digits)
