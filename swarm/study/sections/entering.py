"""Shells that enter an atmosphere, and what follows them: [designs.entry], [[designs.stages]]."""

from __future__ import annotations

from typing import Literal

from swarm.study.fields import OWN_CHOICE, Section, default, optional, required


class EntrySettings(Section):
    """[designs.entry]: the shell in which a probe enters an atmosphere, what it bears, what ends it.

    Mass is the design's, whole: nothing burns off. Limits that are left out limit nothing. `data_mbit` is what the
    instruments make on the way down, `data_least_mbit` what is worth having.
    """

    diameter_m: float = required("m", likely=(0.05, 5), gt=0, le=100)
    drag_coefficient: float = default(
        1.05, "-", "common practice, no source: blunt cones of 45 deg; of 70 deg 1.6", ge=0.1, le=3
    )
    nose_radius_m: float = required("m", likely=(0.01, 5), gt=0, le=100)
    decel_limit_g: float | None = optional("g", "no limit", gt=0, le=1e6)
    heat_flux_limit_w_cm2: float | None = optional("W/cm^2", "no limit", gt=0, le=1e9)
    heat_load_limit_j_cm2: float | None = optional("J/cm^2", "no limit", gt=0, le=1e12)
    survives_bar: float | None = optional("bar", "no limit", gt=0, le=1e6)
    survives_kelvin: float | None = optional("K", "no limit", gt=0, le=1e5)
    survives_hours: float | None = optional("h", "no limit: a battery that lasts", gt=0, le=1e5)
    data_mbit: float = default(5.0, "Mbit", OWN_CHOICE, gt=0, le=1e6)
    data_least_mbit: float = default(
        0.5, "Mbit", "own choice: profiles of pressure and temperature", gt=0, le=1e6
    )


class StageSettings(Section):
    """[[designs.stages]]: what the probe falls as from a Mach number, a pressure or a height on.

    In order: each begins when it is met after the one before. A parachute is an area and a coefficient; what was let
    go is off the mass.
    """

    at: Literal["mach", "bar", "km"]
    value: float = required("-", ge=0, le=1e6)
    area_m2: float = required("m^2", gt=0, le=1e5)
    drag_coefficient: float = required("-", gt=0, le=10)
    mass_kg: float = required("kg", gt=0, le=1e5)
