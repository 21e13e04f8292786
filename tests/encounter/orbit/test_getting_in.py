"""Insertion and spiral: printed values, closed forms, the law of finite burns against flown ones, what would do."""

import math

import numpy as np
import pytest

from swarm.encounter.orbit.insertion import (
    IncomingPath,
    Thruster,
    finite_loss_m_s,
    insert,
    insertion_m_s,
    integrated_loss_m_s,
    split_m_s,
)
from swarm.encounter.orbit.spiral import (
    Well,
    circle_to_circle_km_s,
    lower_periapsis,
    shadow_share,
    spiral_in,
)

MU, R = 4902.800118, 1737.4
INFLUENCE = 66_000.0


def arrival(v_inf, height):
    return IncomingPath(MU, v_inf, R + height, INFLUENCE)


@pytest.mark.parametrize(
    ("v_inf", "low", "high", "dv"),
    [
        (0.8, 100, 100, 811.2),
        (0.8, 15, 15, 824.5),
        (1.0, 100, 100, 883.8),
        (1.0, 15, 15, 895.5),
        (0.8, 15, 3000, 476.1),
    ],
)
def test_impulses_at_the_moon(v_inf, low, high, dv):
    """Worked out apart from this code, by the two speeds at periapsis; 0.1 m/s."""
    assert insertion_m_s(arrival(v_inf, low), R + high) == pytest.approx(dv, abs=0.1)


def test_law_of_finite_burns():
    """50 km, 830 m/s, mass held: 12 kg at 5 N loses 14.2 %, 35 kg at 22 N 6.2 % (worked out apart from this code)."""
    for mass, thrust, share in ((12.0, 5.0, 0.142), (35.0, 22.0, 0.062)):
        loss = finite_loss_m_s(830.0, mass * 830.0 / thrust, mu_km3_s2=MU, radius_km=R + 50.0)
        assert loss / 830.0 == pytest.approx(share, rel=0.01)


def test_a_flown_burn_loses_as_its_law_says_where_that_is_small():
    """Short burns: the flown loss falls with the square of the time, and is no more than the law's."""
    there = arrival(0.8, 50.0)
    dv = insertion_m_s(there, R + 3000.0)
    losses = []
    for thrust in (10.0, 20.0):
        thruster = Thruster(12.0, 220.0, thrust)
        law = finite_loss_m_s(dv, thruster.burn_s(dv), mu_km3_s2=MU, radius_km=there.periapsis_km)
        flown = integrated_loss_m_s(there, dv, R + 3000.0, thruster)
        assert 0.0 < flown < 1.1 * law
        losses.append(flown)
    assert losses[0] / losses[1] == pytest.approx(4.0, rel=0.3)


def test_default_thrusters_cannot_stop_at_the_moon_and_are_told_what_would():
    refused = insert(arrival(0.8, 50.0), R + 50.0, Thruster(12.0, 220.0, 0.5), burns=1)
    assert "4.9 N would do in 1 burn" in refused.refused
    assert "the first must capture" in refused.refused
    # what is said does, and a little less does not
    would = insert(arrival(0.8, 50.0), R + 50.0, Thruster(12.0, 220.0, 5.0), burns=1)
    assert not would.refused
    assert would.integrated
    assert 0.0 < would.loss_m_s < 0.1 * would.impulsive_m_s
    less = insert(arrival(0.8, 50.0), R + 50.0, Thruster(12.0, 220.0, 4.5), burns=1)
    assert less.refused
    more = insert(arrival(0.8, 50.0), R + 50.0, Thruster(12.0, 220.0, 3.0), burns=1)
    assert "or 2 burns with 3 N" in more.refused
    assert not insert(arrival(0.8, 50.0), R + 50.0, Thruster(12.0, 220.0, 3.0), burns=2).refused


def test_burns_share_what_the_first_leaves():
    there = arrival(1.2, 50.0)
    parts = split_m_s(there, R + 50.0, 5)
    assert sum(parts) == pytest.approx(insertion_m_s(there, R + 50.0))
    assert len(parts) == 5
    assert np.allclose(parts[1:], parts[1])
    # the first ends in an orbit within half the sphere of influence
    speed = there.speed_km_s - 1e-3 * parts[0]
    a = 1.0 / (2.0 / there.periapsis_km - speed**2 / MU)
    assert 2.0 * a - there.periapsis_km <= 0.5 * INFLUENCE * (1.0 + 1e-9)


