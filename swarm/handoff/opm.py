"""Orbit parameter messages: CCSDS 502.0-B-3, section 3, KVN. ICRF, TDB, Sun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.handoff.oem import date_text, header

Floats = NDArray[np.float64]

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
    object_id: str,
    state: tuple[float, Floats],
    *,
    creation_tdb_s: float,
    mass_kg: float,
    area_m2: float,
    reflectivity: float,
    covariance: Floats,
    manoeuvre: Manoeuvre | None = None,
    comments: Sequence[str] = (),
) -> str:
    """Return the message of a state (epoch, (6,) km and km/s) with its (6, 6) covariance."""
    epoch, values = state
    lines = header("OPM", "2.0", creation_tdb_s, comments)
    lines += [
        f"OBJECT_NAME = {name}",
        f"OBJECT_ID = {object_id}",
        "CENTER_NAME = SUN",
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
        "",
        "COV_REF_FRAME = ICRF",
    ]
    for i, row in enumerate(_AXES):
        lines += [f"C{row}_{column} = {covariance[i, j]:.12e}" for j, column in enumerate(_AXES[: i + 1])]
    if manoeuvre is not None:
        lines += [
            "",
            f"MAN_EPOCH_IGNITION = {date_text(manoeuvre.ignition_tdb_s)}",
            f"MAN_DURATION = {manoeuvre.duration_s:.3f} [s]",
            f"MAN_DELTA_MASS = {manoeuvre.delta_mass_kg:.6f} [kg]",
            "MAN_REF_FRAME = ICRF",
        ]
        lines += [f"MAN_DV_{k + 1} = {value:.12f} [km/s]" for k, value in enumerate(manoeuvre.dv_km_s)]
    return "\n".join([*lines, ""])
