"""The study file: one question, one TOML file. Keys, units, limits, and defaults with their source.

The models below are the schema; attribute names are the keys of the file. Unknown keys are refused.
Dates are held as Julian dates TDB (float), whatever way they were written.
"""

from __future__ import annotations

import itertools
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PrivateAttr,
    Strict,
    StringConstraints,
    ValidationError,
    model_validator,
)

from swarm.study.probe_classes import CLASSES, class_source, class_values
from swarm.study.problems import Problem, problems_of, refuse
from targets.base.errors import InputError
from targets.base.timescale import iso_tdb, parse_tdb_jd
from targets.catalogue.classes import LABELS
from targets.catalogue.invented import EPOCH_JD_TDB

# Span of the planetary ephemeris DE440 (JPL, Park et al. 2021, AJ 161:105): 1549-12-31 to 2650-01-25.
FIRST_JD_TDB, LAST_JD_TDB = 2287184.5, 2688976.5

READ_FORMATS = ("mpc-json", "mpcorb", "sbdb-csv", "sbdb-json", "own", "invented")
FLOWN_KINDS = ("elements", "legs", "oem", "spk")

OWN_CHOICE = "own choice"
BELT_EPOCH = f"JD {EPOCH_JD_TDB}, the invented belt's"
FROM_MEMORY = "from memory"
PROPULSION_SURVEY = "agency small-spacecraft technology survey, propulsion chapter: green monopropellant"
TO_BE_SET = "to be set by the project"
LIKELIHOOD_SCALE = (
    "5x5 matrix of NASA/SP-2011-3422; limits of a NASA centre's technical scale (GPR 7120.4), from memory"
)
CONSEQUENCE_SCALE = (
    "own choice: shares of science lost for minimal, minor, moderate, major and severe; "
    "handbooks (NASA/SP-2011-3422, ECSS-M-ST-80C) leave the limits to the project"
)
GATES = "Gates model (JPL TR 32-504, 1963); size for green monopropellant, from memory"


def _date(value: object) -> float:
    """JD TDB of a number or of an ISO string ending in TDB; refuses everything else."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError('a Julian date TDB (number) or text such as "2031-03-01 TDB"')
    try:
        jd_tdb = parse_tdb_jd(value)
    except ValueError as problem:
        raise ValueError('a Julian date TDB (number) or text such as "2031-03-01 TDB"') from problem
    if not FIRST_JD_TDB <= jd_tdb <= LAST_JD_TDB:
        raise ValueError("a date within 1549-12-31 and 2650-01-25 TDB, the span of the planetary ephemeris")
    return jd_tdb


JdTdb = Annotated[float, BeforeValidator(_date)]
_Days = Annotated[float, Field(gt=0, le=20_000)]
_Bins = Annotated[tuple[float, float, float, float, float], Strict(False)]
DatePair = Annotated[tuple[JdTdb, JdTdb], Strict(False)]
Name = Annotated[str, StringConstraints(min_length=1, max_length=200)]


def _text_of_number(value: object) -> object:
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


BodyName = Annotated[Name, BeforeValidator(_text_of_number)]


def _default(value: object, source: str, **limits: Any) -> Any:
    return Field(default=value, json_schema_extra={"source": source}, **limits)


def _unset() -> Any:
    """A key that may be absent; which keys belong together is checked in `_relations`."""
    return Field(default=None)


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    def unused(self) -> tuple[str, ...]:
        """Keys that mean nothing beside the values of others; they are neither taken nor shown."""
        return ()

    def source_of(self, key: str) -> str | None:
        """Where the value of a key that is not given comes from, if not from the key's own default."""
        return None


class StudySettings(_Section):
    """[study]: the question's name, seed and the span that holds the mothership's path and every arc."""

    name: Name
    seed: int = _default(1, OWN_CHOICE, ge=0, lt=2**63)
    date: JdTdb | None = Field(default=None, json_schema_extra={"source": "study.start"})
    start: JdTdb
    end: JdTdb

    @property
    def start_jd_tdb(self) -> float:
        return self.start

    @property
    def end_jd_tdb(self) -> float:
        return self.end

    @property
    def date_jd_tdb(self) -> float:
        """Creation date written into files, so that they do not depend on the day of the run."""
        return self.start if self.date is None else self.date


class CatalogueSettings(_Section):
    """[catalogue]: where the bodies come from."""

    format: Literal["mpc-json", "mpcorb", "sbdb-csv", "sbdb-json", "own", "invented"]
    file: Name | None = _unset()
    bodies: int | None = Field(default=None, ge=0, le=20_000_000)
    seed: int = _default(1, OWN_CHOICE, ge=0, lt=2**63)
    epoch: JdTdb | None = Field(default=None, json_schema_extra={"source": BELT_EPOCH})
    visited: Name | None = _unset()


class Leg(_Section):
    """A planet the mothership meets at a date; the other keys are about the arc that leads to it."""

    body: BodyName
    date: JdTdb
    revolutions: int = _default(0, "own choice: the direct arc", ge=0, le=10)
    branch: Literal["long-period", "short-period"] = _default(
        "long-period", "own choice: of the two arcs with revolutions"
    )
    retrograde: bool = _default(False, "own choice: with the planets")


class MothershipSettings(_Section):
    """[mothership]: the mothership's path, heliocentric, ecliptic J2000 angles when given by elements."""

    kind: Literal["elements", "legs", "oem", "spk"]
    mass_kg: float = _default(600.0, "own choice: a small deep-space bus", gt=0, le=1e6)
    epoch: JdTdb | None = _unset()
    a_au: float | None = Field(default=None, gt=0, le=1000)
    e: float | None = Field(default=None, ge=0, lt=1)
    i_deg: float | None = Field(default=None, ge=0, le=180)
    node_deg: float | None = Field(default=None, ge=-360, le=360)
    argp_deg: float | None = Field(default=None, ge=-360, le=360)
    mean_anomaly_deg: float | None = Field(default=None, ge=-360, le=360)
    motion: Literal["perturbed", "kepler"] = _default("perturbed", "own choice: the targets move so too")
    file: Name | None = _unset()
    spk_id: int | None = _unset()
    legs: Annotated[tuple[Leg, ...], Strict(False)] = Field(default=())
    flyby_altitude_min_km: float = _default(
        300.0, f"{FROM_MEMORY}: planning floor at Venus, Earth and Mars", ge=0, le=1e7
    )
    flyby_mismatch_max_m_s: float = _default(
        50.0, "own choice: more is noted as a manoeuvre, less is left to targeting", ge=0, le=1e5
    )
    flyby_clear_days: float = _default(
        0.25, "own choice: hours each side of a planet that legs leave out", gt=0, le=100
    )


