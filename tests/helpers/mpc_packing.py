"""Writes what the readers read: packed designations, packed dates, fixed-width orbit lines.

Written from the Minor Planet Center's pages, apart from the readers: by arithmetic on ordinals instead
of by patterns.
"""

from __future__ import annotations

import datetime

DIGITS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"
LINE = (
    "{packed:<7} {h:>5} {g:>5} {epoch:>5} {m:>9}  {peri:>9}  {node:>9}  {i:>9}  {e:>9} {n:>11} {a:>11}  {u:>1}"
    " {reference:<9} {observations:>5} {oppositions:>3} {arc:<9} {rms:>4} M-v 3Ek {computer:<10} {flags:>4}"
    " {readable:<28}{last:>8}"
)
# Made up.
BODY = {
    "packed": "~zzzy", "h": "17.00", "g": "0.15", "epoch": "K25BL", "m": "30.00000", "peri": "20.00000",
    "node": "10.00000", "i": "5.00000", "e": "0.1000000", "n": "0.26500000", "a": "2.4000000", "u": "1",
    "reference": "MPO 1", "observations": "12", "oppositions": "3", "arc": "2001-2020", "rms": "0.50",
    "computer": "Nobody", "flags": "0000", "readable": "(15396334) Madeup", "last": "20200101",
}  # fmt: skip


def line(**changes: str) -> str:
    """Return a line of a made-up body with fields replaced; every field must fit its columns."""
    written = LINE.format(**(BODY | changes))
    if len(written) != 202:
        raise ValueError(f"{len(written)} columns: {written}")
    return written


def pack_number(number: int) -> str:
    if number < 620_000:
        return f"{DIGITS[number // 10_000]}{number % 10_000:04d}"
    return "~" + base_62(number - 620_000, 4)


def pack_provisional(written: str) -> str:
    """Return the packed form of "1998 SQ108", "A898 PA" or "2040 P-L"."""
    first, second = written.split(" ")
    if second in ("P-L", "T-1", "T-2", "T-3"):
        return f"{second.replace('-', '')}S{first}"
    year = int(first.replace("A", "1"))
    half_month, place, cycle = second[0], second[1], int(second[2:] or 0)
    if cycle >= 620:
        ordinal = cycle * 25 + LETTERS.index(place) - 15_500
        return f"_{DIGITS[year - 2000]}{half_month}{base_62(ordinal, 4)}"
    return f"{DIGITS[year // 100]}{year % 100:02d}{half_month}{DIGITS[cycle // 10]}{cycle % 10}{place}"


def pack_date(day: datetime.date) -> str:
    return f"{DIGITS[day.year // 100]}{day.year % 100:02d}{DIGITS[day.month]}{DIGITS[day.day]}"


def base_62(value: int, width: int) -> str:
    return "".join(DIGITS[value // 62**k % 62] for k in reversed(range(width)))
