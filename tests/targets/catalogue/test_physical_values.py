"""Printed values of the H,G system and of the size law."""

from __future__ import annotations

import numpy as np
import pytest

from targets.catalogue.physical import (
    absolute_magnitude,
    albedo_of,
    apparent_magnitude,
    diameter_km,
    phase_term_mag,
)


# Bowell et al. 1989 (Asteroids II), simple form, evaluated independently for G = 0.15.
@pytest.mark.parametrize(
    ("phase_deg", "dimming_mag"),
    [(1.0, 0.1540), (5.0, 0.4205), (20.0, 0.9996), (60.0, 2.1486), (90.0, 3.1782), (120.0, 4.8429)],
)
def test_phase_term_of_the_default_slope(phase_deg: float, dimming_mag: float) -> None:
    assert phase_term_mag(0.15, phase_deg) == pytest.approx(dimming_mag, abs=6e-5)


def test_eros_as_horizons_gives_it() -> None:
    # 433 Eros, JPL Horizons
    eros = apparent_magnitude(10.42, 0.46, 1.304024504792, 0.85157604440438, 50.1056)
    assert eros == pytest.approx(11.998, abs=0.002)


def test_at_unit_distances_and_no_phase_the_magnitude_is_h() -> None:
    assert apparent_magnitude(17.0, 0.15, 1.0, 1.0, 0.0) == 17.0


def test_a_body_against_the_sun_is_invisible_not_an_error() -> None:
    assert phase_term_mag(0.15, 180.0) == np.inf


def test_one_kilometre_is_h_17_75_at_albedo_0_14() -> None:
    # D = 1329 km / sqrt(p) * 10^(-H/5): Fowler & Chillemi 1992 (from memory)
    assert diameter_km(17.75, 0.14) == pytest.approx(1.0011, abs=5e-5)


def test_size_albedo_and_brightness_agree_both_ways() -> None:
    h_mag, albedo = np.array([3.0, 17.75, 28.0]), np.array([0.9, 0.14, 0.03])
    size_km = diameter_km(h_mag, albedo)
    np.testing.assert_allclose(albedo_of(h_mag, size_km), albedo, rtol=1e-12)
    np.testing.assert_allclose(absolute_magnitude(size_km, albedo), h_mag, rtol=1e-12)
