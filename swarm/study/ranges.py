"""How far the defaults of a study may be off: the range in which each is published or in use.

What an answer rests on is found by moving each default that a study leaves as it is to both ends of its range
(`swarm.decide.rests`). A probe class has its own ranges (`swarm.study.probe_classes`), which win. Defaults that are not
moved are listed with the reason, so that a new one cannot be forgotten (tests/study/test_ranges.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from swarm.study.fields import unit_of
from swarm.study.probe_classes import CLASSES
from swarm.study.whole_study import Study

_MEM = "from memory"
_COMMON = "common practice, no source"
_OWN = "own choice, no published range: about half and twice"
_SURVEY = "agency small-spacecraft technology survey, propulsion chapter"
_VILLELA = "Villela et al. 2019, Int. J. Aerosp. Eng. 5063145: success by year and class of cubesats"


class Range(NamedTuple):
    """Where a value may lie, and what says so."""

    low: float
    high: float
    source: str


@dataclass(frozen=True)
class Default:
    """A default that a study leaves as it is."""

    key: str  # section.key
    unit: str
    value: float
    range: Range


RANGES: dict[str, Range] = {
    # what a burn takes and how well it is flown
    "probe.isp_s": Range(200.0, 250.0, _SURVEY),
    "probe.thrust_n": Range(0.1, 27.0, _SURVEY),
    "probe.spring_m_s": Range(0.5, 2.0, f"tube dispensers 1-2 m/s, seen second-hand; half: {_MEM}"),
    "probe.execution_fixed_m_s": Range(0.001, 0.02, _MEM),
    "probe.execution_proportional": Range(0.003, 0.02, _MEM),
    "probe.execution_pointing_mrad": Range(5.0, 30.0, _MEM),
    "margins.deterministic_fraction": Range(0.0, 0.1, f"{_COMMON}: none to 10 %"),
    "margins.attitude_m_s": Range(0.0, 5.0, _MEM),
    "margins.attitude_fraction": Range(0.0, 1.0, f"{_COMMON}: none or doubled"),
    "margins.residual_fraction": Range(0.02, 0.05, _MEM),
    # camera and attitude
    "probe.camera_ifov_urad": Range(17.0, 60.0, f"{_MEM}: narrow cameras of flown small probes"),
    "probe.camera_pixels": Range(1024, 4096, f"{_COMMON}: detectors in use"),
    "probe.camera_aperture_mm": Range(20.0, 90.0, _MEM),
    "probe.limiting_mag": Range(7.0, 12.0, f"{_MEM}: star tracker to added images"),
    "probe.sun_exclusion_deg": Range(20.0, 45.0, f"{_COMMON}: baffles of small cameras and star trackers"),
    "probe.exposure_ms": Range(0.5, 2.0, _OWN),
    "probe.centroid_px": Range(0.1, 0.5, _MEM),
    "probe.slew_limit_deg_s": Range(1.0, 7.0, f"{_MEM}: small spacecraft"),
    "probe.tracking_error": Range(0.05, 0.1, f"{_MEM}: of the turn rate"),
    "probe.keepout_km": Range(25.0, 100.0, f"flown companions passed at 50-58 km; {_OWN}"),
    "probe.images_kept": Range(10, 40, _OWN),
    "probe.frame_s": Range(0.5, 2.0, _OWN),
    "probe.bits_per_pixel": Range(1.0, 10.0, f"{_MEM}: compressed tenfold to raw"),
    "probe.image_window": Range(1.5, 4.0, _OWN),
    "probe.data_min_mbit": Range(2.5, 10.0, _OWN),
    # radio
    "probe.transmit_w": Range(2.0, 5.0, f"{_MEM}: deep-space cubesat transponders"),
    "probe.transmit_gain_dbi": Range(6.0, 29.0, f"{_MEM}: patch to reflector"),
    "probe.radio_dc_w": Range(25.0, 35.0, f"{_MEM}: deep-space cubesat transponders"),
    "probe.ground_gt_db_k": Range(50.0, 61.0, f"{_MEM}: 35 m to 70 m at X band"),
    "probe.line_loss_db": Range(1.0, 3.0, _MEM),
    "probe.eb_n0_db": Range(0.3, 2.5, f"{_MEM}: turbo codes to concatenated code"),
    "probe.implementation_db": Range(0.5, 2.0, _MEM),
    "probe.link_margin_db": Range(2.0, 6.0, _MEM),
    "probe.link_sigma_db": Range(0.75, 3.0, _OWN),
    "probe.rate_max_bit_s": Range(8_000.0, 256_000.0, f"{_MEM}: deep-space cubesats"),
    "probe.contact_hours_per_day": Range(2.0, 24.0, f"{_MEM}: a short pass to three stations"),
    "probe.downlink_max_days": Range(30.0, 120.0, _OWN),
    "probe.relay_transmit_w": Range(1.0, 4.0, _OWN),
    "probe.relay_probe_gain_dbi": Range(3.0, 9.0, _OWN),
    "probe.relay_gain_dbi": Range(3.0, 12.0, _OWN),
    "probe.relay_noise_k": Range(250.0, 1000.0, _OWN),
    # power and life
    "probe.panel_area_m2": Range(0.06, 0.3, f"{_MEM}: body panels to two wings of a 6U"),
    "probe.panel_efficiency": Range(0.25, 0.32, f"{_MEM}: triple-junction cells, end and beginning of life"),
    "probe.panel_factor": Range(0.6, 0.9, _MEM),
    "probe.idle_w": Range(4.0, 14.0, f"flown 3U 8 W in all (arXiv:1706.06967); rest {_MEM}"),
    "probe.battery_wh": Range(40.0, 120.0, _MEM),
    "probe.battery_depth": Range(0.5, 0.8, _MEM),
    "probe.cruise_life_days": Range(180.0, 730.0, _MEM),
    "probe.storage_life_days": Range(1095.0, 4380.0, _OWN),
    "probe.storage_life_unkept_days": Range(180.0, 730.0, _OWN),
    "probe.storage_checkout_days": Range(45.0, 180.0, _OWN),
    "probe.battery_fade_per_year": Range(0.01, 0.05, _MEM),
    # delivery and knowledge
    "delivery.spring_fraction": Range(0.02, 0.1, _MEM),
    "delivery.spring_direction_deg": Range(0.5, 3.0, _MEM),
    "delivery.last_before_days": Range(0.5, 3.0, _MEM),
    "delivery.turnaround_hours": Range(3.0, 24.0, f"{_OWN}; a day where a shift is waited for"),
    "delivery.last_min_hours": Range(1.0, 4.0, _OWN),
    "delivery.acquire_hours": Range(0.25, 2.0, _OWN),
    "knowledge.mothership_position_km": Range(1.0, 10.0, f"{_MEM}: tracked daily to weekly"),
    "knowledge.mothership_velocity_m_s": Range(0.0002, 0.001, _MEM),
    "knowledge.probe_position_km": Range(10.0, 50.0, _MEM),
    "knowledge.probe_velocity_m_s": Range(0.002, 0.01, _MEM),
    "knowledge.target_floor_km": Range(50.0, 200.0, f"{_MEM}: 0.05-0.1 arcsec at belt distances"),
    "knowledge.runoff_fraction": Range(
        1.0 / 3.0, 1.0, "Minor Planet Center, Uncertainty parameter U: with and without its factor 3"
    ),
    # whether probes work
    "survival.success": Range(0.5, 0.9, _VILLELA),
    "survival.shared_fraction": Range(0.0, 0.2, f"{_MEM}: in use"),
    "survival.dead_on_arrival": Range(0.05, 0.25, f"{_MEM}: launched cubesats"),
    "survival.weibull_shape": Range(0.3, 0.6, f"{_MEM}: launched cubesats"),
    "survival.weibull_scale_days": Range(4000.0, 16_000.0, _OWN),
    "survival.dormancy": Range(0.1, 0.3, _MEM),
    "survival.release_success": Range(0.95, 1.0, _OWN),
    "survival.encounter_success": Range(0.85, 1.0, _OWN),
    "constraints.sun_earth_probe_min_deg": Range(3.0, 7.0, f"{_MEM}: where links fail"),
}

_QUALITY = Range(0.05, 0.2, _OWN)

# Numbers with a default that are not moved, and why.
NOT_MOVED: dict[str, str] = {
    "probe.thrust_power_w": "of probes with electric propulsion, which the search does not take yet",
    "probe.power_exponent": "of probes with electric propulsion, which the search does not take yet",
    "probe.duty": "of probes with electric propulsion, which the search does not take yet",
    "probe.dispenser_kg": "mass of the swarm only",
    "probe.loose_part_kg": "safety of others only",
    "probe.loose_part_m_s": "safety of others only",
    "probe.loose_part_area_m2": "safety of others only",
    "probe.checkout_days": "another value asks for another screen",
    "probe.solar_area_m2": "the refined plan only",
    "probe.reflectivity": "the refined plan only",
    "probe.frequency_ghz": "an allocated band",
    "probe.relay_frequency_ghz": "an allocated band",
    "probe.relay_hours_per_day": "whether the mothership listens is decided, not estimated",
    "probe.keepalive_w": "budget of the mothership only",
    "delivery.samples": "accuracy of the computation",
    "margins.probe_maturity_fraction": "mass of the swarm only",
    "margins.dispenser_maturity_fraction": "mass of the swarm only",
    "margins.system_fraction": "mass of the swarm only",
    "survival.stored_before_days": "decided, not estimated",
}
SECTIONS = ("probe", "delivery", "knowledge", "margins", "survival")


def defaults_of(study: Study) -> list[Default]:
    """The defaults that a study leaves as they are and that mean something in it, with their ranges."""
    left = []
    for key, known in RANGES.items():
        section_name, name = key.split(".")
        section = getattr(study, section_name)
        if name not in section.model_fields_set and name not in section.unused():
            unit = unit_of(type(section).model_fields[name])
            left.append(Default(key, unit, getattr(section, name), _range(study, name, known)))
    return left + [
        Default(f"science.rows[{k}].quality_min", "-", row.quality_min, _QUALITY)
        for k, row in enumerate(study.science.rows)
        if "quality_min" not in row.model_fields_set
    ]


def _range(study: Study, name: str, known: Range) -> Range:
    """That of the probe's class, where it has one."""
    of_class = CLASSES.get(study.probe.class_ or "", {}).get(name)
    if of_class is None:
        return known
    return Range(of_class.low, of_class.high, f"class {study.probe.class_}: {of_class.source}")


def with_value(study: Study, default: Default, value: float) -> Study:
    """The study with another value in the place of a default."""
    number = round(value) if isinstance(default.value, int) else float(value)
    section, _, name = default.key.rpartition(".")
    if section == "probe" and study.designs:
        return _with_value_where_left(study, name, number)
    if not section.startswith("science"):
        return study.with_keys(section, **{name: number})
    row = int(section.removeprefix("science.rows[").removesuffix("]"))
    rows = list(study.science.rows)
    rows[row] = rows[row].model_copy(update={name: number})
    return study.with_keys("science", rows=tuple(rows))


def _with_value_where_left(study: Study, name: str, number: float) -> Study:
    """Another value in every design that leaves the default as it is, as the first one does."""
    designs = tuple(
        design if name in design.model_fields_set else design.model_copy(update={name: number})
        for design in study.designs
    )
    return study.with_keys("probe", **{name: number}).with_designs(designs)
