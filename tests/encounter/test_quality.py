"""Scores of a pass against values worked out elsewhere, their corners, and the compiled form against the plain one."""

from __future__ import annotations

import math
import tomllib
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swarm.encounter.quality import (
    FACTORS,
    Optics,
    capture_chance,
    closest_phase_deg,
    closest_phase_range_deg,
    detection_range_km,
    dwell_s,
    lit_fraction,
    optics_of,
    phase_score,
    pixel_angle_rad,
    quality_at,
    quality_factors,
    resolution_score,
    smear_px,
    useful_pixels,
)
from swarm.study.schema import study_from
from tests.helpers.places import FIREWEED


def probe(**keys: Any):
    data = tomllib.loads(FIREWEED.read_text(encoding="utf-8"))
    data["probe"].update(keys)
    return study_from(data).probe


def optics(**changes: float) -> Optics:
    """A 5 km body at 8 km/s, the pixels of a 6U, nothing that spoils the pass but the slew limit."""
    plain = Optics(8.0, 5.0, 25e-6, 2048.0, math.radians(2.0), 50.0, 7e-5, 20.0)
    return plain._replace(**changes)


def test_approach_phase_60_gives_30_to_150() -> None:
    """Worked by hand: |90 - 60| on the Sun's side, 180 less that on the other."""
    assert closest_phase_deg(60.0, [0.0, 90.0, 180.0]) == pytest.approx([30.0, 90.0, 150.0], abs=1e-9)
    least, most = closest_phase_range_deg(60.0)
    assert (float(least), float(most)) == (30.0, 150.0)


@settings(deadline=None)  # the first call compiles
@given(st.floats(0.0, 180.0), st.floats(0.0, 360.0))
def test_phase_by_vectors(phase_in_deg: float, clock_deg: float) -> None:
    """The Sun stands at phase_in from the incoming probe; the aim point is turned from the Sun's side by the clock."""
    a, c = math.radians(phase_in_deg), math.radians(clock_deg)
    sun = np.array([math.sin(a), 0.0, math.cos(a)])
    seen = math.degrees(math.acos(np.clip(sun @ [math.cos(c), math.sin(c), 0.0], -1.0, 1.0)))
    assert float(closest_phase_deg(phase_in_deg, clock_deg)) == pytest.approx(seen, abs=1e-6)


def test_smear_of_an_untracked_pass() -> None:
    """8 km/s at 300 km, 60 urad, 1 ms, not tracked: 0.44 pixels (worked out independently)."""
    assert float(smear_px(8.0 / 300.0, 1e-3, ifov_urad=60.0)) == pytest.approx(0.44, abs=0.005)


def test_useful_pixels_and_lit_fraction() -> None:
    assert lit_fraction([0.0, 90.0, 180.0]) == pytest.approx([1.0, 0.5, 0.0], abs=1e-15)
    assert float(useful_pixels(100.0, 90.0)) == pytest.approx(0.25 * math.pi * 1e4 * 0.5)


def test_dwell_inside_a_range() -> None:
    """2 sqrt(r^2 - b^2) / v: 3-4-5 triangle, 2 * 400 km at 8 km/s are 100 s."""
    assert float(dwell_s(8.0, 300.0, within_km=500.0)) == pytest.approx(100.0)
    assert float(dwell_s(8.0, 600.0, within_km=500.0)) == 0.0


def test_diffraction_limit() -> None:
    """60 mm resolves 11 urad at 550 nm (worked out independently): below a 25 urad pixel, above an 8 urad one."""
    assert pixel_angle_rad(probe(camera_aperture_mm=60.0, camera_ifov_urad=8.0)) == pytest.approx(
        11.2e-6, abs=1e-7
    )
    assert pixel_angle_rad(probe(camera_aperture_mm=60.0, camera_ifov_urad=25.0)) == pytest.approx(25e-6)


@pytest.mark.parametrize(
    ("h_mag", "sun_au", "phase_deg", "km"),
    # Range at limiting magnitude 10, G 0.15, two digits as worked out independently from the H,G system.
    [
        (12, 2.5, 20, 15.0e6), (16, 2.5, 20, 2.4e6), (18, 2.5, 20, 0.95e6), (20, 1.1, 20, 0.86e6),
        (24, 1.1, 20, 0.14e6),
        (12, 2.5, 100, 4.5e6), (16, 2.5, 100, 0.71e6), (18, 2.5, 100, 0.28e6), (20, 1.1, 100, 0.26e6),
        (24, 1.1, 100, 0.041e6),
    ],
)  # fmt: skip
def test_detection_ranges(h_mag: float, sun_au: float, phase_deg: float, km: float) -> None:
    found = detection_range_km(h_mag, 0.15, sun_range_au=sun_au, phase_in_deg=phase_deg, limiting_mag=10.0)
    assert float(found) == pytest.approx(km, rel=0.03)


def test_small_bodies_are_seen_at_30_to_50_thousand_km() -> None:
    """H = 24 by cubesat cameras (Franzese & Topputo 2023, Sensors 23(9):4544): limits 6.5-7.5 at 1 au, phase 20-45."""
    for mag, phase in ((6.5, 20.0), (7.0, 20.0), (7.0, 35.0), (7.5, 45.0)):
        km = float(detection_range_km(24.0, 0.15, sun_range_au=1.0, phase_in_deg=phase, limiting_mag=mag))
        assert 25_000.0 < km < 50_000.0


