"""Flyby geometry against flown passes and closed forms; quality against its stated shape."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarm.encounter.quality import (
    aim_distance_km,
    best_phase_score,
    closest_phase_range_deg,
    data_return_chances,
    flyby_quality,
    phase_score,
    pixels_across,
    resolution_score,
    slew_acceleration_deg_s2,
    slew_rate_deg_s,
)
from tests.helpers.small_cases import make_study


@pytest.mark.parametrize(
    ("v_km_s", "miss_km", "rate_deg_s"),
    # Four flown flybys, as listed in a public discussion of their tracking rates.
    [(68.3, 605.0, 6.47), (13.8, 12_500.0, 0.063), (8.6, 802.0, 0.61), (15.0, 3162.0, 0.27)],
)
def test_slew_rate_of_flown_flybys(v_km_s: float, miss_km: float, rate_deg_s: float) -> None:
    assert float(slew_rate_deg_s(v_km_s, miss_km)) == pytest.approx(rate_deg_s, rel=0.01)


def test_largest_acceleration_of_the_line_of_sight() -> None:
    """0.6495 (v/b)^2, and the same by differences of the angle atan(v t / b)."""
    v_km_s, miss_km = 8.0, 300.0
    rate = v_km_s / miss_km
    t_s = np.linspace(-100.0, 100.0, 200_001)
    acceleration = np.gradient(np.gradient(np.arctan(rate * t_s), t_s), t_s)
    computed = np.radians(float(slew_acceleration_deg_s2(v_km_s, miss_km)))
    assert computed == pytest.approx(0.6495 * rate**2, rel=1e-4)
    assert computed == pytest.approx(np.abs(acceleration[10:-10]).max(), rel=1e-4)


def test_approach_phase_60_gives_30_at_best_and_150_at_worst() -> None:
    best, worst = closest_phase_range_deg(60.0)
    assert (float(best), float(worst)) == (30.0, 150.0)


def test_closest_phase_by_vectors() -> None:
    """Aim point on the Sun side of the target: phase seen there, from a straight pass in the plane of the Sun."""
    for phase_in_deg in (5.0, 60.0, 89.0, 120.0, 170.0):
        sun = np.array([np.cos(np.radians(phase_in_deg)), np.sin(np.radians(phase_in_deg))])
        # the probe comes from +x, so its aim point lies on the y axis, on the side of the Sun
        seen_deg = np.degrees(np.arccos(sun @ np.array([0.0, 1.0])))
        assert float(closest_phase_range_deg(phase_in_deg)[0]) == pytest.approx(seen_deg, abs=1e-9)


def test_slew_limit_sets_the_aim_distance() -> None:
    """8 km/s at 1 deg/s: 458 km (worked by hand); slow passes stop at the keep-out distance above the surface."""
    limits = {"slew_limit_deg_s": 1.0, "keepout_km": 50.0}
    assert float(aim_distance_km(8.0, 1.0, **limits)) == pytest.approx(458.4, abs=0.1)
    assert float(aim_distance_km(0.5, 10.0, **limits)) == 55.0


def test_pixels_across() -> None:
    """5 km at 200 km with 25 urad: 1000 pixels; 0.9 km at 460 km: 78 (worked by hand)."""
    assert float(pixels_across(5.0, 200.0, ifov_urad=25.0)) == pytest.approx(1000.0)
    assert float(pixels_across(0.9, 460.0, ifov_urad=25.0)) == pytest.approx(78.3, abs=0.1)


def test_scores_have_their_corners() -> None:
    assert resolution_score([0.0, 1.0, 10.0, np.sqrt(1000.0), 100.0, 1e6]) == pytest.approx(
        [0, 0, 0, 0.5, 1, 1]
    )
    assert phase_score([0.0, 5.0, 10.0, 60.0, 110.0, 115.0, 120.0, 180.0]) == pytest.approx(
        [0, 0.5, 1, 1, 1, 0.5, 0, 0]
    )


def test_data_return_needs_the_sun_out_of_the_way() -> None:
    assert data_return_chances([4.999, 5.0, 90.0], minimum_deg=5.0).tolist() == [0.0, 1.0, 1.0]


@given(v=st.floats(0.1, 80.0), phase=st.floats(0.0, 180.0), size=st.floats(1e-3, 1000.0))
def test_quality_lies_between_0_and_1_and_grows_with_size(v: float, phase: float, size: float) -> None:
    probe = make_study().probe
    small, large = flyby_quality(probe, v, [phase, phase], diameter_km=[size, 1.5 * size])
    assert 0.0 <= small <= large <= 1.0


def test_a_better_camera_and_a_faster_turn_matter() -> None:
    def quality(**probe: float) -> float:
        return float(flyby_quality(make_study(probe=probe).probe, 8.0, 40.0, diameter_km=0.3))

    assert quality(camera_ifov_urad=12.0) > quality() > quality(slew_limit_deg_s=1.0)


def test_any_phase_between_the_best_and_the_worst_can_be_had() -> None:
    # side-on approach: the pass itself may be lit fully, from the side or not at all, so the score is full
    assert float(best_phase_score(90.0)) == 1.0
    # head-on from the Sun: 90 deg at closest approach on every side
    assert float(best_phase_score(0.0)) == 1.0
    for phase_in in np.linspace(0.0, 180.0, 37):
        least, most = closest_phase_range_deg(phase_in)
        tried = phase_score(np.linspace(least, most, 2001)).max()
        assert float(best_phase_score(phase_in)) == pytest.approx(tried, abs=1e-3)
