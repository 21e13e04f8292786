"""Orbit ephemeris messages: CCSDS 502.0-B-3, section 5, KVN. A segment each side of an impulse; ICRF, TDB."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from swarm.refine.stretches import DEGREE, Stretch
from targets.base.timescale import TT_MINUS_TAI_S
from targets.ephemeris.spice import leap_seconds

Floats = NDArray[np.float64]

ORIGINATOR = "SWARM-FLYBY"
# Longest line of a message.
_LINE = 254
# Version of both kinds of message.
VERSION = "3.0"
# What has no international designator yet (CCSDS 502.0-B-3, from memory); the SPK number stands in a comment.
OBJECT_ID = "UNKNOWN"
J2000 = datetime(2000, 1, 1, 12)


def date_text(tdb_s: float) -> str:
    """TDB to the microsecond. From seconds, not from a Julian date, whose tick of 40 us is half a metre."""
    return (J2000 + timedelta(microseconds=round(tdb_s * 1e6))).isoformat(timespec="microseconds")


def tdb_s_of(text: str) -> float:
    """Seconds past J2000 of a date as `date_text` writes it."""
    return (datetime.fromisoformat(text) - J2000).total_seconds()


def utc_text(tdb_s: float) -> str:
    """TDB as UTC to the second, as CREATION_DATE asks (CCSDS 502.0-B-3, table 5-2)."""
    tai_s = tdb_s - TT_MINUS_TAI_S  # TDB and TT are less than 2 ms apart
    leap = leap_seconds()
    utc_s = tai_s - float(leap.at(tai_s - float(leap.at(tai_s))))
    return (J2000 + timedelta(seconds=round(utc_s))).isoformat(timespec="seconds")


def one_line(text: str) -> str:
    """A text as a line of a message: ASCII that prints, at most 254 characters (CCSDS 502.0-B-3, 7.3, from memory).

    Anything else, a line break first of all, is written as its escape.
    """
    shown = "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text)
    return shown.encode("ascii", "backslashreplace").decode()[:_LINE]


def header(kind: str, creation_tdb_s: float, comments: Sequence[str]) -> list[str]:
    """First lines of a message."""
    lines = [f"CCSDS_{kind}_VERS = {VERSION}", *(one_line(f"COMMENT {text}") for text in comments)]
    return [*lines, f"CREATION_DATE = {utc_text(creation_tdb_s)}", f"ORIGINATOR = {ORIGINATOR}", ""]


def oem_text(
    name: str,
    stretches: Sequence[Stretch],
    *,
    creation_tdb_s: float,
    comments: Sequence[str] = (),
    covariance: tuple[float, Floats] | None = None,
    centers: Sequence[str] | None = None,
) -> str:
    """Return the message; `covariance` is (epoch, (6, 6)), put under the last segment.

    centers : what each stretch's states are about; the Sun unless given
    """
    lines = header("OEM", creation_tdb_s, comments)
    for center, stretch in zip(centers or ["SUN"] * len(stretches), stretches, strict=True):
        dates = [date_text(float(t)) for t in stretch.epochs_tdb_s]
        lines += [
            "META_START",
            f"OBJECT_NAME = {name}",
            f"OBJECT_ID = {OBJECT_ID}",
            f"CENTER_NAME = {center}",
            "REF_FRAME = ICRF",
            "TIME_SYSTEM = TDB",
            f"START_TIME = {dates[0]}",
            f"STOP_TIME = {dates[-1]}",
            "INTERPOLATION = HERMITE",
            f"INTERPOLATION_DEGREE = {DEGREE}",
            "META_STOP",
            "",
        ]
        for date, row in zip(dates, stretch.states, strict=True):
            lines.append(
                f"{date} "
                + " ".join(f"{x:.9f}" for x in row[:3])
                + " "
                + " ".join(f"{x:.15f}" for x in row[3:])
            )
        lines.append("")
    if covariance is not None:
        epoch, matrix = covariance
        lines += ["COVARIANCE_START", f"EPOCH = {date_text(epoch)}", "COV_REF_FRAME = ICRF"]
        lines += [" ".join(f"{matrix[i, j]:.12e}" for j in range(i + 1)) for i in range(6)]
        lines += ["COVARIANCE_STOP", ""]
    return "\n".join(lines)
