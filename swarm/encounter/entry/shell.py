"""What falls: the shell and the stages that follow it, as arrays for compiled code."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# What starts a stage.
MACH, BAR, KM = range(3)
TRIGGERS = {"mach": MACH, "bar": BAR, "km": KM}


class Shell(NamedTuple):
    """(s,) stages; the first is the shell itself, whose trigger means nothing.

    ballistic_kg_m2 : m / (C_D A) of each
    trigger, value  : what starts a stage, and at what value
    nose_m          : radius of the nose
    convective      : k of the gas (`heating.CONVECTIVE`)
    radiative       : which correlation (`heating.RADIATIVE`)
    """

    ballistic_kg_m2: Floats
    trigger: NDArray[np.int64]
    value: Floats
    nose_m: float
    convective: float
    radiative: int


class ShellLimits(NamedTuple):
    """What a shell bears, and what ends the probe; infinite where nothing is said."""

    decel_g: float
    flux_w_cm2: float
    load_j_cm2: float


def shell_of(
    *,
    mass_kg: float,
    diameter_m: float,
    drag_coefficient: float,
    nose_m: float,
    convective: float,
    radiative: int,
    stages: Sequence[tuple[str, float, float, float, float]] = (),
) -> Shell:
    """A shell with its stages, each (at, value, area m^2, drag coefficient, mass kg)."""
    first = mass_kg / (drag_coefficient * math.pi * 0.25 * diameter_m**2)
    betas = [first, *(mass / (drag * area) for _, _, area, drag, mass in stages)]
    return Shell(
        np.array(betas), np.array([MACH, *(TRIGGERS[at] for at, *_ in stages)]),
        np.array([0.0, *(value for _, value, *_ in stages)]), nose_m, convective, radiative,
    )  # fmt: skip