class ProbeSettings(_Section):
    """[probe]: identical probes; what one weighs, can burn, see, send and outlive.

    `class` selects the defaults of a built-in class (`swarm.study.probe_classes`) for the keys it knows; a key that is
    given wins.
    The defaults below are those of a 6U.
    """

    count: int = Field(ge=0, le=1000)
    class_: Literal["3U", "6U", "12U", "micro"] | None = Field(default=None, alias="class")
    wet_mass_kg: float = Field(gt=0, le=1e5)
    dispenser_kg: float = _default(6.0, f"{FROM_MEMORY}: 6U 4.5-8", ge=0, le=1e4)
    isp_s: float = _default(220.0, f"{PROPULSION_SURVEY}, 220-250 s", gt=0, le=1e5)
    thrust_n: float = _default(0.5, f"{PROPULSION_SURVEY}, 0.1-27 N", gt=0, le=1e5)
    burn_limit_m_s: float = Field(gt=0, le=20_000)
    spring_m_s: float = _default(
        1.0, "tube dispensers 1-2 m/s (CubeSat Design Specification rev. 14, seen second-hand)", ge=0, le=20
    )
    loose_part_kg: float = _default(
        0.0,
        "own choice: nothing but the probe leaves; a door, a plate or the dispenser, for each probe",
        ge=0,
        le=1e4,
    )
    loose_part_m_s: float = _default(0.5, "own choice: along the spring, slower than the probe", ge=0, le=20)
    loose_part_area_m2: float = _default(0.05, "own choice: a door of 6U", ge=0, le=1e4)
    checkout_days: float = _default(3.0, f"{FROM_MEMORY}: no manoeuvre in the first days", ge=0, le=1000)
    execution_fixed_m_s: float = _default(0.005, GATES, ge=0, le=100)
    execution_proportional: float = _default(0.01, GATES, ge=0, le=1)
    execution_pointing_mrad: float = _default(15.0, GATES, ge=0, le=1000)
    # camera
    solar_area_m2: float = _default(
        0.18, f"{FROM_MEMORY}: a 6U's open panels and its largest side, facing the Sun", ge=0, le=1e4
    )
    reflectivity: float = _default(1.3, f"{FROM_MEMORY}: 1 absorbs all light, 2 mirrors all", ge=0, le=2)
    camera_ifov_urad: float = _default(
        25.0, f"{FROM_MEMORY}: narrow cameras of flown small probes 17-60", gt=0, le=1e5
    )
    camera_pixels: int = _default(2048, "detector width of a flown companion camera", ge=1, le=100_000)
    camera_aperture_mm: float = _default(60.0, f"{FROM_MEMORY}: 20-90", gt=0, le=1e4)
    limiting_mag: float = _default(
        10.0, f"{FROM_MEMORY}: 30-60 mm aperture, images added, 10-12; star trackers 6-7", ge=-5, le=30
    )
    sun_exclusion_deg: float = _default(
        30.0,
        "common practice, no source: baffles of small cameras and star trackers 30-45 deg, from memory; beyond "
        "60 deg the phase at closest approach is what limits images",
        ge=0,
        le=60,
    )
    exposure_ms: float = _default(
        1.0, "own choice: at 1 au, longer with the square of the range", gt=0, le=1e5
    )
    centroid_px: float = _default(0.2, f"{FROM_MEMORY}: line of sight to 0.1-0.2 pixels", gt=0, le=100)
    slew_limit_deg_s: float = _default(2.0, f"{FROM_MEMORY}: small spacecraft 1-7 deg/s", gt=0, le=360)
    tracking_error: float = _default(0.07, f"{FROM_MEMORY}: 5-10 % of the turn rate", ge=0, le=1)
    autonomous_tracking: bool = _default(
        True, "own choice: flown companions kept the target by their own images"
    )
    keepout_km: float = _default(50.0, "flown companions passed at 50-58 km", ge=0, le=1e7)
    images_kept: int = _default(20, f"{FROM_MEMORY}: the best of the pass", ge=1, le=100_000)
    frame_s: float = _default(1.0, "own choice: one image a second", gt=0, le=3600)
    bits_per_pixel: float = _default(2.5, f"{FROM_MEMORY}: 10 bits, compressed fourfold", gt=0, le=64)
    image_window: float = _default(2.0, "own choice: images are cut to this many diameters", ge=1, le=100)
    data_min_mbit: float = _default(5.0, f"{FROM_MEMORY}: a set of thumbnails", gt=0, le=1e6)
    # radio
    frequency_ghz: float = _default(8.42, "deep-space X band", gt=0.1, le=100)
    transmit_w: float = _default(4.0, f"{FROM_MEMORY}: deep-space cubesat transponders 2-5 W", gt=0, le=1e4)
    transmit_gain_dbi: float = _default(
        23.0, f"{FROM_MEMORY}: patch array; patch 6, reflector 29", ge=-20, le=70
    )
    radio_dc_w: float = _default(
        30.0, f"{FROM_MEMORY}: deep-space cubesat transponders 25-35 W", gt=0, le=1e5
    )
    ground_gt_db_k: float = _default(
        54.0, f"{FROM_MEMORY}: 34 m at X band; 70 m 61, 35 m 50-51", ge=-50, le=100
    )
    line_loss_db: float = _default(2.0, f"{FROM_MEMORY}: lines and pointing", ge=0, le=50)
    eb_n0_db: float = _default(0.8, f"{FROM_MEMORY}: turbo code", ge=-2, le=50)
    implementation_db: float = _default(1.0, FROM_MEMORY, ge=0, le=50)
    link_margin_db: float = _default(3.0, f"{FROM_MEMORY}: 2-6 dB", ge=0, le=50)
    link_sigma_db: float = _default(1.5, "own choice: the margin is two sigma", gt=0, le=50)
    rate_max_bit_s: float = _default(256_000.0, "deep-space cubesats send at most 256 kbit/s", gt=0, le=1e9)
    contact_hours_per_day: float = _default(8.0, f"{FROM_MEMORY}: a station's pass each day", ge=0, le=24)
    downlink_max_days: float = _default(60.0, "own choice: stations are not given for longer", gt=0, le=3650)
    relay_frequency_ghz: float = _default(2.2, "S band cross-link", gt=0.1, le=100)
    relay_transmit_w: float = _default(2.0, FROM_MEMORY, gt=0, le=1e4)
    relay_probe_gain_dbi: float = _default(6.0, f"{FROM_MEMORY}: patch antenna", ge=-20, le=70)
    relay_gain_dbi: float = _default(6.0, f"{FROM_MEMORY}: patch antenna on the mothership", ge=-20, le=70)
    relay_noise_k: float = _default(500.0, FROM_MEMORY, gt=0, le=1e5)
    relay_hours_per_day: float = _default(0.0, "own choice: the mothership does not listen", ge=0, le=24)
    # power and life
    panel_area_m2: float = _default(0.12, f"{FROM_MEMORY}: a 6U with 34 W at 1 au", gt=0, le=1e3)
    panel_efficiency: float = _default(0.28, f"{FROM_MEMORY}: triple-junction cells", gt=0, le=1)
    panel_factor: float = _default(0.75, f"{FROM_MEMORY}: incidence and ageing", gt=0, le=1)
    idle_w: float = _default(
        5.0,
        f"{FROM_MEMORY}: a 6U between passes: attitude control 1-3 W, computer 0.5-2, heaters 1-3, receiver 10-13 "
        "an eighth of the time",
        ge=0,
        le=1e4,
    )
    battery_wh: float = _default(80.0, f"{FROM_MEMORY}: 40-120", gt=0, le=1e6)
    battery_depth: float = _default(0.7, f"{FROM_MEMORY}: share that may be drawn", gt=0, le=1)
    cruise_life_days: float = _default(365.0, f"{FROM_MEMORY}: 12 months, 6-24", gt=0, le=36525)
    storage_life_days: float = _default(
        2190.0, "own choice: six years stowed, kept alive and checked", gt=0, le=36525
    )
    storage_life_unkept_days: float = _default(
        365.0,
        "a year's storage without a check is among the suspected causes of a loss of two probes",
        gt=0,
        le=36525,
    )
    keepalive_w: float = _default(
        0.5, "own choice: drawn from the mothership by each stowed probe", ge=0, le=1e3
    )
    storage_checkout_days: float = _default(
        90.0, "own choice: from check to check; 0 is never", ge=0, le=36525
    )
    battery_fade_per_year: float = _default(0.03, f"{FROM_MEMORY}: of the capacity, stored", ge=0, le=1)

    @model_validator(mode="wrap")
    @classmethod
    def _fill_from_class(cls, data: Any, handler: Any) -> ProbeSettings:
        """Take what a class knows for keys that are not given; `model_fields_set` keeps the given ones only."""
        name = data.get("class") if isinstance(data, dict) else None
        if not isinstance(name, str) or name not in CLASSES:
            return handler(data)
        filled = handler({**class_values(name), **data})
        given = {"class_" if key == "class" else key for key in data}
        object.__setattr__(filled, "__pydantic_fields_set__", given)
        return filled

    def source_of(self, key: str) -> str | None:
        return None if self.class_ is None else class_source(self.class_, key)

    @property
    def storage_limit_days(self) -> float:
        """How long a probe may be stowed: the shorter life where it is not kept alive or never checked."""
        kept = self.keepalive_w > 0.0 and self.storage_checkout_days > 0.0
        return self.storage_life_days if kept else self.storage_life_unkept_days


