"""A study's own atmosphere: a file of four columns, refused with row and reason where it cannot be one."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from targets.atmospheres.atmosphere import Atmosphere
from targets.base.errors import InputError

Floats = NDArray[np.float64]

COLUMNS = ("height_km", "density_kg_m3", "pressure_pa", "temperature_k")
_MOST_ROWS = 100_000
# Rows of units mixed up (g/cm^3, mbar, metres) disagree by far more than any gas: grams per mole.
_MOLAR_G = (1.0, 200.0)
_GAS_J_KMOL_K = 8314.46


def read_own_atmosphere(file: Path, *, body: str, gas: str, interface_km: float) -> Atmosphere:
    """Read a CSV file with the header `height_km,density_kg_m3,pressure_pa,temperature_k`; `#` begins a comment."""
    lines = _lines(file)
    header = tuple(part.strip() for part in lines[0][1]) if lines else ()
    if header != COLUMNS:
        raise InputError(
            "an atmosphere is a table of four columns", file=file, place="its first line",
            found=",".join(header) or "nothing", expected=",".join(COLUMNS),
        )  # fmt: skip
    rows = np.array([_numbers(file, number, parts) for number, parts in lines[1:]]).reshape(-1, 4)
    numbers = [number for number, _ in lines[1:]]
    if len(rows) < 3:
        raise InputError("too few rows for an atmosphere", file=file, found=len(rows), expected="at least 3")
    _require_rows(file, rows, numbers)
    if rows[-1, 0] < interface_km:
        raise InputError(
            "the atmosphere does not reach the interface", file=file, place=f"line {numbers[-1]}",
            found=f"{rows[-1, 0]:g} km", expected=f"{interface_km:g} km (approach.interface_km) or more",
            do="add rows up to there: a thin one, with the scale height of the last, is enough",
        )  # fmt: skip
    return Atmosphere(
        file.name,
        body,
        gas,
        f"the study's own file {file.name}",
        False,
        *rows.T,
    )


def _lines(file: Path) -> list[tuple[int, list[str]]]:
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        raise InputError(
            "the atmosphere cannot be read", file=file, found=str(problem), expected="a text file"
        ) from None
    numbered = [(k, line) for k, line in enumerate(text.splitlines(), 1) if line.strip()]
    numbered = [(k, line) for k, line in numbered if not line.lstrip().startswith("#")]
    if len(numbered) > _MOST_ROWS:
        raise InputError("too many rows", file=file, found=len(numbered), expected=f"at most {_MOST_ROWS}")
    return [(k, next(csv.reader([line]))) for k, line in numbered]


def _numbers(file: Path, number: int, parts: list[str]) -> list[float]:
    try:
        values = [float(part) for part in parts]
    except ValueError:
        values = []
    if len(values) != len(COLUMNS) or not np.isfinite(values).all():
        raise InputError(
            "a row of the atmosphere cannot be used", file=file, place=f"line {number}", found=",".join(parts),
            expected=f"four finite numbers: {', '.join(COLUMNS)}",
        )  # fmt: skip
    return values


def _require_rows(file: Path, rows: Floats, numbers: list[int]) -> None:
    height, density, pressure, temperature = rows.T
    with np.errstate(divide="ignore", invalid="ignore"):
        molar = density * _GAS_J_KMOL_K * temperature / pressure
    checks = (
        ("heights do not rise", np.diff(height) <= 0.0, height, "km, more than the row before"),
        ("density does not fall", np.diff(density) >= 0.0, density, "kg/m^3, less than the row before"),
        ("pressure does not fall", np.diff(pressure) >= 0.0, pressure, "Pa, less than the row before"),
    )
    for what, wrong, column, unit in checks:
        if wrong.any():
            k = int(np.argmax(wrong)) + 1
            raise InputError(
                what, file=file, place=f"line {numbers[k]}", found=f"{column[k]:g} after {column[k - 1]:g}",
                expected=unit,
            )  # fmt: skip
    unlike = (rows[:, 1:] <= 0.0).any(axis=1) | (molar < _MOLAR_G[0]) | (molar > _MOLAR_G[1])
    if unlike.any():
        k = int(np.argmax(unlike))
        raise InputError(
            "no gas is like this: are units mixed up?", file=file, place=f"line {numbers[k]}",
            found=f"density {density[k]:g}, pressure {pressure[k]:g}, temperature {temperature[k]:g}",
            expected=f"kg/m^3, Pa, K, positive, of {_MOLAR_G[0]:g} to {_MOLAR_G[1]:g} g/mol",
        )  # fmt: skip
