"""A low pass at closest approach: closed forms, the design's numbers, samples of what may become of a probe."""

import numpy as np
import pytest

from swarm.encounter.instruments import (
    HALF_WIDTH_HEIGHTS,
    count_sigma,
    field_share,
    ground_pixel_m,
    ground_smear_px,
    light_score,
    pixel_score,
    sampled,
    share_from_disc,
    smear_score,
)
from swarm.encounter.pass_geometry import dwell_in_field_s, dwell_s, pass_geometry
from swarm.encounter.pass_impact import Arrivals, impact_chance, impact_radius_km, lowest_altitude_km
from swarm.reach.approach.field import place_of, velocity_of
from targets.masses.massive import mass_named
from targets.masses.rotation import body_axes
from tests.helpers.tours import MET_S, field_of

MOON, EUROPA = (4902.800118, 1737.4), (3202.739, 1560.8)


@pytest.mark.parametrize(
    ("mu", "radius", "altitude", "v_inf", "seconds"), [(*MOON, 10.0, 1.0, 584.2), (*EUROPA, 25.0, 4.0, 232.6)]
)
def test_dwell_of_the_design(mu, radius, altitude, v_inf, seconds):
    """P4 of the design: time below 100 km, closed form, 0.1 s."""
    got = dwell_s(radius + altitude, v_inf, within_km=radius + 100.0, mu_km3_s2=mu)
    assert got == pytest.approx(seconds, abs=0.1)
    assert dwell_s(radius + 200.0, v_inf, within_km=radius + 100.0, mu_km3_s2=mu) == 0.0


def test_dwell_in_the_field_of_a_lone_body_is_the_closed_form():
    """The Moon alone first, then beside the Earth, which changes it a little and not nothing."""
    moon, field = mass_named("Moon"), field_of("Moon", days=3.0)
    periapsis, v_inf = moon.radius_km + 10.0, 1.0
    state = np.concatenate([place_of(0, MET_S, field), velocity_of(0, MET_S, field)])
    state[0] += periapsis
    state[4] += np.sqrt(v_inf**2 + 2.0 * moon.gm_km3_s2 / periapsis)
    closed = dwell_s(periapsis, v_inf, within_km=moon.radius_km + 100.0, mu_km3_s2=moon.gm_km3_s2)
    flown = dwell_in_field_s(state, MET_S, moon, within_km=moon.radius_km + 100.0, field=field)
    assert flown == pytest.approx(float(closed), rel=5e-3)
    assert abs(flown - closed) > 1e-3


def test_a_pass_over_a_known_place():
    """Built from the body's own axes: over the equator at 30 deg east, the Sun overhead at 60 deg east."""
    europa, epoch = mass_named("Europa"), np.array([MET_S])
    axes = body_axes(europa, epoch)[0]

    def over(longitude, latitude=0.0):
        c = np.radians([longitude, latitude])
        return (np.cos(c[1]) * np.cos(c[0]), np.cos(c[1]) * np.sin(c[0]), np.sin(c[1])) @ axes

    r = (europa.radius_km + 50.0) * over(30.0)
    v = 4.3 * np.cross(axes[2], over(30.0))
    found = pass_geometry(europa, np.concatenate([r, v]), epoch, 7.8e8 * over(60.0))
    assert found.altitude_km == pytest.approx(50.0, abs=1e-6)
    assert found.latitude_deg == pytest.approx(0.0, abs=1e-6)
    assert found.longitude_e_deg == pytest.approx(30.0, abs=1e-6)
    assert found.sun_elevation_deg == pytest.approx(60.0, abs=1e-6)
    assert found.local_time_h == pytest.approx(10.0, abs=1e-6)
    # eastwards, with the ground: 101.37 deg a day of 1562.6 km are 32 m/s less
    spin = np.radians(101.3747235) / 86_400.0
    expected = (4.3 - spin * (europa.radius_km + 50.0)) * europa.radius_km / (europa.radius_km + 50.0)
    assert found.ground_speed_km_s == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(("height", "share"), [(10.0, 0.2929), (30.0, 0.0513), (100.0, 0.0050)])