class RefineSettings(_Section):
    """[refine]: how many dispersed trajectories are flown, and how long what is left in space is followed."""

    linear_samples: int = _default(10_000, "own choice: a covariance to 5 %", ge=100, le=1_000_000)
    full_samples: int = _default(
        1000, "own choice: of the linear ones, flown in full force", ge=10, le=100_000
    )
    recontact_samples: int = _default(50, "own choice: a chance of 6 % seen with 95 %", ge=1, le=100_000)
    recontact_days: float = _default(30.0, f"{FROM_MEMORY}: a month after each release", gt=0, le=1000)
    impact_samples: int = _default(
        600, "own choice: 1 to 2 s a probe; none of 600 says below 0.6 % with 95 %", ge=1, le=1_000_000
    )
    impact_years: float = _default(
        50.0, f"{FROM_MEMORY}: planetary protection asks for 50 years", gt=0, le=100
    )
    earth_years: float = _default(100.0, "own choice: return to the Earth, a century", gt=0, le=200)


class DeliverySettings(_Section):
    """[delivery]: where the probe really arrives: errors of the spring, corrections, and when they are flown."""

    spring_fraction: float = _default(0.05, f"{FROM_MEMORY}: of its speed, 2-10 %", ge=0, le=1)
    spring_direction_deg: float = _default(1.0, f"{FROM_MEMORY}: 0.5-3 deg", ge=0, le=90)
    corrections_after_burn_days: Annotated[tuple[_Days, ...], Strict(False)] = _default(
        (7.0,), f"{FROM_MEMORY}: clean-up of the main burn", max_length=5
    )
    corrections_before_days: Annotated[tuple[_Days, ...], Strict(False)] = _default(
        (60.0, 14.0), f"{FROM_MEMORY}: 60 and 14 days before the encounter", max_length=5
    )
    last_before_days: float = _default(
        1.0, f"{FROM_MEMORY}: last correction a day before, or when the target is seen", gt=0, le=100
    )
    turnaround_hours: float = _default(
        6.0, "own choice: from the last image used to the burn, by way of the ground", ge=0, le=1000
    )
    last_min_hours: float = _default(2.0, "own choice: later the probe only points", ge=0, le=1000)
    acquire_hours: float = _default(
        0.5, "own choice: time its own tracking needs to find the target", ge=0, le=1000
    )
    correction_budget_m_s: float | None = Field(
        default=None,
        ge=0,
        le=10_000,
        json_schema_extra={
            "source": "99th percentile of what undoes the main burn's errors at probe.burn_limit_m_s"
        },
    )
    samples: int = _default(2000, "own choice: the 99th percentile to 3 %", ge=100, le=100_000)