def test_a_turned_plane_is_a_difference_of_vectors():
    there = arrival(0.8, 100.0)
    before, after = there.speed_km_s, there.orbit_speed_km_s(R + 100.0)
    turned = np.array([after * math.cos(0.3), after * math.sin(0.3)]) - [before, 0.0]
    assert insertion_m_s(there, R + 100.0, 0.3) == pytest.approx(1e3 * np.linalg.norm(turned))
    assert insertion_m_s(there, R + 100.0, 0.0) == pytest.approx(1e3 * (before - after))


def test_spiral_with_its_plane_turned():
    """7000 to 42166 km, mu 398600.44, 28.5 deg, 3.5e-7 km/s^2: 5.78378 km/s, 191.26295 d (Kechichian 1997); 1e-5."""
    dv = circle_to_circle_km_s(7000.0, 42_166.0, mu_km3_s2=398_600.44, turned_rad=math.radians(28.5))
    assert dv == pytest.approx(5.78378, rel=1e-5)
    assert dv / 3.5e-7 / 86_400.0 == pytest.approx(191.26295, rel=1e-5)


def test_lunar_spiral_in_days():
    """60 000 km to 100 km: 1.348 km/s and 182 d at 1.2 mN with 14 kg that stays (worked out apart); 0.1 %."""
    spiral = spiral_in(
        Well(MU, R), Thruster(14.0, 1e9, 1.2e-3), v_inf_km_s=0.0, from_km=60_000.0, periapsis_km=R + 100.0,
        apoapsis_km=R + 100.0, duty=1.0, sun_from_plane_rad=0.5 * math.pi,
    )  # fmt: skip
    assert spiral.total_m_s == pytest.approx(1348.0, rel=1e-3)
    assert spiral.days == pytest.approx(182.0, rel=1e-3)
    assert not spiral.upper_bound
    assert spiral.lit_share == 1.0


def test_duty_shadow_and_mass_lengthen_and_shorten_a_spiral():
    def days(isp=1600.0, duty=1.0, beta=0.5 * math.pi):
        return spiral_in(
            Well(MU, R), Thruster(14.0, isp, 1.2e-3), v_inf_km_s=0.2, from_km=60_000.0, periapsis_km=R + 100.0,
            apoapsis_km=R + 100.0, duty=duty, sun_from_plane_rad=beta,
        )  # fmt: skip

    whole = days()
    assert days(duty=0.5).days == pytest.approx(2.0 * whole.days)
    assert days(beta=0.0).days > 1.1 * whole.days
    assert whole.days < days(isp=1e9).days  # a lighter probe is pushed harder
    assert whole.upper_bound
    assert whole.excess_m_s == 200.0
    assert whole.propellant_kg == pytest.approx(
        14.0 * (1.0 - math.exp(-whole.total_m_s / (1600.0 * 9.80665)))
    )


def test_shadow_of_a_low_circle():
    """At r = 2 R with the Sun in the plane asin(1/2) to each side: a sixth; out of the plane enough, none."""
    assert shadow_share(2.0 * R, R) == pytest.approx(1.0 / 6.0)
    assert shadow_share(2.0 * R, R, sun_from_plane_rad=0.6) == 0.0
    assert shadow_share(R * 1.0001, R) == pytest.approx(0.5, abs=0.01)


def test_periapsis_is_lowered_for_little_more_than_the_impulse():
    """Arcs about apoapsis: dearer than the impulse there, by the arc's width; the circle they start from is higher."""
    for high, low in ((R + 100.0, R + 15.0), (R + 3000.0, R + 15.0)):
        spent, share, circle = lower_periapsis(MU, high, low)
        impulse = 1e3 * (math.sqrt(MU / high) - math.sqrt(MU * (2.0 / high - 2.0 / (high + low))))
        assert circle > high
        assert 0.2 < share < 0.4
        # of the arcs, what lowers apoapsis is taken from the spiral before
        less = 1e3 * (math.sqrt(MU / high) - math.sqrt(MU / circle))
        assert impulse < spent < impulse + less + 0.1 * impulse
