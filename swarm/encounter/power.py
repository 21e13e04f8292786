"""What the panels give against solar distance, and how long the radio can transmit a day. Compiled."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from swarm.study.schema import ProbeSettings

Floats = NDArray[np.float64]

# Total solar irradiance at 1 au: Kopp & Lean 2011, Geophys. Res. Lett. 38, L01706 (1360.8 W/m^2, from memory).
SOLAR_W_M2 = 1361.0


class Power(NamedTuple):
    """Panels at 1 au, loads and battery of a probe at release."""

    panel_w_1au: float
    idle_w: float
    transmit_w: float  # drawn by the radio while it transmits
    battery_wh: float  # that may be drawn


def power_of(probe: ProbeSettings, *, stored_years: float = 0.0) -> Power:
    """Return what a probe has after `stored_years` on the mothership: the battery fades meanwhile."""
    left = max(1.0 - probe.battery_fade_per_year * stored_years, 0.0)
    return Power(
        SOLAR_W_M2 * probe.panel_area_m2 * probe.panel_efficiency * probe.panel_factor,
        probe.idle_w,
        probe.radio_dc_w,
        probe.battery_wh * probe.battery_depth * left,
    )


def panel_power_w(sun_range_au: ArrayLike, probe: ProbeSettings) -> Floats:
    """Return 1361/r^2 * area * efficiency * (incidence and ageing), W."""
    return power_of(probe).panel_w_1au / np.asarray(sun_range_au, float) ** 2


class Balance(NamedTuple):
    """What a probe has to transmit with at a distance from the Sun, in the long run."""

    panel_w: float
    idle_w: float
    radio_w: (
        float  # what panels leave for the radio, averaged over a day; 0 where they do not feed the idle load
    )
    hours_per_day: float  # of transmission, contact allowing


def power_balance(sun_range_au: float, probe: ProbeSettings) -> Balance:
    """Return panels, idle load, what is left, and the hours a day it feeds the radio: (panels - idle) / radio x 24."""
    power = power_of(probe)
    panel_w = power.panel_w_1au / sun_range_au**2
    left_w = max(panel_w - power.idle_w, 0.0)
    return Balance(panel_w, power.idle_w, left_w, min(24.0 * left_w / power.transmit_w, 24.0))


@njit(cache=True)
def transmit_hours(sun_range_au, contact_hours, battery_wh, power):
    """Hours of transmission in a day of `contact_hours`, and the charge left (Wh) after it.

    battery_wh : charge before the contact
    power      : Power

    Transmitting draws radio and idle load from panels and battery; the rest of the day refills the battery. In the
    long run the duty cycle is (panels - idle) / radio where that is under the contact's share of a day.
    """
    spare_w = power.panel_w_1au / (sun_range_au * sun_range_au) - power.idle_w
    lacking_w = power.transmit_w - spare_w
    hours = contact_hours
    if lacking_w > 0.0:
        hours = min(contact_hours, max(battery_wh, 0.0) / lacking_w)
    left = battery_wh - hours * lacking_w + (24.0 - hours) * spare_w
    return hours, min(max(left, 0.0), power.battery_wh)
