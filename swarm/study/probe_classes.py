"""Built-in classes of probes: what a study that names one gets for every key it does not give.

Each value has the range found and its source; "from memory" where no document was at hand. Keys that a class does not
know keep the study file's own default.
"""

from __future__ import annotations

from typing import NamedTuple


class ClassValue(NamedTuple):
    """A default of a class, the range seen, and where it comes from."""

    value: float | int | bool
    low: float
    high: float
    source: str


_MEM = "from memory"
_OWN = "own choice"
_CDS = "CubeSat Design Specification rev. 14.1, seen second-hand; numbers from memory"
_SURVEY = "agency small-spacecraft technology survey, propulsion chapter: green monopropellant"
# A flown X-band transponder of cubesats: at most 35 W of direct current for 4 W radiated (Kobayashi et al. 2019, IEEE
# Aerospace and Electronic Systems Magazine, "Iris Deep-Space Transponder ... Secondary Payloads", abstract).
_TRANSPONDER = (
    "deep-space cubesat transponder: 35 W for 4 W radiated (Kobayashi et al. 2019); rest from memory"
)
# Between passes. A transponder draws 7.4 W standing by and 12.8 W receiving (data sheet of a maker of X-band
# transponders for cubesats), 1.6 W where it listens an eighth of the time and is off otherwise. A flown 3U with
# three-axis control took 8 W in all, payload included (Mason et al. 2017, arXiv:1706.06967): the upper end for a 3U.
# Attitude control 1-3 W, computer 0.5-2 W, heaters 1-3 W: from memory; scaled to the class by what it has to turn and
# to keep warm.
_IDLE = (
    "receiver 12.8 W an eighth of the time (data sheet), a flown 3U 8 W in all (arXiv:1706.06967); attitude control, "
    "computer, heaters from memory"
)
_FLOWN_CAMERA = "2.06 deg on 2048 pixels of a flown companion camera is 17.6 urad"