class KnowledgeSettings(_Section):
    """[knowledge]: one-sigma errors per axis of what is known of mothership, probe and targets."""

    mothership_position_km: float = _default(2.0, f"{FROM_MEMORY}: tracked mothership 1-3 km", ge=0, le=1e7)
    mothership_velocity_m_s: float = _default(0.0005, f"{FROM_MEMORY}: tracked mothership", ge=0, le=1e4)
    probe_position_km: float = _default(30.0, f"{FROM_MEMORY}: lone cubesat 10-50 km", ge=0, le=1e7)
    probe_velocity_m_s: float = _default(0.005, f"{FROM_MEMORY}: lone cubesat 5 mm/s", ge=0, le=1e4)
    target_floor_km: float = _default(
        100.0, f"{FROM_MEMORY}: 0.05-0.1 arcsec at belt distances", ge=0, le=1e7
    )
    runoff_fraction: float = _default(
        1.0,
        "share of the printed runoff of U that is one sigma where a body has no covariance; Minor Planet Center, "
        "Uncertainty parameter U: 1 keeps its factor 3 for optimistic errors, 0.333 takes it off",
        gt=0,
        le=10,
    )


class SearchSettings(_Section):
    """[search]: which arcs are looked at; chunk and step sizes belong to the study, not to the machine."""

    arc_min_days: float = _default(30.0, f"{OWN_CHOICE}: shorter arcs reach next to nothing", gt=0, le=20_000)
    arc_max_days: float = _default(
        400.0, f"{FROM_MEMORY}: cruise life of a small probe about a year", gt=0, le=20_000
    )
    revolutions_max: int = _default(2, OWN_CHOICE, ge=0, le=10)
    both_directions: bool = _default(True, "own choice: nothing is left out")
    slot_days: float = _default(10.0, OWN_CHOICE, gt=0, le=1000)
    chunk_bodies: int = _default(20_000, "own choice: a task of seconds", ge=1, le=1_000_000)
    step_days: float = _default(
        24.0, "own choice: its error is tested against a full integration", gt=0, le=64
    )


class ConstraintSettings(_Section):
    """[constraints]: what every plan must keep."""

    release_spacing_days: float = _default(7.0, f"{FROM_MEMORY}: range 3-30 days", ge=0, le=10_000)
    blackouts: Annotated[tuple[DatePair, ...], Strict(False)] = _default((), "none unless given")
    sun_earth_probe_min_deg: float = _default(
        5.0, f"{FROM_MEMORY}: links fail below about 3 deg, range 3-7", ge=0, le=180
    )
    pairs: bool = _default(False, "own choice: one probe per target")
    releases_max: int = _default(0, "own choice: any number of releases in a window", ge=0, le=1000)
    release_window_days: float = _default(30.0, OWN_CHOICE, gt=0, le=10_000)
    event_clear_before_days: float = _default(
        7.0,
        f"{FROM_MEMORY}: no release in the week before a flyby or manoeuvre of the mothership",
        ge=0,
        le=1000,
    )
    event_clear_after_days: float = _default(
        3.0, f"{FROM_MEMORY}: the mothership's orbit is known again after three days", ge=0, le=1000
    )
    downlink_clear_days: float = _default(
        0.0, "own choice: conjunction after the encounter lowers the chance of data, no more", ge=0, le=1000
    )
    sun_range_min_au: float = _default(0.0, "none unless given", ge=0, le=1000)
    sun_range_max_au: float = _default(1000.0, "none unless given", gt=0, le=1000)
    burn_share_max: float = _default(
        0.02, "a longer burn is not impulsive: 2 % of the time to the encounter, from memory", gt=0, le=1
    )
    release_sun_angle_min_deg: float = _default(
        0.0, "none unless given; the release axis against the Sun, 30 from memory", ge=0, le=180
    )
    release_sun_angle_max_deg: float = _default(180.0, "none unless given; 150 from memory", ge=0, le=180)
    recontact_km: float = _default(
        10.0, f"{FROM_MEMORY}: least distance from the mothership and between probes", ge=0, le=1e6
    )
    recontact_after_days: float = _default(
        1.0, f"{FROM_MEMORY}: a probe leaves slowly in the first day after its burn", ge=0, le=1000
    )
    relay_busy_days: float = _default(
        0.0, "own choice: no relay; encounters served by one need so many days each", ge=0, le=1000
    )
    tracking_hours_per_week: float | None = Field(
        default=None, gt=0, le=10_000, json_schema_extra={"source": "as many as are needed"}
    )
    tracking_cruise_hours_per_week: float = _default(
        4.0, f"{FROM_MEMORY}: two passes of 2 h for each probe", ge=0, le=168
    )
    tracking_encounter_hours_per_day: float = _default(8.0, f"{FROM_MEMORY}: a pass a day", ge=0, le=24)
    tracking_encounter_days: float = _default(
        7.0, f"{FROM_MEMORY}: from so long before the encounter until so long after it", ge=0, le=1000
    )


class Where(_Section):
    """What a row selects on; a key left out does not restrict."""

    taxonomy: Annotated[tuple[Name, ...], Strict(False)] | None = Field(default=None, min_length=1)
    taxonomy_chance_min: float | None = Field(default=None, gt=0, le=1)
    diameter_km_min: float | None = Field(default=None, ge=0)
    diameter_km_max: float | None = Field(default=None, gt=0)
    albedo_min: float | None = Field(default=None, ge=0, le=1)
    albedo_max: float | None = Field(default=None, gt=0, le=1)
    h_mag_min: float | None = _unset()
    h_mag_max: float | None = _unset()
    u_max: int | None = Field(default=None, ge=0, le=9)
    visited: bool | None = _unset()
    binary: bool | None = _unset()
    spin_period_h_min: float | None = Field(default=None, ge=0)
    spin_period_h_max: float | None = Field(default=None, gt=0)
    family: Annotated[tuple[Name, ...], Strict(False)] | None = Field(default=None, min_length=1)
    kind: Literal["flyby", "low-pass", "entry"] = _default("flyby", "own choice: flybys are searched")


