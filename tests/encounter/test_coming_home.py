"""Power against solar distance, and what comes home day by day."""

from __future__ import annotations

import math
import tomllib
from typing import Any

import numpy as np
import pytest

from swarm.encounter.downlink import (
    FINE,
    NO_POWER,
    STORED_TOO_LONG,
    SUN_IN_THE_WAY,
    TOO_OLD,
    TOO_SLOW,
    chance_of,
    downlink_of,
    send_home,
)
from swarm.encounter.link import ground_link, rate_bit_s
from swarm.encounter.power import panel_power_w, power_of, transmit_hours
from swarm.study.schema import study_from
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from tests.helpers.places import FIREWEED


def study(**keys: Any):
    data = tomllib.loads(FIREWEED.read_text(encoding="utf-8"))
    data["probe"].update(keys)
    return study_from(data)


# An Earth that stands still at 1 au: what is tested is the probe.
GRID = (0.0, DAY_S)
EARTH = np.tile([AU_KM, 0.0, 0.0, 0.0, 0.0, 0.0], (200, 1))


def circling(au: float, angle_deg: float, *, still: bool = False) -> np.ndarray:
    """A probe on a circle; or at rest but for a crawl, which hardly falls within days."""
    a = math.radians(angle_deg)
    v = 1e-3 if still else math.sqrt(GM_SUN_KM3_S2 / (au * AU_KM))
    return np.array(
        [au * AU_KM * math.cos(a), au * AU_KM * math.sin(a), 0.0, -v * math.sin(a), v * math.cos(a), 0.0]
    )


def home(state: np.ndarray, *, wanted: float = 5.0, ages: tuple[float, float] = (0.0, 100.0), **keys: Any):
    """possible Mbit, hours, days, relayed Mbit, why."""
    return send_home(state, 0.0, ages, (1e7, 1.0), wanted, EARTH, GRID, downlink_of(study(**keys)))


def test_panels_of_a_6u() -> None:
    """0.12 m^2, 0.28, 0.75: 34 W at 1 au and 5.5 W at 2.5 au (worked out independently)."""
    assert panel_power_w([1.0, 2.5], study().probe) == pytest.approx([34.3, 5.49], abs=0.01)


def test_duty_cycle_in_the_long_run() -> None:
    """At 2.5 au panels cannot carry the radio: hours a day tend to 24 (panels - idle) / radio.

    That takes a battery for a day. The one of a 6U is smaller: 56 Wh against 30 - 3.49 W are 2.11 h (by hand).
    """
    small = power_of(study(idle_w=2.0).probe)
    assert transmit_hours(2.5, 8.0, small.battery_wh, small)[0] == pytest.approx(
        56.0 / (30.0 - 3.4876), rel=1e-4
    )
    power = power_of(study(battery_wh=200.0, idle_w=2.0).probe)
    charge, hours = power.battery_wh, 0.0
    for _ in range(60):
        hours, charge = transmit_hours(2.5, 8.0, charge, power)
    assert hours == pytest.approx(24.0 * (5.4876 - 2.0) / 30.0, rel=1e-4)
    # the first day lives on the battery as well
    assert 3.0 < transmit_hours(2.5, 8.0, power.battery_wh, power)[0] < 8.0
    assert transmit_hours(0.9, 8.0, power.battery_wh, power)[0] == 8.0
    # where panels do not even feed the idle load nothing is refilled
    assert transmit_hours(6.0, 8.0, 0.0, power) == (0.0, 0.0)


def test_a_battery_fades_on_the_mothership() -> None:
    fresh, old = (power_of(study().probe, stored_years=years).battery_wh for years in (0.0, 5.0))
    assert fresh == pytest.approx(80.0 * 0.7)
    assert old == pytest.approx(fresh * 0.85)


def test_volume_is_rate_times_hours() -> None:
    """Opposite the Sun at 2 au, panels large enough: 8 h a day at the rate over 1 au."""
    possible, _, _, _, why = home(circling(2.0, 0.0, still=True), panel_area_m2=10.0, downlink_max_days=10.0)
    rate = float(rate_bit_s(AU_KM, ground_link(study().probe)))
    assert why == FINE
    assert possible == pytest.approx(
        10 * 8 * 3600 * rate * 1e-6, rel=1e-2
    )  # the fall towards the Sun is in it


def test_hours_and_days_until_the_set_is_home() -> None:
    """30 Mbit at 1088 bit/s take 7.66 h: within the first pass; 60 Mbit take the second one too."""
    rate = float(rate_bit_s(AU_KM, ground_link(study().probe)))
    keys = {"panel_area_m2": 10.0}
    _, hours, days, _, _ = home(circling(2.0, 0.0, still=True), wanted=30.0, **keys)
    assert hours == pytest.approx(30e6 / rate / 3600.0, rel=1e-3)
    assert days == pytest.approx(hours / 8.0, rel=1e-9)
    _, hours, days, _, _ = home(circling(2.0, 0.0, still=True), wanted=60.0, **keys)
    assert hours == pytest.approx(60e6 / rate / 3600.0, rel=1e-3)
    assert days == pytest.approx(1.0 + (hours - 8.0) / 8.0, rel=1e-6)


