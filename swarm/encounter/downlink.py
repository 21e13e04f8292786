"""What comes home after an encounter: day by day, by link, power, range, the Sun in the way, and the probe's life."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit

from swarm.encounter.link import Link, ground_link, rate_at, relay_link
from swarm.encounter.power import Power, power_of, transmit_hours
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.ephemeris import spice
from targets.ephemeris.planets import hermite_position
from targets.motion.twobody import drift

if TYPE_CHECKING:
    from swarm.study.schema import Study


class Downlink(NamedTuple):
    """Everything of a study that decides what can be sent."""

    ground: Link
    relay: Link
    power: Power  # a fresh battery
    fade_per_year: float
    contact_hours: float
    relay_hours: float
    days_max: float
    separation_min_rad: float
    cruise_life_days: float
    storage_limit_days: float
    data_min_mbit: float
    margin_db: float
    sigma_db: float


EARTH_ID = 399
# Why nothing, or too little, comes home.
FINE, STORED_TOO_LONG, TOO_OLD, NO_POWER, SUN_IN_THE_WAY, TOO_SLOW = range(6)


def downlink_of(study: Study) -> Downlink:
    """Collect what `send_home` reads."""
    probe = study.probe
    return Downlink(
        ground_link(probe),
        relay_link(probe),
        power_of(probe),
        probe.battery_fade_per_year,
        probe.contact_hours_per_day,
        probe.relay_hours_per_day,
        probe.downlink_max_days,
        math.radians(study.constraints.sun_earth_probe_min_deg),
        probe.cruise_life_days,
        probe.storage_limit_days,
        probe.data_min_mbit,
        probe.link_margin_db,
        probe.link_sigma_db,
    )


@njit(cache=True)
def _sun_earth_probe_rad(earth, probe):
    """Angle at the Earth between Sun and probe, from heliocentric positions; and the range."""
    dx, dy, dz = probe[0] - earth[0], probe[1] - earth[1], probe[2] - earth[2]
    size = math.sqrt(dx * dx + dy * dy + dz * dz)
    sun = math.sqrt(earth[0] ** 2 + earth[1] ** 2 + earth[2] ** 2)
    cosine = -(dx * earth[0] + dy * earth[1] + dz * earth[2]) / (size * sun)
    return math.acos(min(max(cosine, -1.0), 1.0)), size


@njit(cache=True)
def _rates(state, encounter_s, since_s, mothership, earth, earth_grid, downlink):
    """So long after an encounter: distance from the Sun (au), rates to the ground and the mothership (bit/s)."""
    now = drift(state[0], state[1], state[2], state[3], state[4], state[5], GM_SUN_KM3_S2, since_s)
    sun_au = math.sqrt(now[0] ** 2 + now[1] ** 2 + now[2] ** 2) / AU_KM
    at = hermite_position(earth, earth_grid[0], earth_grid[1], encounter_s + since_s)
    separation, range_km = _sun_earth_probe_rad(at, now)
    ground = rate_at(range_km, downlink.ground) if separation >= downlink.separation_min_rad else 0.0
    relay_km = max(mothership[0] + mothership[1] * since_s, 1.0)
    relay = rate_at(relay_km, downlink.relay) if downlink.relay_hours > 0.0 else 0.0
    return sun_au, ground, relay


@njit(cache=True)
def _why(possible_mbit, clear, powered, downlink):
    """What stands in the way of even the smallest set of images."""
    if possible_mbit >= downlink.data_min_mbit:
        return FINE
    if not clear:
        return SUN_IN_THE_WAY
    return TOO_SLOW if powered else NO_POWER


@njit(cache=True)
def _faded(fresh, fade_per_year, stored_days):
    """What a probe's power is after days on the mothership: the battery fades meanwhile."""
    left = max(1.0 - fade_per_year * stored_days / 365.25, 0.0)
    return Power(fresh.panel_w_1au, fresh.idle_w, fresh.transmit_w, fresh.battery_wh * left)


@njit(cache=True)
def send_home(state, encounter_s, ages_days, mothership, wanted_mbit, earth, earth_grid, downlink):
    """Follow the days after an encounter.

    Parameters
    ----------
    state       : six numbers, heliocentric ICRF state of the probe at the encounter, km and km/s
    encounter_s : TDB seconds past J2000
    ages_days   : (days aboard the mothership before release, days from release to encounter)
    mothership  : (range at encounter km, rate of range km/s)
    wanted_mbit : the whole set of images
    earth       : (m, 6) states of the Earth on the grid `earth_grid` = (start_s, step_s)
    downlink    : Downlink

    Returns
    -------
    possible_mbit : all that could be sent while contacts last
    hours, days   : transmission and elapsed time until the set (or what is possible of it) is home
    relayed_mbit  : what of `possible` would go by the mothership
    why           : FINE or what stands in the way of even the smallest set
    """
    stored_days, cruise_days = ages_days
    possible = hours = days = relayed = 0.0
    life_days, sun_au = min(downlink.days_max, downlink.cruise_life_days - cruise_days), 0.0
    if stored_days > downlink.storage_limit_days:
        return possible, hours, days, relayed, STORED_TOO_LONG
    if life_days <= 0.0:
        return possible, hours, days, relayed, TOO_OLD
    power = _faded(downlink.power, downlink.fade_per_year, stored_days)
    charge = power.battery_wh
    powered = clear = False
    for day in range(int(math.ceil(life_days))):
        share = min(life_days - day, 1.0)
        since_s = (day + 0.5 * share) * DAY_S
        sun_au, ground, relay = _rates(state, encounter_s, since_s, mothership, earth, earth_grid, downlink)
        by_relay = relay * downlink.relay_hours > ground * downlink.contact_hours
        rate = relay if by_relay else ground
        contact = downlink.relay_hours if by_relay else downlink.contact_hours
        clear = clear or rate > 0.0
        sent_hours, charge = transmit_hours(sun_au, contact * share if rate > 0.0 else 0.0, charge, power)
        powered = powered or sent_hours > 0.01
        sent = 3.6e-3 * rate * sent_hours
        if possible < wanted_mbit and sent > 0.0:
            part = min((wanted_mbit - possible) / sent, 1.0)
            hours += part * sent_hours
            days = day + part * share
        possible += sent
        if by_relay:
            relayed += sent
    lit = powered and power.panel_w_1au / sun_au**2 >= power.idle_w
    return possible, hours, days, relayed, _why(possible, clear, lit, downlink)


@njit(cache=True)
def chance_of(possible_mbit, needed_mbit, downlink):
    """P(at least `needed` comes home): the link is off its prediction by sigma dB, the margin is still in hand."""
    if possible_mbit <= 0.0:
        return 0.0
    spare_db = downlink.margin_db + 10.0 * math.log10(possible_mbit / needed_mbit)
    return 0.5 * math.erfc(-spare_db / (downlink.sigma_db * math.sqrt(2.0)))


def sample_earth(first_tdb_s: float, last_tdb_s: float) -> tuple[np.ndarray, tuple[float, float]]:
    """Sample the Earth on whole days that cover a span: (m, 6) states, (start, step) of the grid in s."""
    return _earth_of_days(math.floor(first_tdb_s / DAY_S) - 1, math.ceil(last_tdb_s / DAY_S) + 1)


@lru_cache(maxsize=4)
def _earth_of_days(low: int, high: int) -> tuple[np.ndarray, tuple[float, float]]:
    """One span serves every task of a study, and every change of it that the sensitivities judge."""
    epochs = np.arange(low, high + 1) * DAY_S
    return spice.sample(EARTH_ID, epochs), (float(epochs[0]), DAY_S)
