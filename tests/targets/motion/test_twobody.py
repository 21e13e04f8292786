"""Two-body motion against printed examples, and its own inverse."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from targets.base.constants import AU_KM, GM_SUN_KM3_S2
from targets.motion.twobody import drift_states, eccentric_anomaly, elements_from_states, states_from_elements

MU_EARTH_VALLADO = 398600.4415


def test_vallado_2_1_kepler_equation() -> None:
    # Vallado, Fundamentals of Astrodynamics and Applications, 4th ed., Example 2-1
    assert eccentric_anomaly(math.radians(235.4), 0.4) == pytest.approx(3.8486617450971616, abs=1e-14)


def test_vallado_2_4_propagation() -> None:
    # Vallado, 4th ed., Example 2-4: 40 minutes
    r, v = drift_states(
        np.array([[1131.340, -2282.343, 6672.423]]),
        np.array([[-5.64305, 4.30333, 2.42879]]),
        2400.0,
        mu_km3_s2=MU_EARTH_VALLADO,
    )
    np.testing.assert_allclose(r[0], [-4219.7527, 4363.0292, -3958.7666], atol=1e-4)
    np.testing.assert_allclose(v[0], [3.689866, -1.916735, -6.112511], atol=1e-6)


def test_vallado_2_5_elements() -> None:
    # Vallado, 4th ed., Example 2-5
    a, e, i, node, argp, nu = elements_from_states(
        np.array([[6524.834, 6862.875, 6448.296]]),
        np.array([[4.901327, 5.533756, -1.976341]]),
        mu_km3_s2=MU_EARTH_VALLADO,
    )
    assert a[0] * (1.0 - e[0] ** 2) == pytest.approx(11067.79835, abs=1e-3)
    assert a[0] == pytest.approx(36127.33776, abs=1e-3)
    assert e[0] == pytest.approx(0.8328533991, abs=1e-9)
    assert i[0] == pytest.approx(1.5336055626, abs=1e-9)
    assert node[0] == pytest.approx(3.9775750028, abs=1e-9)
    assert argp[0] == pytest.approx(0.9317428111, abs=1e-9)
    assert nu[0] == pytest.approx(1.6115524999, abs=1e-9)


@pytest.mark.parametrize(
    ("e", "eccentric_deg", "true_deg"),
    [
        (0.05, 10.52321, 11.05994),
        (0.10, 54.67466, 59.49810),
        (0.35, 142.27123, 153.32411),
        (0.61, 161.87359, 171.02189),
    ],
)
def test_nasa_tr_r_158_true_anomaly(e: float, eccentric_deg: float, true_deg: float) -> None:
    # NASA TR R-158, tables of eccentric and true anomaly; printed to 5e-6 deg
    u = math.radians(eccentric_deg)
    r, _ = states_from_elements(
        np.array([1.0]),
        np.array([e]),
        np.zeros(1),
        np.zeros(1),
        np.zeros(1),
        np.array([u - e * math.sin(u)]),
        mu_km3_s2=1.0,
    )
    assert math.degrees(math.atan2(r[0, 1], r[0, 0])) == pytest.approx(true_deg, abs=1.5e-5)


angle = st.floats(min_value=0.0, max_value=2.0 * math.pi)
eccentricity = st.one_of(st.floats(min_value=0.0, max_value=1e-9), st.floats(min_value=0.0, max_value=0.9995))
inclination = st.one_of(st.just(0.0), st.floats(min_value=0.0, max_value=math.pi))


@given(st.floats(min_value=0.3, max_value=40.0), eccentricity, inclination, angle, angle, angle)
@settings(max_examples=300, deadline=None)
def test_elements_and_states_round_trip(
    a_au: float, e: float, i: float, node: float, argp: float, m: float
) -> None:
    r, v = states_from_elements(
        np.array([a_au * AU_KM]),
        np.array([e]),
        np.array([i]),
        np.array([node]),
        np.array([argp]),
        np.array([m]),
    )
    a2, e2, i2, node2, argp2, nu2 = elements_from_states(r, v)
    u = 2.0 * np.arctan2(np.sqrt(1.0 - e2) * np.sin(nu2 / 2.0), np.sqrt(1.0 + e2) * np.cos(nu2 / 2.0))
    r2, v2 = states_from_elements(a2, e2, i2, node2, argp2, u - e2 * np.sin(u))
    # near e = 1 a double of e holds 1 - e to 1e-16/(1 - e)
    tolerance = 1e-10 + 1e-13 / (1.0 - e)
    assert np.linalg.norm(r2 - r) <= tolerance * a_au * AU_KM
    assert np.linalg.norm(v2 - v) <= tolerance * np.linalg.norm(v) + 1e-9


@given(eccentricity, angle, st.floats(min_value=-40.0, max_value=40.0))
@settings(max_examples=300, deadline=None)
def test_forward_and_back_returns(e: float, m: float, years: float) -> None:
    r, v = states_from_elements(
        np.array([2.5 * AU_KM]),
        np.array([e]),
        np.array([0.2]),
        np.array([1.0]),
        np.array([2.0]),
        np.array([m]),
    )
    dt = years * 3.15576e7
    r2, v2 = drift_states(*drift_states(r, v, dt), -dt)
    assert np.linalg.norm(r2 - r) < 1.0  # km
    # A place that is off by a kilometre along the path is a time that is off, and at the perihelion of an orbit of
    # e = 0.9995 the velocity turns by 3 m/s in it.
    speed, pull = np.linalg.norm(v), GM_SUN_KM3_S2 / np.linalg.norm(r) ** 2
    assert np.linalg.norm(v2 - v) < 1e-8 * speed + pull * 1.0 / speed


def test_hyperbolas_keep_energy_and_momentum_and_return() -> None:
    rng = np.random.default_rng(11)
    r, v = states_from_elements(
        rng.uniform(0.5, 5.0, 2000) * AU_KM,
        rng.uniform(0.0, 0.9, 2000),
        *(rng.uniform(0.0, 3.0, 2000) for _ in range(4)),
    )
    v *= rng.uniform(1.45, 3.0, 2000)[:, None]
    dt = rng.uniform(-1e8, 1e8, 2000)
    r1, v1 = drift_states(r, v, dt)

    def energy(r: np.ndarray, v: np.ndarray) -> np.ndarray:
        return 0.5 * np.einsum("ij,ij->i", v, v) - GM_SUN_KM3_S2 / np.linalg.norm(r, axis=1)

    np.testing.assert_allclose(energy(r1, v1), energy(r, v), rtol=1e-9)
    np.testing.assert_allclose(np.cross(r1, v1), np.cross(r, v), rtol=1e-9)
    r2, _ = drift_states(r1, v1, -dt)
    assert (np.linalg.norm(r2 - r, axis=1) / np.linalg.norm(r1, axis=1)).max() < 1e-9


def test_near_parabolic_orbits_of_both_kinds_agree_where_they_meet() -> None:
    # just below and above escape speed the answer must be continuous
    r = np.array([[AU_KM, 0.0, 0.0]])
    escape = math.sqrt(2.0 * GM_SUN_KM3_S2 / AU_KM)
    ends = [
        drift_states(r, np.array([[3.0, math.sqrt((escape * f) ** 2 - 9.0), 0.0]]), 2e8)[0][0]
        for f in (1.0 - 1e-9, 1.0, 1.0 + 1e-9)
    ]
    # the three ends lie on a smooth curve: 28 km apart, the second difference a millionth of that or rounding
    assert 1.0 < np.linalg.norm(ends[2] - ends[0]) < 100.0
    assert np.linalg.norm(ends[0] - 2.0 * ends[1] + ends[2]) < 0.01


def test_a_state_that_cannot_be_moved_is_nan_not_an_error() -> None:
    r, _ = drift_states(np.full((1, 3), np.nan), np.ones((1, 3)), 1e6)
    assert np.isnan(r).all()
