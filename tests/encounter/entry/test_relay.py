"""What is heard of a way down: by hand in a flat case, after the mothership has set, and several on one receiver."""

import math

import numpy as np
import pytest

from swarm.encounter.entry.air_motion import COLUMNS, DECEL, PRESSURE, TIME, X, Z
from swarm.encounter.entry.relay import REGAIN_S, RelayRules, heard, on_even_times, overlaps
from swarm.encounter.link import Link
from swarm.reach.approach.carrier import hyperbola_km
from targets.masses.massive import mass_named

OPEN = RelayRules(10.0, 0.0, 1e5, math.inf)
LINK = Link(120.0, 1e9)
HIGH_KM, SPEED = 5000.0, 5.0


def still(seconds=3600.0, *, pressure=1e5, decel=0.4):
    """A probe that hangs where z is up."""
    profile = np.zeros((3, COLUMNS))
    profile[:, TIME] = (0.0, 0.5 * seconds, seconds)
    profile[:, PRESSURE], profile[:, DECEL], profile[:, Z] = pressure, decel, 6100.0
    way = on_even_times(profile, seconds)
    return way, np.tile([0.0, 0.0, 1.0], (len(way), 1))


def passing(way, *, nearest_s):
    """A mothership that goes straight by, 5000 km over the probe, overhead at `nearest_s`."""
    along = SPEED * (way[:, TIME] - nearest_s)
    return way[:, X : X + 3] + np.column_stack([along, np.zeros(len(way)), np.full(len(way), HIGH_KM)])


def test_bits_are_the_hand_integral_of_a_flat_case():
    """Rate C/(d^2 + v^2 t^2): its integral is C/(d v) atan(v t/d), both sides of overhead; 0.01 %."""
    way, ups = still()
    got = heard(way, ups, passing(way, nearest_s=1200.0), link=LINK, rules=OPEN)
    sides = math.atan(SPEED * 1200.0 / HIGH_KM) + math.atan(SPEED * 2400.0 / HIGH_KM)
    assert got.mbit == pytest.approx(1e-6 * 1e12 / (HIGH_KM * SPEED) * sides, rel=1e-4)
    assert (got.begin_s, got.end_s) == (0.0, 3600.0)
    assert got.elevation_deg.max() == pytest.approx(90.0, abs=1e-9)
    assert got.range_km.min() == pytest.approx(HIGH_KM)


def test_a_mothership_that_has_set_brings_nothing():
    """It sets, at 10 deg, d/tan(10 deg)/v after it was overhead: from then on nothing."""
    way, ups = still(12_000.0)
    sets = HIGH_KM / math.tan(math.radians(10.0)) / SPEED
    got = heard(way, ups, passing(way, nearest_s=0.0), link=LINK, rules=OPEN)
    assert got.end_s == pytest.approx(sets, abs=5.0)
    assert (got.rate_bit_s[way[:, TIME] > sets] == 0.0).all()
    assert got.mbit == pytest.approx(
        1e-6 * 1e12 / (HIGH_KM * SPEED) * math.atan(SPEED * sets / HIGH_KM), rel=2e-3
    )
    gone = heard(way, ups, passing(way, nearest_s=-6000.0), link=LINK, rules=OPEN)
    assert gone.mbit == 0.0
    assert math.isnan(gone.begin_s)
    assert gone.minutes == 0.0


def test_the_air_above_takes_its_part():
    """2 dB straight up at 1 bar: at 0.5 bar and 30 deg it is 2 * 0.5/sin(30 deg) = 2 dB."""
    way, ups = still(pressure=0.5e5)
    receiver = way[:, X : X + 3] + 1e4 * np.array([math.cos(math.radians(30.0)), 0.0, 0.5])
    thin = heard(way, ups, receiver, link=LINK, rules=OPEN)
    thick = heard(way, ups, receiver, link=LINK, rules=RelayRules(10.0, 2.0, 1e5, math.inf))
    assert thick.mbit == pytest.approx(thin.mbit * 10.0**-0.2, rel=1e-9)


def test_blackout_ends_a_minute_after_the_last_hard_moment():
    way, ups = still(600.0)
    way[(way[:, TIME] >= 100.0) & (way[:, TIME] <= 130.0), DECEL] = 60.0
    got = heard(way, ups, passing(way, nearest_s=300.0), link=LINK, rules=RelayRules(10.0, 0.0, 1e5, 5.0))
    silent = way[got.rate_bit_s == 0.0, TIME]
    assert (silent.min(), silent.max()) == (100.0, 130.0 + REGAIN_S)
    assert got.minutes == pytest.approx((600.0 - 90.0) / 60.0, abs=0.2)


def test_no_faster_than_the_radio():
    way, ups = still()
    got = heard(way, ups, passing(way, nearest_s=1200.0), link=Link(120.0, 100.0), rules=OPEN)
    assert got.mbit == pytest.approx(100.0 * 3600.0 / 1e6)


def test_who_needs_one_receiver_at_once():
    """Against every moment of every second: greatest sets of those heard together."""
    begin = np.array([0.0, 10.0, 25.0, 40.0, np.nan, 41.0])
    end = np.array([30.0, 26.0, 50.0, 60.0, np.nan, 45.0])
    assert overlaps(begin, end, 1) == [(0, 1, 2), (2, 3, 5)]
    assert overlaps(begin, end, 2) == [(0, 1, 2), (2, 3, 5)]
    assert overlaps(begin, end, 3) == []
    # one ends as the other begins: no moment is shared
    assert overlaps(np.array([0.0, 10.0]), np.array([10.0, 20.0]), 1) == []
    rng = np.random.default_rng(4)
    for _ in range(50):
        begin = rng.integers(0, 100, 12).astype(float)
        end = begin + rng.integers(1, 30, 12)
        for channels in (1, 2, 3):
            most = max(((begin <= t) & (t < end)).sum() for t in range(140))
            assert bool(overlaps(begin, end, channels)) == (most > channels)


def test_the_hyperbola_between_two_asymptotes():
    """Its energy, its nearest point and its far ends are those asked for."""
    venus = mass_named("Venus")
    periapsis, speed = venus.radius_km + 3000.0, 5.0
    e = 1.0 + periapsis * speed**2 / venus.gm_km3_s2
    turn = 2.0 * math.asin(1.0 / e)
    v_in = speed * np.array([1.0, 0.0, 0.0])
    v_out = speed * np.array([math.cos(turn), math.sin(turn), 0.0])
    t = np.array([-4e5, -1.0, 0.0, 1.0, 4e5])
    places = hyperbola_km(v_in, v_out, periapsis, venus.gm_km3_s2, t)
    assert np.linalg.norm(places[2]) == pytest.approx(periapsis)
    v = (places[3] - places[1]) / 2.0
    assert np.linalg.norm(v) == pytest.approx(
        math.sqrt(speed**2 + 2.0 * venus.gm_km3_s2 / periapsis), rel=1e-6
    )
    assert places[0] / np.linalg.norm(places[0]) == pytest.approx(-v_in / speed, abs=0.02)
    assert places[4] / np.linalg.norm(places[4]) == pytest.approx(v_out / speed, abs=0.02)
    # it passes on the side that turns it as asked
    assert np.cross(places[2], v)[2] == pytest.approx(np.linalg.norm(places[2]) * np.linalg.norm(v), rel=1e-6)