class ScienceRow(_Section):
    """[[science.rows]]: a line of the traceability matrix: what counts, how many are needed, its weight."""

    name: Name
    where: Where = Field(default_factory=Where)
    quality_min: float = _default(0.0, "own choice: every returned encounter counts", ge=0, le=1)
    threshold: int = _default(0, "own choice: no minimum", ge=0, le=1000)
    baseline: int = _default(1, OWN_CHOICE, ge=1, le=1000)
    weight: float = _default(1.0, "own choice: rows weigh the same", gt=0, le=1e6)


class ScienceSettings(_Section):
    """[science]: the rows."""

    rows: Annotated[tuple[ScienceRow, ...], Strict(False)] = Field(min_length=1, max_length=50)


class SharedGroup(_Section):
    """[[survival.groups]]: probes that can be lost together, over and above the group of all probes.

    Members are told by their release date (a lot or a dispenser serves a span of releases), those of the relay
    by how their data come home.
    """

    name: Name
    kind: Literal["build-lot", "dispenser", "command", "relay"]
    shared_fraction: float = Field(gt=0, le=1)
    release_from: JdTdb | None = Field(default=None, json_schema_extra={"source": "from the first release"})
    release_until: JdTdb | None = Field(default=None, json_schema_extra={"source": "to the last release"})


class SurvivalSettings(_Section):
    """[survival]: the simple model is one chance for all probes; "weibull" takes the phases apart.

    `shared_fraction` is the share of failures in common to all probes, in either model.
    """

    model: Literal["simple", "weibull"] = _default("simple", OWN_CHOICE)
    success: float = _default(
        0.75,
        "about 75 % of 855 cubesats launched to mid-2018 (Villela et al. 2019, Int. J. Aerosp. Eng. 5063145)",
        ge=0,
        le=1,
    )
    shared_fraction: float = _default(0.1, f"{FROM_MEMORY}: vary it from 0 to 0.2", ge=0, le=1)
    dead_on_arrival: float = _default(0.10, f"{FROM_MEMORY}: launched cubesats 0.05-0.25", ge=0, le=1)
    weibull_shape: float = _default(0.4, f"{FROM_MEMORY}: launched cubesats 0.3-0.6", gt=0, le=10)
    weibull_scale_days: float = _default(
        8228.0, f"{FROM_MEMORY}: three of four that came alive work after an active year", gt=0, le=1e9
    )
    dormancy: float = _default(
        0.2, f"{FROM_MEMORY}: a stored day ages as 0.1-0.3 of an active one", ge=0, le=1
    )
    stored_before_days: float = _default(0.0, "own choice: loaded at study.start", ge=0, le=36525)
    release_success: float = _default(0.98, "own choice: dispensers seldom fail", ge=0, le=1)
    encounter_success: float = _default(0.95, "own choice: no safe mode, pointing kept", ge=0, le=1)
    groups: Annotated[tuple[SharedGroup, ...], Strict(False)] = Field(default=(), max_length=9)

    def unused(self) -> tuple[str, ...]:
        return ("success",) if self.model == "weibull" else _WEIBULL_KEYS


class ObservingSettings(_Section):
    """[observing]: what astronomers on Earth may be asked for before the probes leave."""

    magnitude_limit: float = _default(
        21.5, f"{FROM_MEMORY}: telescopes of 2 m in ordinary use 21-22", ge=0, le=40
    )
    elongation_min_deg: float = _default(
        60.0, f"{FROM_MEMORY}: closer to the Sun nights are short", ge=0, le=180
    )
    step_days: float = _default(10.0, OWN_CHOICE, gt=0, le=400)
    u_improvement: int = _default(2, "own choice: about one more apparition", ge=1, le=9)


class MarginSettings(_Section):
    """[margins]: added to the main burn before propellant is counted, and to masses in the budgets."""

    deterministic_fraction: float = _default(0.05, f"{FROM_MEMORY}: computed manoeuvres +5 %", ge=0, le=5)
    attitude_m_s: float = _default(2.0, FROM_MEMORY, ge=0, le=1000)
    attitude_fraction: float = _default(1.0, f"{FROM_MEMORY}: attitude control +100 %", ge=0, le=10)
    residual_fraction: float = _default(0.02, f"{FROM_MEMORY}: residuals 2-5 %", ge=0, lt=1)
    probe_maturity_fraction: float = _default(
        0.10, "ECSS equipment categories: 5 % off the shelf, 10 % modified, 20 % new", ge=0, le=2
    )
    dispenser_maturity_fraction: float = _default(
        0.05, "ECSS equipment categories: off the shelf", ge=0, le=2
    )
    system_fraction: float = _default(0.20, f"{FROM_MEMORY}: system margin at concept level", ge=0, le=2)


class OptimizeSettings(_Section):
    """[optimize]: the effort; part of the question, since it is part of the answer."""

    islands: int = _default(4, OWN_CHOICE, ge=1, le=1000)
    population: int = _default(64, OWN_CHOICE, ge=8, le=100_000, multiple_of=4)
    epochs: int = _default(20, OWN_CHOICE, ge=1, le=100_000)
    generations_per_epoch: int = _default(25, OWN_CHOICE, ge=1, le=100_000)
    archive: int = _default(2000, OWN_CHOICE, ge=8, le=1_000_000)
    stall_epochs: int = _default(
        5, "own choice: epochs without gain after which the search ends; 0 is never", ge=0, le=100_000
    )
    stall_share: float = _default(1e-4, "own choice: a smaller gain of hypervolume is none", ge=0, le=1)
    repeats: int = _default(
        1, "own choice: searches with seeds of their own, the front is of all", ge=1, le=1000
    )
    stop_after_s: float | None = Field(
        default=None,
        gt=0,
        le=1e7,
        json_schema_extra={"source": "never by the clock: such a run is not repeatable"},
    )
    levels: int = _default(40, "own choice: propellant levels of the proven bound", ge=1, le=1000)
    polish_steps: int = _default(
        4,
        "own choice: releases between two slots for the targets of the front; 1 is no polishing",
        ge=1,
        le=100,
    )
    constraint_costs: bool = _default(True, "own choice: what the front would gain without each constraint")


