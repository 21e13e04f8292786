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
Steepness = Annotated[float, Field(gt=0, le=90)]
Minutes = Annotated[float, Field(ge=-20_000, le=20_000)]
Share = Annotated[float, Field(ge=0, le=2)]

# Keys of one kind of approach only.
PASS_ONLY = ("altitudes_km", "terrain_km", "impact_chance_max")
ENTRY_ONLY = (
    "angles_deg", "arrival_offsets_min", "interface_km", "atmosphere", "density_sigma", "end_bar", "bar_full",
    "relay_elevation_min_deg", "wind_m_s", "zenith_db", "blackout_g", "divert_after_days",
)  # fmt: skip


class MassiveSettings(Section):
    """[massive]: where planets and moons are, where that is not DE440 and the built-in series.

    `spk` names SPICE files; the first that holds a body places it. `gravity = { Moon = "field.tab" }` names tables of
    spherical harmonics, normalised, in the layouts SHADR or ICGEM. Without one, the Moon has zonals to degree 50
    and all terms to 10, and other bodies what is known of their figure. With `true_ephemeris` no body is asked for
    whose place is only approximate, as Saturn's moons are without a file.
    """

    spk: Annotated[tuple[Name, ...], Strict(False)] = Field(default=())
    true_ephemeris: bool = choice(False, "own choice: an approximate place is said, and good for a concept")
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
    of the B-plane `clock_step_deg` apart, let go so many days before. `passages` counts those of the body from 1. With
    `steer = "carrier"` the mothership aims for a probe without a tank, lets it go, and is back on its own path
    `divert_after_days` later. With `"spin"` it lets the probe go off its rim (`[mothership] spin_rpm, spin_radius_m`).

    `kind = "orbit"`: a probe stops there, in orbits of each of `periapsis_km` and `apoapsis_km` over the equatorial
    radius, by impulses at periapsis (`capture = "impulsive"`) or by weeks of electric thrust (`"spiral"`). With
    `inclination_deg` to the body's equator the plane is turned at insertion, without, it is that of the arrival; a
    spiral ends over 90 deg, with periapsis at `argp_deg`. It is let go after `science_days`, or lost before.

    `kind = "entry"`: a probe in a shell enters at each of `angles_deg` below the horizon (inertial) at the interface,
    so many minutes after the mothership's closest approach. A probe that the mothership aims makes no corrections, and
    the mothership is back on its own path in time. `atmosphere` is one that ships ("venus-mean", "titan-mean",
    "earth-1976", "mars-summer", "jupiter-equator") or a file: height_km,density_kg_m3,pressure_pa,temperature_k.
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
    angles_deg: Annotated[tuple[Steepness, ...], Strict(False)] = default(
        (15.0, 25.0, 40.0, 60.0), "deg", OWN_CHOICE, min_length=1, max_length=50
    )
    arrival_offsets_min: Annotated[tuple[Minutes, ...], Strict(False)] = default(
        (0.0,), "min", "own choice: as the mothership is nearest", min_length=1, max_length=50
    )
    interface_km: float | None = optional(
        "km",
        "common practice of the body: Venus 200, Earth 122, Mars 125, Titan 1270, Jupiter 450",
        gt=0,
        le=1e5,
    )
    atmosphere: Name | None = Field(
        default=None, json_schema_extra={"source": "the one that ships for the body"}
    )
    density_sigma: Annotated[tuple[Share, Share], Strict(False)] = default(
        (0.05, 0.30), "-", "own choice: of the logarithm of density, at the ground and at the interface"
    )
    end_bar: float | None = optional("bar", "the ground, or the lowest row of the atmosphere", gt=0, le=1e6)
    bar_full: float = default(1.0, "bar", "own choice: so deep is full depth", gt=0, le=1e6)
    relay_elevation_min_deg: float = default(10.0, "deg", "own choice: over the local horizon", ge=0, lt=90)
    wind_m_s: float = default(0.0, "m/s", "own choice: at the equator, to the east", ge=-1000, le=1000)
    zenith_db: float = default(
        0.0, "dB", "own choice: none; straight up from 10 bar, from memory: Venus in S band 2, Jupiter in L band 3",
        ge=0, le=1000,
    )  # fmt: skip
    blackout_g: float = default(5.0, "g", "own choice: over it nothing is heard", gt=0, le=1e6)
    divert_after_days: float = default(
        2.0, "d", "planets: flown 2 to 14 days after letting go, from memory", gt=0, le=1000
    )

    def unused(self) -> tuple[str, ...]:
        others = PASS_ONLY if self.kind == "entry" else ENTRY_ONLY
        by_ship = self.kind != "orbit" and self.steer != "probe"
        return (
            *(key for key in others if key != "divert_after_days"),
            *(() if by_ship else ("divert_after_days",)),
        )
