"""Orbit parameter messages: CCSDS 502.0-B-3, section 3, KVN. ICRF, TDB; about the Sun unless said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swarm.refine.handoff.oem import OBJECT_ID, date_text, header, tdb_s_of
from targets.base.errors import InputError

Floats = NDArray[np.float64]

SUN = "SUN"
_AXES = ("X", "Y", "Z", "X_DOT", "Y_DOT", "Z_DOT")


@dataclass(frozen=True, eq=False)
class Manoeuvre:
    """A burn: when it begins and how long it takes, mass change (negative), velocity change (3,) km/s in ICRF."""

    ignition_tdb_s: float
    duration_s: float
    delta_mass_kg: float
    dv_km_s: Floats


def opm_text(
    name: str,
    state: tuple[float, Floats],
    *,
    creation_tdb_s: float,
    mass_kg: float,
    area_m2: float,
    reflectivity: float,
    covariance: Floats | None,
    manoeuvre: Manoeuvre | None = None,
    later: Sequence[Manoeuvre] = (),
    comments: Sequence[str] = (),
    center: str = SUN,
) -> str:
    """Return the message of a state (epoch, (6,) km and km/s) with its (6, 6) covariance, where one is known.

    later : burns after the first, in order of date (section 3.2.4 of the standard: the block may be repeated)
    """
    epoch, values = state
    lines = header("OPM", creation_tdb_s, comments)
    lines += [
        f"OBJECT_NAME = {name}",
        f"OBJECT_ID = {OBJECT_ID}",
        f"CENTER_NAME = {center}",
        "REF_FRAME = ICRF",
        "TIME_SYSTEM = TDB",
        "",
        f"EPOCH = {date_text(epoch)}",
    ]
    lines += [f"{axis} = {value:.9f} [km]" for axis, value in zip(_AXES[:3], values[:3], strict=True)]
    lines += [f"{axis} = {value:.15f} [km/s]" for axis, value in zip(_AXES[3:], values[3:], strict=True)]
    lines += [
        "",
        f"MASS = {mass_kg:.6f} [kg]",
        f"SOLAR_RAD_AREA = {area_m2:.6f} [m**2]",
        f"SOLAR_RAD_COEFF = {reflectivity:.6f}",
    ]
    if covariance is not None:
        lines += ["", "COV_REF_FRAME = ICRF"]
        for i, row in enumerate(_AXES):
            lines += [f"C{row}_{column} = {covariance[i, j]:.12e}" for j, column in enumerate(_AXES[: i + 1])]
    for burn in (*(() if manoeuvre is None else (manoeuvre,)), *later):
        lines += _block(burn)
    return "\n".join([*lines, ""])


def _block(burn: Manoeuvre) -> list[str]:
    lines = [
        "",
        f"MAN_EPOCH_IGNITION = {date_text(burn.ignition_tdb_s)}",
        f"MAN_DURATION = {burn.duration_s:.3f} [s]",
        f"MAN_DELTA_MASS = {burn.delta_mass_kg:.6f} [kg]",
        "MAN_REF_FRAME = ICRF",
    ]
    return [*lines, *(f"MAN_DV_{k + 1} = {value:.12f} [km/s]" for k, value in enumerate(burn.dv_km_s))]


# --- reading ------------------------------------------------------------------------------------------------

# What a message of this package says of its numbers; another word there makes them other numbers.
_LABELS = {
    "REF_FRAME": "ICRF",
    "TIME_SYSTEM": "TDB",
    "COV_REF_FRAME": "ICRF",
    "MAN_REF_FRAME": "ICRF",
}
_UNITS = {"MASS": "kg", "SOLAR_RAD_AREA": "m**2", "MAN_DURATION": "s", "MAN_DELTA_MASS": "kg"}
_UNITS |= dict.fromkeys(_AXES[:3], "km") | dict.fromkeys(_AXES[3:], "km/s")
_UNITS |= {f"MAN_DV_{k}": "km/s" for k in (1, 2, 3)}


@dataclass(frozen=True, eq=False)
class Parameters:
    """A message read back: epoch TDB s, (6,) ICRF state, (6, 6) covariance (NaN where none is given), burns if any.

    mass_kg, area_m2, reflectivity : what solar pressure at the epoch rests on
    """

    epoch_tdb_s: float
    state: Floats
    mass_kg: float
    area_m2: float
    reflectivity: float
    covariance: Floats
    manoeuvres: tuple[Manoeuvre, ...]

    @property
    def manoeuvre(self) -> Manoeuvre | None:
        """The first."""
        return self.manoeuvres[0] if self.manoeuvres else None


def read_opm(file: Path, *, center: str = SUN) -> Parameters:
    """Read a message of this package. Raises InputError for a frame, centre, time scale or unit that is not its own."""
    said, blocks = _said(file, _LABELS | {"CENTER_NAME": center})
    state = np.array([float(said[axis]) for axis in _AXES])
    covariance = np.full((6, 6), np.nan)
    if "COV_REF_FRAME" in said:
        for i, row in enumerate(_AXES):
            for j, column in enumerate(_AXES[: i + 1]):
                covariance[i, j] = covariance[j, i] = float(said[f"C{row}_{column}"])
    burns = tuple(
        Manoeuvre(
            tdb_s_of(block["MAN_EPOCH_IGNITION"]), float(block["MAN_DURATION"]), float(block["MAN_DELTA_MASS"]),
            np.array([float(block[f"MAN_DV_{k}"]) for k in (1, 2, 3)]),
        )
        for block in blocks
    )  # fmt: skip
    mass, area, coefficient = (float(said[key]) for key in ("MASS", "SOLAR_RAD_AREA", "SOLAR_RAD_COEFF"))
    return Parameters(tdb_s_of(said["EPOCH"]), state, mass, area, coefficient, covariance, burns)


def _said(file: Path, labels: Mapping[str, str]) -> tuple[dict[str, str], list[dict[str, str]]]:
    """Keys and values, units checked and taken off; those of each burn apart."""
    said: dict[str, str] = {}
    burns: list[dict[str, str]] = []
    for number, line in enumerate(file.read_text(encoding="ascii").splitlines(), start=1):
        if "=" not in line or line.startswith("COMMENT"):
            continue
        key, value = (part.strip() for part in line.split("=", 1))
        value, _, unit = value.partition(" [")
        expected, held = labels.get(key), value
        if expected is None and unit and key in _UNITS:
            expected, held = f"[{_UNITS[key]}]", f"[{unit}"
        if expected is not None and held != expected:
            raise InputError(
                "not a message of this package",
                file=file,
                place=f"line {number}, {key}",
                found=held,
                expected=expected,
            )
        if key == "MAN_EPOCH_IGNITION":
            burns.append({})
        (burns[-1] if burns else said)[key] = value
    return said, burns