class CompareSettings(_Section):
    """[compare]: probe counts to compare, and the rule that chooses one plan of a front."""

    counts: Annotated[tuple[Annotated[int, Field(ge=0, le=1000)], ...], Strict(False)] = _default(
        (), "none unless given"
    )
    rule: Literal["knee", "most-science", "least-risk", "least-propellant", "science-in-mass"] = _default(
        "knee", OWN_CHOICE
    )
    chance_min: float = _default(
        0.9, "own choice: least chance that every threshold is met, for least-propellant", ge=0, le=1
    )
    swarm_mass_max_kg: float | None = Field(default=None, gt=0, le=1e6)
    seeds: int = _default(3, "own choice: searches per count, for the spread of the answer", ge=1, le=1000)


class SlipFile(_Section):
    """A mothership's path for a slip of the schedule: a file of its own, used at the dates it gives."""

    days: float = Field(ge=-3650, le=3650)
    file: Name


class SensitivitySettings(_Section):
    """[sensitivity]: what is changed, and by how much, to see what the answer hangs on. 0 leaves a factor out.

    Bins are the lower ends of five ranges; a value on an end belongs to the higher one.
    """

    burn_limit_fraction: float = _default(0.2, "own choice: of probe.burn_limit_m_s, down and up", ge=0, lt=1)
    success_change: float = _default(
        0.1, "own choice: added to and taken from each probe's chance", ge=0, le=1
    )
    shared_fraction_change: float = _default(
        0.1, f"{FROM_MEMORY}: shared fractions from 0 to 0.2 are in use", ge=0, le=1
    )
    weight_fraction: float = _default(0.3, "own choice: of each row's weight, down and up", ge=0, lt=1)
    slips_days: Annotated[tuple[Annotated[float, Field(ge=-3650, le=3650)], ...], Strict(False)] = _default(
        (), "none unless given", max_length=20
    )
    slip_files: Annotated[tuple[SlipFile, ...], Strict(False)] = Field(default=(), max_length=20)
    leave_one_out: bool = _default(True, "own choice: each target of the chosen plan is left out once")
    effort: int = _default(2, "own choice: epochs of the short search that plans again", ge=1, le=1000)
    likelihood_slip: float = _default(0.3, TO_BE_SET, ge=0, le=1)
    likelihood_weaker_burn: float = _default(0.1, TO_BE_SET, ge=0, le=1)
    likelihood_target_lost: float = _default(0.05, TO_BE_SET, ge=0, le=1)
    likelihood_bins: _Bins = _default((0.0, 0.02, 0.15, 0.25, 0.5), LIKELIHOOD_SCALE)
    consequence_bins: _Bins = _default((0.0, 0.02, 0.05, 0.1, 0.25), CONSEQUENCE_SCALE)


class Study(_Section):
    """One question, as understood. `base` is the folder that relative paths start from."""

    study: StudySettings
    catalogue: CatalogueSettings
    mothership: MothershipSettings
    probe: ProbeSettings
    delivery: DeliverySettings = Field(default_factory=DeliverySettings)
    knowledge: KnowledgeSettings = Field(default_factory=KnowledgeSettings)
    search: SearchSettings = Field(default_factory=SearchSettings)
    constraints: ConstraintSettings = Field(default_factory=ConstraintSettings)
    science: ScienceSettings
    survival: SurvivalSettings = Field(default_factory=SurvivalSettings)
    observing: ObservingSettings = Field(default_factory=ObservingSettings)
    margins: MarginSettings = Field(default_factory=MarginSettings)
    optimize: OptimizeSettings = Field(default_factory=OptimizeSettings)
    refine: RefineSettings = Field(default_factory=RefineSettings)
    compare: CompareSettings = Field(default_factory=CompareSettings)
    sensitivity: SensitivitySettings | None = Field(default=None)

    _base: Path = PrivateAttr(default=Path("."))

    @property
    def base(self) -> Path:
        return self._base

    def with_seed(self, seed: int | None) -> Study:
        """The same question with another seed; `None` leaves it."""
        if seed is None:
            return self
        changed = self.model_copy(update={"study": self.study.model_copy(update={"seed": seed})})
        changed._base = self._base
        return changed


def read_study(path: str | Path, *, base: Path | None = None) -> Study:
    """Read a study file; every problem in it is named in one `InputError`.

    Parameters
    ----------
    path : the TOML file
    base : folder that relative paths in it start from; the file's own folder unless given
    """
    path = Path(path)
    study = study_from(_read_toml(path), file=path)
    study._base = path.parent if base is None else base
    return study


def study_from(data: dict[str, Any], *, file: str | Path = "study") -> Study:
    """Validate the parsed file and the relations between its values."""
    try:
        study = Study.model_validate(data)
    except ValidationError as error:
        raise refuse(problems_of(error, Study), file=file) from None
    problems = list(_relations(study))
    if problems:
        raise refuse(problems, file=file)
    return study


def _read_toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8"))
    except FileNotFoundError:
        raise InputError("the study file is not there", file=path, expected="a TOML file") from None
    except OSError as problem:
        raise InputError("the study file cannot be read", file=path, found=problem.strerror) from None
    except UnicodeDecodeError as problem:
        raise InputError("not a TOML text", file=path, found=f"byte {problem.start} is not UTF-8") from None
    except tomllib.TOMLDecodeError as problem:
        raise InputError("not valid TOML", file=path, found=problem, expected="key = value lines") from None


# --- relations between values -------------------------------------------------------------------------------


def _relations(study: Study) -> Iterator[Problem]:
    yield from _time_relations(study)
    yield from _catalogue_relations(study.catalogue)
    yield from _mothership_relations(study.mothership)
    yield from _science_relations(study.science)
    yield from _survival_relations(study.survival)
    if study.sensitivity is not None:
        yield from _slip_relations(study.sensitivity, study.mothership)
        yield from _bin_relations(study.sensitivity)
    rule, limit = study.compare.rule, study.compare.swarm_mass_max_kg
    if rule == "science-in-mass" and limit is None:
        yield Problem("compare.swarm_mass_max_kg", "nothing", f'a value: rule = "{rule}" needs it')
    loaded_kg = max(study.probe.count, *study.compare.counts, 0) * study.probe.wet_mass_kg
    if loaded_kg > study.mothership.mass_kg:
        yield Problem(
            "mothership.mass_kg", f"{study.mothership.mass_kg:g}", f"at least the probes' {loaded_kg:g} kg"
        )