CLASSES: dict[str, dict[str, ClassValue]] = {
    "3U": {
        "wet_mass_kg": ClassValue(4.0, 3.0, 6.0, f"{_CDS}; a published concept has 3.9 kg"),
        "dispenser_kg": ClassValue(3.5, 2.5, 4.5, _MEM),
        "isp_s": ClassValue(220.0, 200.0, 250.0, _SURVEY),
        "thrust_n": ClassValue(0.1, 0.1, 27.0, _SURVEY),
        "burn_limit_m_s": ClassValue(100.0, 10.0, 385.0, "a published 3U concept has 385 m/s in all; " + _OWN),
        "camera_ifov_urad": ClassValue(60.0, 25.0, 90.0, f"{_MEM}: narrow cameras of small probes 17-60"),
        "camera_pixels": ClassValue(2048, 1024, 4096, "detector width of a flown companion camera"),
        "camera_aperture_mm": ClassValue(30.0, 20.0, 60.0, f"{_MEM}: 20-90"),
        "limiting_mag": ClassValue(7.0, 6.0, 9.0, f"{_MEM}: star-tracker class 6-7"),
        "slew_limit_deg_s": ClassValue(2.0, 1.0, 7.0, f"{_MEM}: small spacecraft 1-7 deg/s"),
        "transmit_w": ClassValue(2.0, 1.0, 4.0, _TRANSPONDER),
        "transmit_gain_dbi": ClassValue(6.0, 5.0, 12.0, f"{_MEM}: patch antenna"),
        "radio_dc_w": ClassValue(16.0, 12.0, 25.0, _TRANSPONDER),
        "panel_area_m2": ClassValue(0.06, 0.03, 0.12, f"{_OWN}: half of a 6U"),
        "idle_w": ClassValue(3.0, 2.0, 8.0, _IDLE),
        "battery_wh": ClassValue(40.0, 20.0, 60.0, f"{_MEM}: 40-120"),
        "cruise_life_days": ClassValue(365.0, 180.0, 730.0, f"{_MEM}: 12 months, 6-24"),
    },
    "6U": {
        "wet_mass_kg": ClassValue(12.0, 8.0, 14.0, f"{_CDS}; flown 6U of 13.7 and 14 kg"),
        "dispenser_kg": ClassValue(6.0, 4.5, 8.0, _MEM),
        "isp_s": ClassValue(220.0, 200.0, 250.0, _SURVEY),
        "thrust_n": ClassValue(0.5, 0.1, 27.0, _SURVEY),
        "burn_limit_m_s": ClassValue(150.0, 80.0, 300.0, f"{_MEM}: green monopropellant in a 6U, 80-300 m/s"),
        "camera_ifov_urad": ClassValue(25.0, 17.0, 60.0, f"{_MEM}; {_FLOWN_CAMERA}"),
        "camera_pixels": ClassValue(2048, 1024, 4096, "detector width of a flown companion camera"),
        "camera_aperture_mm": ClassValue(60.0, 20.0, 90.0, _MEM),
        "limiting_mag": ClassValue(10.0, 7.0, 12.0, f"{_MEM}: 30-60 mm aperture, images added, 10-12"),
        "slew_limit_deg_s": ClassValue(2.0, 1.0, 7.0, f"{_MEM}: small spacecraft 1-7 deg/s"),
        "transmit_w": ClassValue(4.0, 2.0, 5.0, _TRANSPONDER),
        "transmit_gain_dbi": ClassValue(23.0, 6.0, 29.0, f"{_MEM}: patch array; reflector 29"),
        "radio_dc_w": ClassValue(30.0, 25.0, 35.0, _TRANSPONDER),
        "panel_area_m2": ClassValue(0.12, 0.06, 0.3, f"{_MEM}: 34 W at 1 au"),
        "idle_w": ClassValue(5.0, 4.0, 14.0, _IDLE),
        "battery_wh": ClassValue(80.0, 40.0, 120.0, _MEM),
        "cruise_life_days": ClassValue(365.0, 180.0, 730.0, f"{_MEM}: 12 months, 6-24"),
    },
    "12U": {
        "wet_mass_kg": ClassValue(24.0, 18.0, 26.0, _CDS),
        "dispenser_kg": ClassValue(10.0, 8.0, 13.0, _MEM),
        "isp_s": ClassValue(220.0, 200.0, 250.0, _SURVEY),
        "thrust_n": ClassValue(1.0, 0.1, 27.0, _SURVEY),
        "burn_limit_m_s": ClassValue(200.0, 80.0, 400.0, _OWN),
        "camera_ifov_urad": ClassValue(20.0, 15.0, 40.0, f"{_MEM}; {_FLOWN_CAMERA}"),
        "camera_pixels": ClassValue(2048, 1024, 4096, "detector width of a flown companion camera"),
        "camera_aperture_mm": ClassValue(80.0, 40.0, 90.0, _MEM),
        "limiting_mag": ClassValue(11.0, 9.0, 12.0, f"{_MEM}: images added, 10-12"),
        "slew_limit_deg_s": ClassValue(2.0, 1.0, 5.0, f"{_MEM}: small spacecraft 1-7 deg/s"),
        "transmit_w": ClassValue(4.0, 2.0, 8.0, _TRANSPONDER),
        "transmit_gain_dbi": ClassValue(29.0, 23.0, 31.0, f"{_MEM}: reflector of folded panels"),
        "radio_dc_w": ClassValue(30.0, 25.0, 40.0, _TRANSPONDER),
        "panel_area_m2": ClassValue(0.3, 0.12, 0.5, f"{_OWN}: two unfolded wings"),
        "idle_w": ClassValue(7.0, 5.0, 16.0, _IDLE),
        "battery_wh": ClassValue(120.0, 80.0, 160.0, _MEM),
        "cruise_life_days": ClassValue(540.0, 365.0, 900.0, f"{_MEM}: 6-24 months"),
    },
    "micro": {
        "wet_mass_kg": ClassValue(35.0, 25.0, 60.0, f"{_MEM}: daughters of a comet mission about 35 kg"),
        "dispenser_kg": ClassValue(4.0, 3.0, 5.0, f"{_MEM}: separation ring"),
        "isp_s": ClassValue(220.0, 200.0, 250.0, _SURVEY),
        "thrust_n": ClassValue(1.0, 0.1, 27.0, _SURVEY),
        "burn_limit_m_s": ClassValue(250.0, 100.0, 500.0, _OWN),
        "camera_ifov_urad": ClassValue(17.0, 10.0, 30.0, f"{_MEM}; {_FLOWN_CAMERA}"),
        "camera_pixels": ClassValue(2048, 1024, 4096, "detector width of a flown companion camera"),
        "camera_aperture_mm": ClassValue(90.0, 60.0, 120.0, _MEM),
        "limiting_mag": ClassValue(12.0, 10.0, 13.0, f"{_MEM}: images added, 10-12"),
        "slew_limit_deg_s": ClassValue(1.0, 0.5, 3.0, f"{_OWN}: a larger body turns more slowly"),
        "transmit_w": ClassValue(8.0, 4.0, 15.0, _OWN),
        "transmit_gain_dbi": ClassValue(31.0, 25.0, 36.0, f"{_OWN}: half-metre dish"),
        "radio_dc_w": ClassValue(45.0, 30.0, 70.0, _OWN),
        "panel_area_m2": ClassValue(0.8, 0.4, 1.5, _OWN),
        "idle_w": ClassValue(12.0, 8.0, 25.0, _IDLE),
        "battery_wh": ClassValue(200.0, 100.0, 400.0, _OWN),
        "cruise_life_days": ClassValue(730.0, 365.0, 1500.0, _OWN),
    },
}  # fmt: skip


def class_values(name: str) -> dict[str, float | int | bool]:
    """Return the defaults of a class by key."""
    return {key: entry.value for key, entry in CLASSES[name].items()}


def class_source(name: str, key: str) -> str | None:
    """Return where a class has its value of `key` from, its range included; None where it has none of its own."""
    entry = CLASSES[name].get(key)
    if entry is None:
        return None
    return f"class {name} ({entry.low:g}-{entry.high:g}): {entry.source}"
