"""Where a body may be: the Minor Planet Center's table, and covariances moved by the orbit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from targets.base.constants import JULIAN_YEAR_S
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.knowledge import (
    FROM_SIGMAS,
    FROM_U,
    RUNOFF_ARCSEC_PER_DECADE,
    along_sigma_km,
    knowledge_notes,
    near_earth_from_u,
    position_covariance_km2,
    states_at,
    u_of_runoff,
)
from tests.helpers.made_encounters import EPOCH_JD_TDB, make_targets

# Minor Planet Center, "Uncertainty parameter U": upper bounds of U = 0..8, arcsec per decade.
PRINTED = (1.0, 4.4, 19.6, 86.5, 382.0, 1692.0, 7488.0, 33121.0, 146502.0)


def placed(bodies, tdb_s, **settings):
    """The covariance of bodies that move as two bodies do, the whole runoff taken."""
    velocity = states_at(bodies, tdb_s)[1]
    return position_covariance_km2(bodies, tdb_s, velocity_km_s=velocity, runoff_fraction=1.0, **settings)


def test_bounds_as_printed_and_by_definition() -> None:
    """The printed bounds are exp(1.49 U) but for rounding: U = INT(ln(RUNOFF) / (ln(648000) / 9)) + 1."""
    assert RUNOFF_ARCSEC_PER_DECADE[:9] == PRINTED
    for u, bound in enumerate(PRINTED):
        assert u_of_runoff(0.99 * bound) == u
        assert u_of_runoff(1.02 * bound) == u + 1
    assert u_of_runoff(648_001.0) == 9


@pytest.mark.parametrize(
    ("u", "km"),
    # Upper bound per class at 2.5 au after a decade (worked out independently).
    [(0, 1.8e3), (1, 8.0e3), (2, 3.6e4), (3, 1.6e5), (4, 6.9e5), (5, 3.1e6)],
)
def test_along_track_after_a_decade(u: int, km: float) -> None:
    assert float(along_sigma_km(u, 10.0, 2.5)) == pytest.approx(km, rel=0.02)
    assert float(along_sigma_km(u, -5.0, 2.5)) == pytest.approx(0.5 * km, rel=0.02)


def test_from_u_lies_along_the_orbit() -> None:
    bodies = make_targets([18.0], [3])
    later = tdb_s_from_jd(np.array([EPOCH_JD_TDB])) + 10.0 * JULIAN_YEAR_S
    covariance, source = placed(bodies, later, floor_km=100.0)
    assert source.tolist() == [FROM_U]
    values, vectors = np.linalg.eigh(covariance[0])
    assert np.sqrt(values[:2]) == pytest.approx([100.0, 100.0], rel=1e-6)
    _, v = states_at(bodies, later)
    assert abs(vectors[:, 2] @ v[0]) / np.linalg.norm(v) == pytest.approx(1.0, abs=1e-9)
    # on a nearly circular orbit v / (n a) is near 1
    assert math.sqrt(values[2]) == pytest.approx(float(along_sigma_km(3, 10.0, 2.3)), rel=0.12)


def test_runoff_is_a_change_of_mean_anomaly() -> None:
    """The body moved by the runoff's angle of mean anomaly is one sigma away, at a perihelion too."""
    bodies = make_targets([18.0], [2], e=np.array([0.6]), mean_anomaly_deg=np.array([0.0]))
    years = 4.0 * 2.3**1.5
    later = tdb_s_from_jd(np.array([EPOCH_JD_TDB])) + years * JULIAN_YEAR_S
    covariance, _ = placed(bodies, later, floor_km=0.0)
    shift_deg = PRINTED[2] / 3600.0 * years / 10.0
    moved = make_targets([18.0], [2], e=np.array([0.6]), mean_anomaly_deg=np.array([shift_deg]))
    away_km = np.linalg.norm(states_at(moved, later)[0] - states_at(bodies, later)[0])
    assert math.sqrt(np.trace(covariance[0])) == pytest.approx(away_km, rel=1e-3)


def test_sigmas_alone_are_taken_as_independent() -> None:
    sigma = np.array([[1e-8, 1e-8, 1e-6, 1e-6, 1e-6, 1e-6]])
    later = tdb_s_from_jd(np.array([EPOCH_JD_TDB])) + JULIAN_YEAR_S
    alone, source = placed(make_targets([15.0], element_sigma=sigma), later, floor_km=0.0)
    assert source.tolist() == [FROM_SIGMAS]
    full = make_targets([15.0], element_covariance=np.diag(sigma[0] ** 2)[None])
    assert alone == pytest.approx(placed(full, later, floor_km=0.0)[0], rel=1e-12)


def test_a_body_without_numbers_falls_back_to_u() -> None:
    sigma = np.array([[1e-8, 1e-8, 1e-6, 1e-6, 1e-6, 1e-6], [np.nan] * 6])
    bodies = make_targets([15.0, 15.0], [4, 4], element_sigma=sigma)
    later = tdb_s_from_jd(np.full(2, EPOCH_JD_TDB)) + 10.0 * JULIAN_YEAR_S
    covariance, source = placed(bodies, later, floor_km=10.0)
    assert source.tolist() == [FROM_SIGMAS, FROM_U]
    assert np.trace(covariance[1]) > 1e4 * np.trace(covariance[0])


def test_the_centre_s_warning_is_passed_on_for_near_earth_bodies() -> None:
    belt, near = make_targets([18.0], [3]), make_targets([22.0], [3], a_au=np.array([1.2]), e=np.array([0.2]))
    assert not near_earth_from_u(belt).any()
    assert near_earth_from_u(near).all()
    assert not any("must not be" in text for text in knowledge_notes(belt))
    assert any("1 near-Earth bodies" in text and "must not be used" in text for text in knowledge_notes(near))
    known = make_targets(
        [22.0], [3], a_au=np.array([1.2]), e=np.array([0.2]), element_covariance=np.diag([1e-16] * 6)[None]
    )
    assert not near_earth_from_u(known).any()