def test_counts_from_a_disc_of_ten_kilometres(height, share):
    """P9 of the design, 1e-4; the disc against the kernel (1 + (r/h)^2)^(-3/2) summed over rings."""
    assert share_from_disc(10.0, height) == pytest.approx(share, abs=1e-4)
    r = np.linspace(0.0, 10.0, 100_001)
    ring = np.trapezoid(r * (1.0 + (r / height) ** 2) ** -1.5, r)
    assert share_from_disc(10.0, height) == pytest.approx(ring / height**2, rel=1e-7)


def test_instruments_in_closed_form():
    assert pytest.approx(0.766, abs=5e-4) == HALF_WIDTH_HEIGHTS
    assert pytest.approx(0.5) == (1.0 + HALF_WIDTH_HEIGHTS**2) ** -1.5
    sigma = count_sigma(30.0, 100.0, radius_km=10.0, contrast=0.2, counts_per_s=50.0)
    assert sigma == pytest.approx(0.0513 * 0.2 * np.sqrt(5000.0), rel=2e-3)
    assert field_share(20.0, 20.0) == pytest.approx(0.125)
    assert field_share(0.0, 20.0) == 1.0
    # 1e6 per m^3 at the ground, one scale height up, 0.01 m^2, 7 km/s, 10 s
    got = sampled(80.0, 7.0, 10.0, ground_per_m3=1e6, scale_height_km=80.0, opening_m2=0.01)
    assert got == pytest.approx(1e6 / np.e * 0.01 * 7000.0 * 10.0)
    assert ground_pixel_m(50.0, pixel_rad=40e-6) == pytest.approx(2.0)
    # 4 m in a millisecond at 4 km/s, nine tenths of it followed: 0.4 m of pixels of 2 m
    smear = ground_smear_px(50.0, 4.0, pixel_rad=40e-6, exposure_s=1e-3, compensated=0.9)
    assert smear == pytest.approx(0.2)
    assert pixel_score([100.0, 10.0, 1.0, 0.1, 500.0], full_m=1.0, worst_m=100.0) == pytest.approx(
        [0, 0.5, 1, 1, 0]
    )
    assert smear_score([0.5, 3.0, 6.0]) == pytest.approx([1.0, 0.5, 0.0])
    assert light_score([-5.0, 5.0, 60.0]) == pytest.approx([0.0, 0.5, 1.0])


def arrivals(aim=1900.0):
    return Arrivals(
        np.array([aim * 0.8, aim * 0.6]), np.array([-9000.0, 500.0]), np.array([400.0, 225.0, 100.0]),
        np.array([250_000.0, 90_000.0, -60_000.0]), np.array([4.0, 4.0, 0.0]), 0.01, 0.03,
    )  # fmt: skip


def test_the_impact_chance_is_that_of_samples_of_all_states():
    """A million probes that die, or not, where the chances say; counted inside the disc: within three sigma."""
    rng = np.random.default_rng(5)
    row, disc = arrivals(), 1750.0
    state = rng.random(1_000_000)
    points = np.empty((1_000_000, 2))
    for chosen, aim, cov in (
        (state < 0.01, row.unburned_km, row.unburned_cov),
        ((state >= 0.01) & (state < 0.04), row.aim_km, row.uncorrected_cov),
        (state >= 0.04, row.aim_km, row.delivered_cov),
    ):
        matrix = np.array([[cov[0], cov[2]], [cov[2], cov[1]]])
        points[chosen] = rng.multivariate_normal(aim, matrix, size=int(chosen.sum()))
    share = float((np.hypot(*points.T) < disc).mean())
    got = impact_chance(row, disc)
    assert abs(got - share) < 3.0 * np.sqrt(got / 1e6)


def test_the_lowest_height_that_keeps_a_limit():
    europa = mass_named("Europa")
    disc = float(impact_radius_km(europa, 4.0))
    row = arrivals()
    for limit in (0.02, 1e-2, 3e-3):
        lowest = lowest_altitude_km(row, europa, v_inf_km_s=4.0, disc_km=disc, limit=limit)
        size = float(impact_radius_km(europa, 4.0, terrain_km=lowest))
        assert impact_chance(arrivals(size), disc) == pytest.approx(limit, rel=1e-6)
        assert lowest > europa.terrain_km
    doomed = Arrivals(row.aim_km, np.zeros(2), *[np.ones(3)] * 3, 0.01, 0.0)
    assert lowest_altitude_km(doomed, europa, v_inf_km_s=4.0, disc_km=disc, limit=1e-4) == np.inf