def test_range_grows_during_the_downlink() -> None:
    """A probe that flees from the Earth sends less than one that stays."""
    fleeing = circling(2.0, 0.0, still=True)
    fleeing[3] = 40.0
    keys = {"panel_area_m2": 10.0, "downlink_max_days": 60.0}
    staying, going = (home(state, **keys)[0] for state in (circling(2.0, 0.0, still=True), fleeing))
    # on average 1 au + 40 km/s * 30 d = 1.69 au from the Earth: about a factor 2.4 by the mean of 1/d^2 over the way
    assert 2.0 < staying / going < 3.5


def test_the_sun_stands_in_the_way() -> None:
    """Behind the Sun nothing comes home; a probe that moves out of conjunction within the days given sends later."""
    assert home(circling(2.0, 180.0, still=True))[4] == SUN_IN_THE_WAY
    assert home(circling(2.0, 180.0, still=True))[0] == 0.0
    moving = home(circling(2.0, 179.0), wanted=1.0, panel_area_m2=10.0)
    assert moving[4] == FINE
    # out to 5 deg at the Earth is about 7 deg of a 2 au circle at 0.35 deg a day against an Earth at rest
    assert 15.0 < moving[2] < 50.0
    assert home(circling(2.0, 179.0), wanted=1.0, panel_area_m2=10.0, downlink_max_days=10.0)[0] == 0.0


def test_life_ends_the_downlink() -> None:
    old = home(circling(2.0, 0.0), ages=(0.0, 366.0))
    assert old[0] == 0.0
    assert old[4] == TOO_OLD
    last_day = home(circling(2.0, 0.0, still=True), ages=(0.0, 364.0), panel_area_m2=10.0)[0]
    ten_days = home(circling(2.0, 0.0, still=True), ages=(0.0, 355.0), panel_area_m2=10.0)[0]
    assert ten_days / last_day == pytest.approx(10.0, rel=1e-2)


def test_storage_ends_what_can_be_released() -> None:
    assert home(circling(1.5, 0.0), ages=(2191.0, 100.0))[4] == STORED_TOO_LONG
    assert home(circling(1.5, 0.0), ages=(2189.0, 100.0))[4] == FINE
    # not kept alive, or never checked, a year is the limit
    for keys in ({"keepalive_w": 0.0}, {"storage_checkout_days": 0.0}):
        assert home(circling(1.5, 0.0), ages=(400.0, 100.0), **keys)[4] == STORED_TOO_LONG


def test_power_and_link_are_told_apart() -> None:
    assert home(circling(5.0, 0.0), battery_wh=1.0, transmit_gain_dbi=29.0)[4] == NO_POWER
    assert home(circling(3.5, 90.0), transmit_gain_dbi=0.0, panel_area_m2=10.0)[4] == TOO_SLOW


def test_the_mothership_relays_only_if_it_listens() -> None:
    """At 1e4 km the S-band link beats the one to Earth; the default mothership does not listen."""
    assert home(circling(3.0, 90.0), relay_hours_per_day=0.0)[3] == 0.0
    downlink = downlink_of(study(relay_hours_per_day=8.0, panel_area_m2=10.0))
    state = circling(3.0, 90.0)
    near = send_home(state, 0.0, (0.0, 100.0), (1e4, 0.0), 5.0, EARTH, GRID, downlink)
    far = send_home(state, 0.0, (0.0, 100.0), (1e7, 0.0), 5.0, EARTH, GRID, downlink)
    assert near[3] == pytest.approx(near[0])
    assert far[3] == 0.0
    # behind the Sun only the relay is left
    behind = send_home(
        circling(2.0, 180.0, still=True), 0.0, (0.0, 100.0), (1e4, 0.0), 5.0, EARTH, GRID, downlink
    )
    assert behind[0] > 5.0


def test_chance_of_a_link() -> None:
    """A margin of two sigma: 97.7 % where the smallest set just fits, one half where the margin is used up."""
    downlink = downlink_of(study())
    assert chance_of(5.0, 5.0, downlink) == pytest.approx(0.97725, abs=1e-5)
    assert chance_of(5.0 * 10**-0.3, 5.0, downlink) == pytest.approx(0.5, abs=1e-9)
    assert chance_of(0.0, 5.0, downlink) == 0.0
    assert chance_of(500.0, 5.0, downlink) > 0.999999
