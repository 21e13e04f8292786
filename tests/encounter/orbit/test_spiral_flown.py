"""Spirals flown: against the law of circles, against scipy, the shadow, arcs about apoapsis, forward again."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from swarm.encounter.orbit.insertion import Thruster
from swarm.encounter.orbit.osculating import osculating_orbit, osculating_state
from swarm.encounter.orbit.spiral import circle_to_circle_km_s, lower_periapsis, shadow_share
from swarm.encounter.orbit.spiral_flown import FlownSpiral, fly_pushed, fly_spiral
from targets.base.constants import DAY_S
from targets.gravity.harmonic_field import gravity_of
from tests.helpers.lunar_orbits import BEGIN, MOON, about_moon, lone_moon, orbit

POINT = gravity_of(MOON).point()
WEAK = Thruster(12.85, 1600.0, 1.2e-3)


def spiral(
    shape, around, *, end_tdb_s=BEGIN, from_km=20_000.0, ellipse_m_s=0.0, thruster=WEAK, duty=1.0
) -> FlownSpiral:
    end = osculating_state(shape, 0.0, end_tdb_s, around)
    return fly_spiral(
        end, end_tdb_s, thruster, around, from_km=from_km, not_before_tdb_s=end_tdb_s - 800.0 * DAY_S, duty=duty,
        ellipse_m_s=ellipse_m_s,
    )  # fmt: skip


@pytest.fixture(scope="module")
def alone():
    """About a point: what the law of circles is for."""
    return spiral(orbit(100.0, 90.0, axes=np.eye(3)), lone_moon(POINT))


def test_speed_spent_is_that_of_circles(alone):
    """dv of a slow spiral is the difference of the speeds of its circles (Edelbaum 1961): 1633 - 495 m/s."""
    first = osculating_orbit(alone.states[0], POINT.gm_km3_s2)
    law = circle_to_circle_km_s(first.a_km, 1837.4, mu_km3_s2=POINT.gm_km3_s2)
    assert alone.reached
    assert alone.from_km == pytest.approx(20_000.0, rel=0.01)
    assert alone.spent_m_s == pytest.approx(1e3 * law, rel=1e-3)
    exhaust = 1600.0 * 9.80665
    assert alone.days * DAY_S == pytest.approx(
        12.85 * math.expm1(alone.spent_m_s / exhaust) * exhaust / 1.2e-3, rel=1e-9
    )
    assert alone.pushed.all()


def test_the_same_by_another_integrator(alone):
    """scipy's DOP853 from the first state to the last hundred revolutions before the end, the thrust written again."""
    mu, exhaust = POINT.gm_km3_s2, 1600.0 * 9.80665

    def rates(t, y):
        thrust = 1.2e-6 / y[6] * y[3:6] / np.linalg.norm(y[3:6])
        return np.concatenate(
            [y[3:6], -mu * y[:3] / np.linalg.norm(y[:3]) ** 3 - thrust, [-1.2e-3 / exhaust]]
        )

    to = int(np.searchsorted(alone.tdb_s, alone.tdb_s[0] + 40.0 * DAY_S))
    start = np.append(alone.states[0], alone.mass_kg[0])
    found = solve_ivp(
        rates, (0.0, alone.tdb_s[to] - alone.tdb_s[0]), start, method="DOP853", rtol=1e-12, atol=1e-12
    ).y[:, -1]
    assert np.linalg.norm(found[:3] - alone.states[to, :3]) < 0.05
    assert found[6] == pytest.approx(alone.mass_kg[to], rel=1e-12)


def test_arcs_about_apoapsis_lower_the_periapsis():
    """15 x 300 km: what the averaged law says of speed, days and the circle before it, in a field of a point."""
    around = lone_moon(POINT)
    low, high = 1737.4 + 15.0, 1737.4 + 300.0
    shape = orbit(0.5 * (15.0 + 300.0), 90.0, e=(high - low) / (high + low), argp_deg=-90.0, axes=np.eye(3))
    law_m_s, share, circle_km = lower_periapsis(POINT.gm_km3_s2, high, low)
    flown = spiral(shape, around, from_km=2.0 * circle_km, ellipse_m_s=law_m_s)
    whole = int(np.flatnonzero(~flown.pushed)[0])
    spent_m_s = 1600.0 * 9.80665 * math.log(flown.mass_kg[whole] / flown.mass_kg[-1])
    # what is left of the eccentricity it begins with is not turned round: the law's share of it is not spent
    round_ = osculating_orbit(flown.states[whole], POINT.gm_km3_s2)
    left = round_.eccentricity
    assert left < 0.006
    assert spent_m_s == pytest.approx(law_m_s * (1.0 - left * (high + low) / (high - low)), rel=0.02)
    assert round_.apoapsis_km == pytest.approx(circle_km, rel=2e-3)
    in_arcs = slice(whole, None)
    time = np.diff(flown.tdb_s)[in_arcs]
    assert (time * flown.pushed[in_arcs]).sum() / time.sum() == pytest.approx(share, rel=0.03)
    assert flown.pushed[: whole - 1].all()


def test_no_thrust_in_the_shadow():
    """Share of the time without thrust near 100 km: arccos(sqrt(1 - (R/r)^2)/cos b)/pi of a cylinder's shadow."""
    around = about_moon(40.0, 0.0)
    flown = spiral(orbit(100.0, 90.0), around, end_tdb_s=BEGIN + 30.0 * DAY_S, from_km=1937.4, duty=0.5)
    places = np.array(
        [
            np.interp(
                flown.tdb_s,
                around.others_start_s + around.others_step_s * np.arange(len(around.others[0])),
                around.others[0][:, i],
            )
            for i in range(3)
        ]
    ).T
    sun = places / np.linalg.norm(places, axis=1)[:, None]
    along = np.einsum("ij,ij->i", flown.states[:, :3], sun)
    beside = np.linalg.norm(flown.states[:, :3] - along[:, None] * sun, axis=1)
    dark = (along < 0.0) & (beside < 1737.4)
    middle = dark[1:] & dark[:-1]
    assert not flown.pushed[middle].any()
    assert flown.pushed[~dark[1:] & ~dark[:-1]].mean() > 0.99
    pole = np.cross(flown.states[:, :3], flown.states[:, 3:])
    from_plane = np.arcsin(np.abs(np.einsum("ij,ij->i", pole / np.linalg.norm(pole, axis=1)[:, None], sun)))
    shares = shadow_share(
        np.linalg.norm(flown.states[:, :3], axis=1), 1737.4, sun_from_plane_rad=float(from_plane.mean())
    )
    time = np.diff(flown.tdb_s)
    assert (time * ~flown.pushed).sum() / time.sum() == pytest.approx(float(shares.mean()), abs=0.01)


def test_flown_forward_again_by_its_arcs():
    """What is handed over, states and stretches of thrust, leads from node to node in the full field."""
    around = about_moon(40.0, 0.0)
    flown = spiral(orbit(100.0, 80.0), around, end_tdb_s=BEGIN + 30.0 * DAY_S, from_km=1937.4)
    worst = 0.0
    for first in range(0, len(flown.tdb_s) - 200, 200):
        span = float(flown.tdb_s[first]), float(flown.tdb_s[first + 200])
        again = fly_pushed(
            flown.states[first], flown.mass_kg[first], span, flown.arcs, flown.exhaust_m_s, around
        )
        worst = max(worst, float(np.linalg.norm(again[:3] - flown.states[first + 200, :3])))
    assert worst < 1e-3