def _time_relations(study: Study) -> Iterator[Problem]:
    span, search = study.study, study.search
    if span.end <= span.start:
        yield Problem("study.end", iso_tdb(span.end), f"a date after study.start, {iso_tdb(span.start)}")
    if search.arc_max_days <= search.arc_min_days:
        least = f"more than arc_min_days, {search.arc_min_days:g}"
        yield Problem("search.arc_max_days", f"{search.arc_max_days:g}", least)
    limits = study.constraints
    for low, high in (
        ("sun_range_min_au", "sun_range_max_au"),
        ("release_sun_angle_min_deg", "release_sun_angle_max_deg"),
    ):
        if getattr(limits, high) <= getattr(limits, low):
            found, least = f"{getattr(limits, high):g}", f"more than {low}, {getattr(limits, low):g}"
            yield Problem(f"constraints.{high}", found, least)
    for k, (begin, until) in enumerate(study.constraints.blackouts):
        if until <= begin:
            found = f"{iso_tdb(begin)} to {iso_tdb(until)}"
            yield Problem(f"constraints.blackouts[{k}]", found, "a pair [from, until] with from < until")


def _catalogue_relations(settings: CatalogueSettings) -> Iterator[Problem]:
    invented = settings.format == "invented"
    needed, barred = ("bodies", ["file"]) if invented else ("file", ["bodies", "seed", "epoch"])
    if getattr(settings, needed) is None:
        yield Problem(f"catalogue.{needed}", "nothing", f'a value: format = "{settings.format}" needs it')
    yield from _barred("catalogue", settings, barred, f'format = "{settings.format}"')


_ELEMENT_KEYS = ("epoch", "a_au", "e", "i_deg", "node_deg", "argp_deg", "mean_anomaly_deg")
_LEG_KEYS = ("legs", "flyby_altitude_min_km", "flyby_mismatch_max_m_s", "flyby_clear_days")
_KEYS_OF_KIND = {
    "elements": _ELEMENT_KEYS,
    "legs": _LEG_KEYS,
    "oem": ("file", "flyby_altitude_min_km"),
    "spk": ("file", "spk_id", "flyby_altitude_min_km"),
}


def _mothership_relations(settings: MothershipSettings) -> Iterator[Problem]:
    own = _KEYS_OF_KIND[settings.kind]
    for key in own:
        if getattr(settings, key) in (None, ()):
            yield Problem(f"mothership.{key}", "nothing", f'a value: kind = "{settings.kind}" needs it')
    barred = [key for keys in _KEYS_OF_KIND.values() for key in keys if key not in own]
    yield from _barred("mothership", settings, barred, f'kind = "{settings.kind}"')
    if len(settings.legs) == 1:
        yield Problem("mothership.legs", "one entry", "at least two bodies with their dates")
    dates = [leg.date for leg in settings.legs]
    if any(later <= earlier for earlier, later in itertools.pairwise(dates)):
        yield Problem("mothership.legs", "dates out of order", "legs in order of date, one date each")


def _barred(section: str, settings: _Section, keys: list[str], reason: str) -> Iterator[Problem]:
    for key in sorted(set(keys) & settings.model_fields_set):
        yield Problem(f"{section}.{key}", str(getattr(settings, key)), f"no such key with {reason}")


_WEIBULL_KEYS = (
    "dead_on_arrival",
    "weibull_shape",
    "weibull_scale_days",
    "dormancy",
    "stored_before_days",
    "release_success",
    "encounter_success",
)


def _survival_relations(survival: SurvivalSettings) -> Iterator[Problem]:
    yield from _barred("survival", survival, list(survival.unused()), f'model = "{survival.model}"')
    names = [group.name for group in survival.groups]
    for k, group in enumerate(survival.groups):
        place = f"survival.groups[{k}]"
        if names.index(group.name) != k:
            yield Problem(f"{place}.name", group.name, "a name that no other group has")
        begin, until = group.release_from, group.release_until
        if begin is not None and until is not None and until <= begin:
            yield Problem(f"{place}.release_until", iso_tdb(until), f"a date after {iso_tdb(begin)}")
        together = survival.shared_fraction + sum(
            other.shared_fraction for other in survival.groups if _serves(other, begin)
        )
        # else the groups would take more than all of a member's failures
        if together > 1.0 + 1e-12:
            found = (
                f"{together:g} for releases from its first on, with shared_fraction and overlapping groups"
            )
            yield Problem(f"{place}.shared_fraction", found, "fractions that add up to at most 1")


def _serves(group: SharedGroup, jd_tdb: float | None) -> bool:
    """Whether a group has members released at a date; None stands for the earliest."""
    begin, until = group.release_from, group.release_until
    if jd_tdb is None:
        return begin is None
    return (begin is None or begin <= jd_tdb) and (until is None or jd_tdb < until)


def _slip_relations(settings: SensitivitySettings, ship: MothershipSettings) -> Iterator[Problem]:
    """A path from a file is never shifted in time: it would be no path among the planets any more."""
    from_file = ship.kind in ("oem", "spk")
    if from_file and settings.slips_days:
        days = settings.slips_days[0]
        expected = (
            f'slip_files = [{{ days = {days:g}, file = "..." }}], a path computed for each slip: '
            f'a path of kind = "{ship.kind}" is not shifted in time, the planets would not be where it meets them'
        )
        yield Problem("sensitivity.slips_days", _shown("slips_days", settings.slips_days), expected)
    if not from_file and settings.slip_files:
        found = f"{len(settings.slip_files)} files"
        yield Problem("sensitivity.slip_files", found, f'slips_days: kind = "{ship.kind}" is solved again')
    for k, slip in enumerate(settings.slip_files):
        if from_file and slip.file == ship.file:
            expected = (
                f"the path computed for this slip: the study's own file is not shifted by {slip.days:g} d"
            )
            yield Problem(f"sensitivity.slip_files[{k}].file", slip.file, expected)
    for key, listed in (
        ("slips_days", settings.slips_days),
        ("slip_files", tuple(slip.days for slip in settings.slip_files)),
    ):
        if 0.0 in listed or len(set(listed)) != len(listed):
            yield Problem(f"sensitivity.{key}", _shown(key, listed), "days other than 0, each once")