def test_high_phase_costs_a_factor_of_three_in_range() -> None:
    near, far = detection_range_km(
        [16.0, 16.0], 0.15, sun_range_au=2.5, phase_in_deg=[100.0, 20.0], limiting_mag=10.0
    )
    assert far / near == pytest.approx(3.3, abs=0.1)


def test_capture_by_the_clock() -> None:
    """|N(0, s)| < b tan(half field): 1 sigma is 68.27 %, and no error is no doubt."""
    half = 0.5 * 2048 * 25e-6
    one_sigma_km = 250.0 * math.tan(half)
    assert float(capture_chance(250.0, one_sigma_km, half_field_rad=half)) == pytest.approx(0.6827, abs=1e-4)
    assert float(capture_chance(250.0, 0.0, half_field_rad=half)) == 1.0
    # farther away the same error is a smaller angle
    assert capture_chance(500.0, one_sigma_km, half_field_rad=half) > 0.95


@settings(deadline=None)  # the first call compiles
@given(st.floats(20.0, 1e5), st.floats(0.0, 180.0))
def test_compiled_scores_are_the_plain_ones(miss_km: float, phase_deg: float) -> None:
    body = optics()
    scores = quality_factors(body, miss_km, phase_deg)
    assert scores["resolution"] == pytest.approx(float(resolution_score(5.0 / (25e-6 * miss_km))), abs=1e-12)
    assert scores["phase"] == pytest.approx(float(phase_score(phase_deg)), abs=1e-6)
    assert scores["lit"] == pytest.approx(min(float(lit_fraction(phase_deg)) / 0.5, 1.0), abs=1e-9)
    product = math.prod(scores.values())
    assert quality_at(miss_km, math.cos(math.radians(phase_deg)), body) == pytest.approx(product, abs=1e-12)
    assert 0.0 <= product <= 1.0


def test_corners_of_every_score() -> None:
    """Limits as stated at the head of swarm/encounter/quality.py, each at its edge, all else far from its own."""
    at_limit_km = 8.0 / math.radians(2.0)
    assert quality_factors(optics(), at_limit_km, 60.0)["slew"] == pytest.approx(1.0)
    assert quality_factors(optics(), at_limit_km / 1.25, 60.0)["slew"] == pytest.approx(0.0, abs=1e-12)
    assert quality_factors(optics(), at_limit_km / 1.125, 60.0)["slew"] == pytest.approx(0.5)
    assert quality_factors(optics(), 52.5, 60.0)["keepout"] == 0.0
    assert quality_factors(optics(), 57.5, 60.0)["keepout"] == pytest.approx(1.0)
    # 8 km/s / 320 km * 1 ms = 25 urad: one pixel, halfway from 0.5 to 1.5
    assert quality_factors(optics(smear_s=1e-3), 320.0, 60.0)["smear"] == pytest.approx(0.5)
    # ten pixels at 20 000 km: 2 * 20 000 / 8 = 5000 s against the time all images take
    assert quality_factors(optics(dwell_s=1e4), 1.0 + 1e-9, 60.0)["dwell"] == pytest.approx(0.5, abs=1e-6)
    assert quality_factors(optics(pixels_most=math.sqrt(1000.0)), 300.0, 60.0)["resolution"] == pytest.approx(
        0.5
    )


def test_the_closest_pass_is_not_the_best() -> None:
    body = optics()
    value = [quality_at(b, 0.5, body) for b in (60.0, 150.0, 400.0, 5000.0, 19_999.0, 20_001.0)]
    assert value[0] == value[1] == value[5] == 0.0
    assert value[2] == 1.0
    assert 1.0 > value[3] > value[4] > 0.0


@pytest.mark.parametrize(
    ("factor", "change"),
    [
        ("resolution", {"diameter_km": 0.2}),
        ("slew", {"slew_limit_rad_s": math.radians(1.0)}),
        ("smear", {"smear_s": 1e-3}),
        ("keepout", {"keepout_km": 400.0}),
        ("dwell", {"dwell_s": 1e5}),
    ],
)
def test_every_limit_matters(factor: str, change: dict[str, float]) -> None:
    """At 300 km the plain case is perfect; one worse limit at a time lowers its own score."""
    before, after = quality_factors(optics(), 300.0, 60.0), quality_factors(optics(**change), 300.0, 60.0)
    assert all(before[name] == pytest.approx(1.0) for name in FACTORS)
    assert after[factor] < 0.9
    others = [name for name in FACTORS if name != factor and after[name] < 1.0 - 1e-12]
    assert others in ([], ["dwell"] if factor == "resolution" else [])


def test_optics_of_a_study() -> None:
    """Exposure grows with the square of the solar range; data that cannot be sent cap the pixels."""
    near = optics_of(probe(), v_rel_km_s=8.0, diameter_km=1.0, sun_range_au=1.0)
    far = optics_of(probe(), v_rel_km_s=8.0, diameter_km=1.0, sun_range_au=2.0, pixels_most=50.0)
    assert far.smear_s == pytest.approx(4.0 * near.smear_s)
    assert (near.pixels_most, far.pixels_most) == (2048.0, 50.0)
