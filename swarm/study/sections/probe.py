"""The probes: [probe]."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, model_validator

from swarm.study.fields import FROM_MEMORY, Section, choice, default, required
from swarm.study.probe_classes import CLASSES, class_source, class_values

PROPULSION_SURVEY = "agency small-spacecraft technology survey, propulsion chapter: green monopropellant"
GATES = "Gates model (JPL TR 32-504, 1963); size for green monopropellant, from memory"


class ProbeSettings(Section):
    """[probe]: identical probes; what one weighs, can burn, see, send and outlive.

    `class` selects the defaults of a built-in class (`swarm.study.probe_classes`) for the keys it knows; a key that is
    given wins.
    The defaults below are those of a 6U.
    """

    count: int = required("-", ge=0, le=1000)
    class_: Literal["3U", "6U", "12U", "micro"] | None = Field(default=None, alias="class")
    wet_mass_kg: float = required("kg", likely=(0.5, 500), gt=0, le=1e5)
    dispenser_kg: float = default(6.0, "kg", f"{FROM_MEMORY}: 6U 4.5-8", likely=(0, 200), ge=0, le=1e4)
    isp_s: float = default(220.0, "s", f"{PROPULSION_SURVEY}, 220-250 s", likely=(40, 5000), ge=1, le=1e5)
    thrust_n: float = default(0.5, "N", f"{PROPULSION_SURVEY}, 0.1-27 N", likely=(0.0001, 500), gt=0, le=1e5)
    burn_limit_m_s: float = required("m/s", likely=(5, 5000), gt=0, le=20_000)
    propulsion: Literal["chemical", "electric"] = choice("chemical", "own choice: burns are impulses")
    thrust_power_w: float = default(
        0.0,
        "W",
        "own choice: thrust does not hang on power; at the Sun range at hand it falls with what is missing",
        likely=(0, 5000),
        ge=0,
        le=1e6,
    )
    power_exponent: float = default(
        1.0,
        "-",
        f"{FROM_MEMORY}: thrust goes with the power of an ion engine at one exhaust speed",
        gt=0,
        le=5,
    )
    duty: float = default(
        0.9,
        "-",
        f"{FROM_MEMORY}: common practice leaves a tenth of the time for pointing and radio",
        gt=0,
        le=1,
    )
    spring_m_s: float = default(
        1.0,
        "m/s",
        "tube dispensers 1-2 m/s (CubeSat Design Specification rev. 14, seen second-hand)",
        likely=(0, 5),
        ge=0,
        le=20,
    )
    loose_part_kg: float = default(
        0.0,
        "kg",
        "own choice: nothing but the probe leaves; a door, a plate or the dispenser, for each probe",
        ge=0,
        le=1e4,
    )
    loose_part_m_s: float = default(
        0.5, "m/s", "own choice: along the spring, slower than the probe", ge=0, le=20
    )
    loose_part_area_m2: float = default(0.05, "m^2", "own choice: a door of 6U", ge=0, le=1e4)
    checkout_days: float = default(
        3.0, "d", f"{FROM_MEMORY}: no manoeuvre in the first days", likely=(0, 90), ge=0, le=1000
    )
    execution_fixed_m_s: float = default(0.005, "m/s", GATES, likely=(0, 0.5), ge=0, le=100)
    execution_proportional: float = default(0.01, "-", GATES, likely=(0, 0.2), ge=0, le=1)
    execution_pointing_mrad: float = default(15.0, "mrad", GATES, likely=(0, 200), ge=0, le=1000)
    # camera
    solar_area_m2: float = default(
        0.18,
        "m^2",
        f"{FROM_MEMORY}: a 6U's open panels and its largest side, facing the Sun",
        likely=(0.005, 20),
        ge=0,
        le=1e4,
    )
    reflectivity: float = default(1.3, "-", f"{FROM_MEMORY}: 1 absorbs all light, 2 mirrors all", ge=0, le=2)
    camera_ifov_urad: float = default(
        25.0,
        "urad",
        f"{FROM_MEMORY}: narrow cameras of flown small probes 17-60",
        likely=(1, 1000),
        gt=0,
        le=1e5,
    )
    camera_pixels: int = default(
        2048, "px", "detector width of a flown companion camera", likely=(128, 20000), ge=1, le=100_000
    )
    camera_aperture_mm: float = default(60.0, "mm", f"{FROM_MEMORY}: 20-90", likely=(3, 500), gt=0, le=1e4)
    limiting_mag: float = default(
        10.0,
        "mag",
        f"{FROM_MEMORY}: 30-60 mm aperture, images added, 10-12; star trackers 6-7",
        likely=(2, 18),
        ge=-5,
        le=30,
    )
    sun_exclusion_deg: float = default(
        30.0,
        "deg",
        "common practice, no source: baffles of small cameras and star trackers 30-45 deg, from memory; beyond "
        "60 deg the phase at closest approach is what limits images",
        ge=0,
        le=60,
    )
    exposure_ms: float = default(
        1.0,
        "ms",
        "own choice: at 1 au, longer with the square of the range",
        likely=(0.001, 2000),
        gt=0,
        le=1e5,
    )
    centroid_px: float = default(0.2, "px", f"{FROM_MEMORY}: line of sight to 0.1-0.2 pixels", gt=0, le=100)
    slew_limit_deg_s: float = default(
        2.0, "deg/s", f"{FROM_MEMORY}: small spacecraft 1-7 deg/s", likely=(0.05, 30), gt=0, le=360
    )
    tracking_error: float = default(0.07, "-", f"{FROM_MEMORY}: 5-10 % of the turn rate", ge=0, le=1)
    autonomous_tracking: bool = choice(
        True, "own choice: flown companions kept the target by their own images"
    )
    keepout_km: float = default(
        50.0, "km", "flown companions passed at 50-58 km", likely=(0, 5000), ge=0, le=1e7
    )
    images_kept: int = default(20, "-", f"{FROM_MEMORY}: the best of the pass", ge=1, le=100_000)
    frame_s: float = default(1.0, "s", "own choice: one image a second", gt=0, le=3600)
    bits_per_pixel: float = default(
        2.5, "bit/px", f"{FROM_MEMORY}: 10 bits, compressed fourfold", gt=0, le=64
    )
    image_window: float = default(2.0, "-", "own choice: images are cut to this many diameters", ge=1, le=100)
    data_min_mbit: float = default(5.0, "Mbit", f"{FROM_MEMORY}: a set of thumbnails", gt=0, le=1e6)
    # radio
    frequency_ghz: float = default(8.42, "GHz", "deep-space X band", likely=(0.4, 40), gt=0.1, le=100)
    transmit_w: float = default(
        4.0, "W", f"{FROM_MEMORY}: deep-space cubesat transponders 2-5 W", likely=(0.1, 200), gt=0, le=1e4
    )
    transmit_gain_dbi: float = default(
        23.0, "dBi", f"{FROM_MEMORY}: patch array; patch 6, reflector 29", likely=(-5, 50), ge=-20, le=70
    )
    radio_dc_w: float = default(
        30.0, "W", f"{FROM_MEMORY}: deep-space cubesat transponders 25-35 W", likely=(0.5, 500), gt=0, le=1e5
    )
    ground_gt_db_k: float = default(
        54.0, "dB/K", f"{FROM_MEMORY}: 34 m at X band; 70 m 61, 35 m 50-51", ge=-50, le=100
    )
    line_loss_db: float = default(2.0, "dB", f"{FROM_MEMORY}: lines and pointing", ge=0, le=50)
    eb_n0_db: float = default(0.8, "dB", f"{FROM_MEMORY}: turbo code", ge=-2, le=50)
    implementation_db: float = default(1.0, "dB", FROM_MEMORY, ge=0, le=50)
    link_margin_db: float = default(3.0, "dB", f"{FROM_MEMORY}: 2-6 dB", ge=0, le=50)
    link_sigma_db: float = default(1.5, "dB", "own choice: the margin is two sigma", gt=0, le=50)
    rate_max_bit_s: float = default(
        256_000.0,
        "bit/s",
        "deep-space cubesats send at most 256 kbit/s",
        likely=(1, 100000000.0),
        gt=0,
        le=1e9,
    )
    contact_hours_per_day: float = default(
        8.0, "h/d", f"{FROM_MEMORY}: a station's pass each day", ge=0, le=24
    )
    downlink_max_days: float = default(
        60.0, "d", "own choice: stations are not given for longer", gt=0, le=3650
    )
    relay_frequency_ghz: float = default(2.2, "GHz", "S band cross-link", gt=0.1, le=100)
    relay_transmit_w: float = default(2.0, "W", FROM_MEMORY, gt=0, le=1e4)
    relay_probe_gain_dbi: float = default(6.0, "dBi", f"{FROM_MEMORY}: patch antenna", ge=-20, le=70)
    relay_gain_dbi: float = default(
        6.0, "dBi", f"{FROM_MEMORY}: patch antenna on the mothership", ge=-20, le=70
    )
    relay_noise_k: float = default(500.0, "K", FROM_MEMORY, gt=0, le=1e5)
    relay_hours_per_day: float = default(
        0.0, "h/d", "own choice: the mothership does not listen", ge=0, le=24
    )
    # power and life
    panel_area_m2: float = default(
        0.12, "m^2", f"{FROM_MEMORY}: a 6U with 34 W at 1 au", likely=(0.005, 20), gt=0, le=1e3
    )
    panel_efficiency: float = default(0.28, "-", f"{FROM_MEMORY}: triple-junction cells", gt=0, le=1)
    panel_factor: float = default(0.75, "-", f"{FROM_MEMORY}: incidence and ageing", gt=0, le=1)
    idle_w: float = default(
        5.0,
        "W",
        f"{FROM_MEMORY}: a 6U between passes: attitude control 1-3 W, computer 0.5-2, heaters 1-3, receiver 10-13 "
        "an eighth of the time",
        likely=(0, 100),
        ge=0,
        le=1e4,
    )
    battery_wh: float = default(80.0, "Wh", f"{FROM_MEMORY}: 40-120", likely=(2, 5000), gt=0, le=1e6)
    battery_depth: float = default(0.7, "-", f"{FROM_MEMORY}: share that may be drawn", gt=0, le=1)
    cruise_life_days: float = default(
        365.0, "d", f"{FROM_MEMORY}: 12 months, 6-24", likely=(30, 5000), gt=0, le=36525
    )
    storage_life_days: float = default(
        2190.0, "d", "own choice: six years stowed, kept alive and checked", gt=0, le=36525
    )
    storage_life_unkept_days: float = default(
        365.0,
        "d",
        "a year's storage without a check is among the suspected causes of a loss of two probes",
        gt=0,
        le=36525,
    )
    keepalive_w: float = default(
        0.5, "W", "own choice: drawn from the mothership by each stowed probe", likely=(0, 50), ge=0, le=1e3
    )
    storage_checkout_days: float = default(
        90.0, "d", "own choice: from check to check; 0 is never", ge=0, le=36525
    )
    battery_fade_per_year: float = default(
        0.03, "1/year", f"{FROM_MEMORY}: of the capacity, stored", ge=0, le=1
    )

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