def _bin_relations(settings: SensitivitySettings) -> Iterator[Problem]:
    for key in ("likelihood_bins", "consequence_bins"):
        ends = getattr(settings, key)
        if ends[0] != 0.0 or ends[-1] > 1.0 or any(b <= a for a, b in itertools.pairwise(ends)):
            expected = "lower ends of five bins: rising, the first 0, none above 1"
            yield Problem(f"sensitivity.{key}", _shown(key, ends), expected)


def _science_relations(science: ScienceSettings) -> Iterator[Problem]:
    names = [row.name for row in science.rows]
    for k, row in enumerate(science.rows):
        place = f"science.rows[{k}]"
        if row.threshold > row.baseline:
            yield Problem(f"{place}.threshold", str(row.threshold), f"at most the baseline, {row.baseline}")
        if names.index(row.name) != k:
            yield Problem(f"{place}.name", row.name, "a name that no other row has")
        unknown = [label for label in row.where.taxonomy or () if label not in LABELS]
        if unknown:
            yield Problem(f"{place}.where.taxonomy", ", ".join(unknown), f"classes among {', '.join(LABELS)}")
        if row.where.taxonomy_chance_min is not None and row.where.taxonomy is None:
            found = f"{row.where.taxonomy_chance_min:g} without classes"
            yield Problem(f"{place}.where.taxonomy_chance_min", found, "where.taxonomy beside it")
        for key in ("diameter_km", "albedo", "h_mag", "spin_period_h"):
            low, high = getattr(row.where, f"{key}_min"), getattr(row.where, f"{key}_max")
            if low is not None and high is not None and high <= low:
                yield Problem(f"{place}.where.{key}_max", f"{high:g}", f"more than {key}_min, {low:g}")


def require_supported(study: Study, *, file: str | Path = "study") -> None:
    """Refuse what the schema knows but this version cannot compute, naming what it can."""
    problems = list(_unsupported(study))
    if problems:
        raise refuse(problems, file=file)


def _unsupported(study: Study) -> Iterator[Problem]:
    if study.catalogue.format not in READ_FORMATS:
        accepted = " or ".join(f'"{name}"' for name in READ_FORMATS)
        yield Problem(
            "catalogue.format", f'"{study.catalogue.format}", not read by this version', f"{accepted}"
        )
    if study.mothership.kind not in FLOWN_KINDS:
        accepted = " or ".join(f'"{name}"' for name in FLOWN_KINDS)
        yield Problem("mothership.kind", f'"{study.mothership.kind}", not followed by this version', accepted)
    for k, row in enumerate(study.science.rows):
        if row.where.kind != "flyby":
            found = f'"{row.where.kind}", not searched by this version'
            yield Problem(f"science.rows[{k}].where.kind", found, '"flyby"')


# --- the study as understood --------------------------------------------------------------------------------

_UNITS = (
    ("_km_s", "km/s"),
    ("_bit_s", "bit/s"),
    ("_m_s", "m/s"),
    ("_deg_s", "deg/s"),
    ("_kg", "kg"),
    ("days", "d"),
    ("_au", "au"),
    ("_urad", "urad"),
    ("_mrad", "mrad"),
    ("_km", "km"),
    ("_km_min", "km"),
    ("_km_max", "km"),
    ("_deg", "deg"),
    ("_n", "N"),
    ("_s", "s"),
    ("_mag_min", "mag"),
    ("_mag_max", "mag"),
    ("_mag", "mag"),
    ("_hours", "h"),
    ("_hours_per_day", "h/d"),
    ("_mm", "mm"),
    ("_ms", "ms"),
    ("_px", "px"),
    ("_mbit", "Mbit"),
    ("_ghz", "GHz"),
    ("_wh", "Wh"),
    ("_w", "W"),
    ("_dbi", "dBi"),
    ("_db_k", "dB/K"),
    ("_db", "dB"),
    ("_noise_k", "K"),
    ("_m2", "m^2"),
    ("_h_min", "h"),
    ("_h_max", "h"),
)
_DATE_KEYS = {"start", "end", "date", "epoch", "blackouts", "release_from", "release_until"}


def study_rows(study: Study) -> list[tuple[str, str, str, str]]:
    """(key, value, unit, source) of every value, given or by default, in the order of the file."""
    rows: list[tuple[str, str, str, str]] = []
    for section in Study.model_fields:
        if getattr(study, section) is not None:
            rows.extend(_rows_of(section, getattr(study, section)))
    return rows


def _rows_of(prefix: str, model: _Section) -> Iterator[tuple[str, str, str, str]]:
    for key, field in type(model).model_fields.items():
        if key in model.unused():
            continue
        value, name = getattr(model, key), field.alias or key
        place = f"{prefix}.{name}"
        if isinstance(value, _Section):
            yield from _rows_of(place, value)
        elif isinstance(value, tuple) and value and isinstance(value[0], _Section):
            for k, item in enumerate(value):
                yield from _rows_of(f"{place}[{k}]", item)
        elif key in model.model_fields_set:
            yield place, _shown(key, value), _unit(key), "study file"
        elif model.source_of(key):
            yield place, _shown(key, value), _unit(key), str(model.source_of(key))
        elif value is None and _source(field):
            yield place, f"= {_source(field)}", _unit(key), "default"
        elif _source(field):
            yield place, _shown(key, value), _unit(key), _source(field)


def _source(field: Any) -> str:
    extra = field.json_schema_extra
    return str(extra.get("source", "")) if isinstance(extra, dict) else ""


def _unit(key: str) -> str:
    if key in _DATE_KEYS:
        return "TDB"
    return next((unit for suffix, unit in _UNITS if key.endswith(suffix)), "-")


def _shown(key: str, value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return iso_tdb(value) if key in _DATE_KEYS else f"{value:.12g}"
    if isinstance(value, tuple):
        return "[" + ", ".join(_shown(key, item) for item in value) + "]"
    return str(value)
