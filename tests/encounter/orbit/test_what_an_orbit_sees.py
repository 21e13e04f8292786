"""Hours, passes and counts below a height: against Kepler's equation, a plain sum, and points thrown on a sphere."""

import math

import numpy as np
import pytest

from swarm.encounter.instruments import share_from_disc
from swarm.encounter.orbit.mean_life import MeanOrbit, live
from swarm.encounter.orbit.orbit_science import Band, Counter, what_is_seen
from targets.base.constants import DAY_S
from targets.gravity.harmonic_field import gravity_of
from tests.helpers.lunar_orbits import MOON, lone_moon, orbit

MU = gravity_of(MOON).gm_km3_s2


def polar(low_km, high_km):
    """Periapsis over the south pole, in the field of a point: nothing moves."""
    a, e = 1737.4 + 0.5 * (low_km + high_km), (high_km - low_km) / (2.0 * 1737.4 + low_km + high_km)
    return orbit(a - 1737.4, 90.0, e=e, argp_deg=-90.0, axes=np.eye(3))


def seen(start: MeanOrbit, days, band, **more):
    around = lone_moon(gravity_of(MOON).point(), 0.0)
    life = live(start, 0.0, days, around, turn_s=27.3 * DAY_S)
    return what_is_seen(life, band, around, **more)


@pytest.mark.parametrize(("low", "high", "seconds"), [(10.0, 100.0, 2082.7), (10.0, 3000.0, 467.2)])
def test_time_below_30_km_in_a_revolution(low, high, seconds):
    """10 x 100 and 10 x 3000 km (O12 of the design; worked out apart, by Kepler's equation)."""
    start = polar(low, high)
    period = 2.0 * math.pi * math.sqrt(start.a_km**3 / MU)
    found = seen(start, 10.0, Band(30.0))
    turns = 10.0 * DAY_S / period
    assert found.hours * 3600.0 / turns == pytest.approx(seconds, rel=1e-3)
    assert found.passes == pytest.approx(turns)
    assert found.lowest_km == pytest.approx(low, abs=1e-6)


def test_a_band_of_latitudes_takes_its_part():
    whole = seen(polar(10.0, 100.0), 10.0, Band(30.0))
    south = seen(polar(10.0, 100.0), 10.0, Band(30.0, -90.0, -80.0))
    assert south.hours == pytest.approx(whole.hours_by_latitude[0], rel=0.06)
    assert whole.hours == pytest.approx(whole.hours_by_latitude.sum())
    assert whole.hours_by_latitude[9:].sum() == 0.0
    assert seen(polar(10.0, 100.0), 10.0, Band(30.0, 80.0, 90.0)).hours == 0.0
    # both legs of a revolution cross a band beside the pole
    beside = seen(polar(10.0, 100.0), 10.0, Band(30.0, -80.0, -70.0))
    assert beside.passes == pytest.approx(2.0 * whole.passes)


def test_counts_of_a_round_orbit_are_those_of_one_height():
    """Z = f d sqrt(C t), t the share of the time in which a disc somewhere on the ground is within a height."""
    counter = Counter(10.0, 0.1, 5.0)
    found = seen(orbit(20.0, 90.0, axes=np.eye(3)), 10.0, Band(1e3), counter=counter)
    cap = 0.5 * (1.0 - math.cos(20.0 / 1737.4))
    by_hand = share_from_disc(10.0, 20.0) * 0.1 * math.sqrt(5.0 * 10.0 * DAY_S * cap)
    assert found.count_sigma == pytest.approx(by_hand, rel=1e-3)
    # lower is better by far: the counts of a small disc go with 1/h^2
    assert (
        seen(orbit(60.0, 90.0, axes=np.eye(3)), 10.0, Band(1e3), counter=counter).count_sigma < 0.5 * by_hand
    )


def test_share_of_time_within_a_height_against_thrown_points():
    """Discs thrown evenly over a band, a track that crosses it: the cap's share is the mean of what is within reach."""
    rng = np.random.default_rng(5)
    sines = rng.uniform(-1.0, math.sin(math.radians(-60.0)), 200_000)
    around = rng.uniform(0.0, 2.0 * np.pi, 200_000)
    level = np.sqrt(1.0 - sines**2)
    discs = np.stack([level * np.cos(around), level * np.sin(around), sines], axis=-1)
    reach = 60.0 / 1737.4
    track = np.radians(np.linspace(-85.0, -65.0, 9))
    points = np.stack([np.cos(track), np.zeros(9), np.sin(track)], axis=-1)
    share = (discs @ points.T > math.cos(reach)).mean()
    cap = 0.5 * (1.0 - math.cos(reach))
    assert share == pytest.approx(cap / Band(1.0, -90.0, -60.0).share_of_sphere, rel=0.03)


def test_only_the_part_until_a_date_counts():
    half = seen(polar(10.0, 100.0), 10.0, Band(30.0), until_tdb_s=5.0 * DAY_S)
    assert half.hours == pytest.approx(0.5 * seen(polar(10.0, 100.0), 10.0, Band(30.0)).hours, rel=1e-3)
