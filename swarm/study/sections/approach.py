"""Passes of bodies with mass: [massive], [[approach]]."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, Strict

from swarm.study.fields import FROM_MEMORY, OWN_CHOICE, Name, Section, choice, default, optional

Days = Annotated[float, Field(gt=0, le=2000)]
Kilometres = Annotated[float, Field(gt=0, le=1e7)]
Chance = Annotated[float, Field(ge=0, le=1)]


class MassiveSettings(Section):
    """[massive]: where planets and moons are, where that is not DE440 and the built-in series.

    `spk` names SPICE files; the first that holds a body places it.
    """

    spk: Annotated[tuple[Name, ...], Strict(False)] = Field(default=())


class ApproachSettings(Section):
    """[[approach]]: what is asked for where the mothership passes a planet or a moon.

    `kind = "low-pass"`: a probe skims the body at each of `altitudes_km` above its equatorial radius, at clock angles
    of the B-plane `clock_step_deg` apart, let go so many days before. `passages` counts those of the body from 1.
    """

    name: Name
    body: Name
    designs: Annotated[tuple[Name, ...], Strict(False)] = Field(
        default=(), json_schema_extra={"source": "every design that takes the kind"}
    )
    probes_max: int | None = optional("-", "no limit but that of the plan", ge=1, le=1000)
    kind: Literal["low-pass", "entry", "orbit"] = choice("low-pass", "own choice: what this version computes")
    passages: Literal["all"] | Annotated[tuple[int, ...], Strict(False)] = default("all", "-", OWN_CHOICE)
    altitudes_km: Annotated[tuple[Kilometres, ...], Strict(False)] = default(
        (200.0, 100.0, 50.0, 25.0), "km", OWN_CHOICE, min_length=1, max_length=50
    )
    release_days_before: Annotated[tuple[Days, ...], Strict(False)] = default(
        (60.0, 30.0, 20.0, 10.0), "d", OWN_CHOICE, min_length=1, max_length=50
    )
    release_min_hours: float = default(
        4.0, "h", "own choice: the burn at least so long before closest approach", gt=0, le=1000
    )
    steer: Literal["probe", "carrier", "spin"] = choice(
        "probe", "own choice: by its own burn after check-out"
    )
    clock_step_deg: float = default(15.0, "deg", OWN_CHOICE, ge=1, le=180)
    ephemeris_sigma_km: float = default(
        5.0, "km", f"{FROM_MEMORY}: large moons are known to 1-10 km, 1 sigma", ge=0, le=1e6
    )
    terrain_km: float | None = optional(
        "km", "highest relief of the body, or its atmosphere's interface", ge=0, le=1e5
    )
    impact_chance_max: float | None = optional("-", "protection.impact_chance_max of the body", ge=0, le=1)
