"""Heating at the stagnation point against the printed laws."""

import numpy as np
import pytest

from swarm.encounter.entry.heating import (
    CONVECTIVE,
    EARTH,
    MARS,
    NONE,
    convective_w_cm2,
    is_heating_known,
    radiative_w_cm2,
)


def test_convection_of_air():
    """q = k sqrt(rho/R) V^3: 1.7415e-4 sqrt(1e-4/1) 8000^3 = 891 648 W/m^2."""
    assert convective_w_cm2(1e-4, 8.0, 1.0, CONVECTIVE["air"]) == pytest.approx(89.1648, rel=1e-6)
    assert CONVECTIVE["CO2"] == 1.9027e-4
    # four times the nose, half the flux; twice the speed, eight times
    assert convective_w_cm2(1e-4, 8.0, 4.0, 1.0) == pytest.approx(0.5 * convective_w_cm2(1e-4, 8.0, 1.0, 1.0))
    assert convective_w_cm2(1e-4, 16.0, 1.0, 1.0) == pytest.approx(
        8.0 * convective_w_cm2(1e-4, 8.0, 1.0, 1.0)
    )


def test_radiation_at_the_rows_of_the_correlation():
    """Tauber & Sutton 1991: f(11 km/s) = 151 at the Earth, f(8 km/s) = 19.2 at Mars; W/cm^2."""
    rho = 3e-4
    power = min(0.6, 1.072e6 * 11_000.0**-1.88 * rho**-0.325)
    assert radiative_w_cm2(rho, 11.0, 1.5, EARTH) == pytest.approx(4.736e4 * 1.5**power * rho**1.22 * 151.0)
    assert radiative_w_cm2(rho, 8.0, 0.5, MARS) == pytest.approx(2.35e4 * 0.5**0.526 * rho**1.19 * 19.2)
    # between rows linear, below the table nothing, no correlation no number
    assert radiative_w_cm2(rho, 10.875, 1.0, EARTH) == pytest.approx(4.736e4 * rho**1.22 * 133.0)
    assert radiative_w_cm2(rho, 8.9, 1.0, EARTH) == 0.0
    assert radiative_w_cm2(rho, 12.0, 1.0, NONE) == 0.0


def test_a_larger_nose_is_cooler_by_convection_and_hotter_by_radiation():
    noses = np.array([0.2, 0.5, 0.9])
    cool = [convective_w_cm2(2e-4, 12.0, nose, CONVECTIVE["air"]) for nose in noses]
    hot = [radiative_w_cm2(2e-4, 12.0, nose, EARTH) for nose in noses]
    assert (np.diff(cool) < 0.0).all()
    assert (np.diff(hot) > 0.0).all()


@pytest.mark.parametrize(
    ("body", "speed", "known"),
    [
        ("Earth", 12.0, True),
        ("Earth", 17.0, False),
        ("Mars", 7.0, True),
        ("Venus", 11.5, False),
        ("Titan", 6.0, False),
    ],
)
def test_where_the_number_is_whole(body, speed, known):
    assert is_heating_known(body, speed) is known
