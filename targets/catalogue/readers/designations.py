"""Packed designations and packed dates of the Minor Planet Center: short codes of fixed width, unpacked.

Format: the Center's pages "Packed Provisional and Permanent Designations", "Extended Packed
Provisional Designation Scheme" and "Packed Dates".
"""

from __future__ import annotations

import re
from datetime import date

_DIGITS_62 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
_VALUE_62 = {digit: value for value, digit in enumerate(_DIGITS_62)}
_CENTURIES = {"I": 1800, "J": 1900, "K": 2000}
_SURVEYS = {"PLS": "P-L", "T1S": "T-1", "T2S": "T-2", "T3S": "T-3"}
# The order within a half-month: letters without I; 25 bodies, then the cycle count goes up by one.
_ORDER = "ABCDEFGHJKLMNOPQRSTUVWXYZ"

_NUMBER = re.compile(r"[0-9A-Za-z][0-9]{4}")
_LARGE_NUMBER = re.compile(r"~[0-9A-Za-z]{4}")
_PROVISIONAL = re.compile(r"[IJK][0-9]{2}[A-HJ-Y][0-9A-Za-z][0-9][A-HJ-Z]")
_EXTENDED = re.compile(r"_[0-9A-Za-z][A-HJ-Y][0-9A-Za-z]{4}")
_SURVEY = re.compile(r"(PLS|T[123]S)[0-9]{4}")
# Comets and moons of planets: a number and a kind, or a half-month code that ends in 0 or a fragment.
_NOT_MINOR = re.compile(
    r"[0-9]{4}[PDCXAI]|[JSUN][0-9]{3}S|[PDCXAI]?[IJK][0-9]{2}[A-HJ-Y][0-9A-Za-z][0-9][0a-z]"
)
_WRITTEN = re.compile(r"[0-9A][0-9]{3} ([A-HJ-Y][A-HJ-Z][0-9]*|P-L|T-[123])")
_DATE = re.compile(r"[IJK][0-9]{2}[1-9ABC][1-9A-V]")

# Up to here a leading letter stands for the ten-thousands; from here on, base 62 after a tilde.
_FIRST_LARGE_NUMBER = 620_000
# Bodies of a half-month that the seven columns of the plain form can count (cycles 0 to 619).
_FIRST_EXTENDED = 620 * len(_ORDER)
# Designations of earlier years are written with A for the first digit of the year: A898 PA.
_FIRST_PLAIN_YEAR = 1925

_JD_OF_ORDINAL_ZERO = 1_721_424.5

COMET = "the packed designation is that of a comet or a moon, not of a minor planet"
UNKNOWN = "the packed designation follows no published form"


def unpack_designation(packed: str) -> str:
    """Return what a packed designation stands for: "00433" -> "433", "J98SA8Q" -> "1998 SQ108".

    Raises ValueError with one of the sentences COMET and UNKNOWN.
    """
    if _NUMBER.fullmatch(packed):
        return str(_VALUE_62[packed[0]] * 10_000 + int(packed[1:]))
    if _PROVISIONAL.fullmatch(packed):
        cycle = _VALUE_62[packed[4]] * 10 + int(packed[5])
        return _provisional(_year(packed), packed[3], packed[6], cycle)
    if _LARGE_NUMBER.fullmatch(packed):
        return str(_FIRST_LARGE_NUMBER + _base_62(packed[1:]))
    if _SURVEY.fullmatch(packed):
        return f"{packed[3:]} {_SURVEYS[packed[:3]]}"
    if _EXTENDED.fullmatch(packed):
        cycle, place = divmod(_FIRST_EXTENDED + _base_62(packed[3:]), len(_ORDER))
        return _provisional(_CENTURIES["K"] + _VALUE_62[packed[1]], packed[2], _ORDER[place], cycle)
    raise ValueError(COMET if _NOT_MINOR.fullmatch(packed) else UNKNOWN)


def unpack_epoch(packed: str) -> float:
    """Return the Julian date, TT, of 0 h on a packed date: "K25BL" (2025-11-21) -> 2461000.5.

    Raises ValueError where it is no date.
    """
    if not _DATE.fullmatch(packed):
        raise ValueError("not a packed date")
    day = date(_year(packed), _VALUE_62[packed[3]], _VALUE_62[packed[4]])
    return day.toordinal() + _JD_OF_ORDINAL_ZERO


def is_provisional(written: str) -> bool:
    """Tell whether an unpacked text is a provisional designation: "1998 SQ108", "A898 PA", "2040 P-L"."""
    return _WRITTEN.fullmatch(written) is not None


def _year(packed: str) -> int:
    return _CENTURIES[packed[0]] + int(packed[1:3])


def _provisional(year: int, half_month: str, place: str, cycle: int) -> str:
    written = str(year) if year >= _FIRST_PLAIN_YEAR else f"A{str(year)[1:]}"
    return f"{written} {half_month}{place}{cycle or ''}"


def _base_62(digits: str) -> int:
    value = 0
    for digit in digits:
        value = value * 62 + _VALUE_62[digit]
    return value
