"""Tables of spherical harmonics in the two layouts they are published in, as they stand: SHADR and ICGEM.

SHADR : the planetary data archive's ASCII table (Planetary Data System, "Spherical Harmonics ASCII Data Record"): a
        first line with radius km, GM km^3/s^2, its error, degree, order, 1 for normalised, reference longitude and
        latitude, separated by commas; then lines of degree, order, C, S and their errors
ICGEM : International Centre for Global Earth Models (Barthelmes, Foerste 2011, "The ICGEM-format"): a head of
        keywords up to `end_of_head`, then lines `gfc L M C S ...`, metres and seconds
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from targets.base.errors import InputError

Floats = NDArray[np.float64]
Line = tuple[int, list[str]]

# More is not read: a probe is never so low that it would feel it, and the table would not fit.
_DEGREE_MAX = 360
_SHADR_FIELDS, _SHADR_NORMALISED = 6, 1
_ICGEM_KEYS = {
    "gm": ("gravity_constant", "earth_gravity_constant"),
    "radius": ("radius",),
    "degree": ("max_degree",),
}


@dataclass(frozen=True, eq=False)
class GravityTable:
    """Normalised coefficients by (order, degree)."""

    gm_km3_s2: float
    radius_km: float
    c: Floats
    s: Floats

    @property
    def degree(self) -> int:
        return self.c.shape[1] - 1


def read_gravity(file: Path) -> GravityTable:
    """Read a table of either layout. Raises InputError, with the line."""
    try:
        lines = file.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError as problem:
        raise InputError(f"the file of gravity cannot be read: {problem.strerror}", file=file) from problem
    head = next((k for k, line in enumerate(lines) if line.startswith("end_of_head")), None)
    if head is not None:
        return _icgem(file, lines, head)
    return _shadr(file, lines)


def _number(text: str, file: Path, line: int) -> float:
    """A real number, with D for the exponent as FORTRAN writes it."""
    try:
        value = float(text.replace("D", "E").replace("d", "e"))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(
            "not a number", file=file, place=f"line {line}", found=text, expected="a finite number"
        )
    return value


def _shadr(file: Path, lines: list[str]) -> GravityTable:
    first = [part.strip() for part in lines[0].split(",")] if lines else []
    if len(first) < _SHADR_FIELDS:
        raise InputError(
            "this is no table of gravity", file=file, place="line 1", found=lines[0][:80] if lines else "nothing",
            expected='ICGEM with "end_of_head", or SHADR: radius km, GM, its error, degree, order, 1, ...',
        )  # fmt: skip
    radius, gm, _, degree, _, state = (_number(text, file, 1) for text in first[:_SHADR_FIELDS])
    if int(state) != _SHADR_NORMALISED:
        raise InputError(
            "coefficients that are not normalised",
            file=file,
            place="line 1, sixth field",
            found=first[5],
            expected="1",
        )
    rows = ((k, line.replace(",", " ").split()) for k, line in enumerate(lines[1:], 2) if line.strip())
    return _table(file, gm, radius, int(degree), rows)


def _icgem(file: Path, lines: list[str], head: int) -> GravityTable:
    keys = {
        parts[0]: (k, parts[1]) for k, line in enumerate(lines[:head], 1) if len(parts := line.split()) > 1
    }
    found = {}
    for what, names in _ICGEM_KEYS.items():
        at = next((keys[name] for name in names if name in keys), None)
        if at is None:
            raise InputError("the head lacks a key", file=file, place="head", expected=" or ".join(names))
        found[what] = _number(at[1], file, at[0])
    norm = keys.get("norm", (0, "fully_normalized"))
    if norm[1] != "fully_normalized":
        raise InputError(
            "coefficients that are not normalised", file=file, place=f"line {norm[0]}", found=norm[1],
            expected="fully_normalized",
        )  # fmt: skip
    rows = (
        (k, line.split()[1:]) for k, line in enumerate(lines, 1) if k > head + 1 and line.startswith("gfc")
    )
    return _table(file, 1e-9 * found["gm"], 1e-3 * found["radius"], int(found["degree"]), rows)


def _table(file: Path, gm: float, radius: float, degree: int, rows: Iterable[Line]) -> GravityTable:
    size = min(degree, _DEGREE_MAX) + 1
    c, s = np.zeros((size, size)), np.zeros((size, size))
    c[0, 0] = 1.0
    count = 0
    for n, m, cosine, sine in _terms(file, rows):
        if n < size:
            c[m, n], s[m, n] = cosine, sine
            count += n > 1
    if not count:
        raise InputError("the table holds no term of degree 2 or more", file=file)
    return GravityTable(gm, radius, c, s)


def _terms(file: Path, rows: Iterable[Line]) -> Iterator[tuple[int, int, float, float]]:
    for line, parts in rows:
        if len(parts) < 4:
            raise InputError(
                "a line of the table is too short", file=file, place=f"line {line}", found=" ".join(parts),
                expected="degree, order, C, S",
            )  # fmt: skip
        n, m = int(_number(parts[0], file, line)), int(_number(parts[1], file, line))
        if not 0 <= m <= n:
            raise InputError(
                "no such term", file=file, place=f"line {line}", found=f"degree {n}, order {m}",
                expected="0 <= order <= degree",
            )  # fmt: skip
        yield n, m, _number(parts[2], file, line), _number(parts[3], file, line)
