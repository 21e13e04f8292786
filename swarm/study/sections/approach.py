"""Passes of bodies with mass: [massive], [[approach]]."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, Strict

from swarm.study.fields import FROM_MEMORY, OWN_CHOICE, Name, Section, choice, default, optional

Days = Annotated[float, Field(gt=0, le=2000)]
Kilometres = Annotated[float, Field(gt=0, le=1e7)]
Chance = Annotated[float, Field(ge=0, le=1)]
Heights = Annotated[tuple[Kilometres, ...], Strict(False)]
Angle = Annotated[float, Field(ge=-360, le=360)]


class MassiveSettings(Section):
    """[massive]: where planets and moons are, where that is not DE440 and the built-in series.

    `spk` names SPICE files; the first that holds a body places it. `gravity = { Moon = "field.tab" }` names tables of
    spherical harmonics, normalised, in the layouts SHADR or ICGEM; without, the Moon has zonals to degree 50 and all
    terms to 10, other bodies what is known of their figure.
    """

    spk: Annotated[tuple[Name, ...], Strict(False)] = Field(default=())
    gravity: dict[Name, Name] = Field(default_factory=dict)
    gravity_degree: int = default(
        50,
        "-",
        "own choice: a fuller table is read so far; pi radius/height is felt at a height",
        ge=2,
        le=200,
    )


class ApproachSettings(Section):
    """[[approach]]: what is asked for where the mothership passes a planet or a moon.

    `kind = "low-pass"`: a probe skims the body at each of `altitudes_km` above its equatorial radius, at clock angles
    of the B-plane `clock_step_deg` apart, let go so many days before. `passages` counts those of the body from 1.

    `kind = "orbit"`: a probe stops there, in orbits of each of `periapsis_km` and `apoapsis_km` over the equatorial
    radius, by impulses at periapsis (`capture = "impulsive"`) or by weeks of electric thrust (`"spiral"`). With
    `inclination_deg` to the body's equator the plane is turned at insertion, without, it is that of the arrival; a
    spiral ends over 90 deg, with periapsis at `argp_deg`. It is let go after `science_days`, or lost before.
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
    # orbits
    periapsis_km: Heights | None = Field(
        default=None, min_length=1, max_length=50, json_schema_extra={"unit": "km"}
    )
    apoapsis_km: Heights | None = Field(
        default=None, min_length=1, max_length=50, json_schema_extra={"unit": "km"}
    )
    inclination_deg: Annotated[tuple[Annotated[float, Field(ge=0, le=180)], ...], Strict(False)] | None = (
        Field(default=None, min_length=1, max_length=50, json_schema_extra={"unit": "deg"})
    )
    argp_deg: Annotated[tuple[Angle, ...], Strict(False)] = default(
        (270.0,),
        "deg",
        "own choice: periapsis of a spiral's orbit in the far south",
        min_length=1,
        max_length=50,
    )
    capture: Literal["impulsive", "spiral"] = choice("impulsive", "own choice: burns at periapsis")
    insertion_burns: int = default(3, "-", "own choice: over as many passes of periapsis", ge=1, le=60)
    insertion_success: float = default(0.9, "-", "own choice: no record of small probes", gt=0, le=1)
    spiral_from_km: float = default(
        60_000.0,
        "km",
        "own choice: about the edge of the Moon's sphere of influence; from the centre",
        gt=0,
        le=1e8,
    )
    science_days: float = default(30.0, "d", "own choice: about a turn of the Moon", gt=0, le=3650)
    below_km: float = default(30.0, "km", "own choice: what counts as low", gt=0, le=1e6)
    maintain: bool = choice(True, "own choice: kept up once a turn of the body while the tank lasts")
    altitude_range_km: Annotated[tuple[Kilometres, Kilometres], Strict(False)] | None = Field(
        default=None, json_schema_extra={"unit": "km"}
    )
