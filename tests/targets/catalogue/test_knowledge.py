"""Where a body may be: the Minor Planet Center's table, and covariances moved by the orbit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from targets.base.constants import JULIAN_YEAR_S
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.knowledge import (
    FROM_COVARIANCE,
    FROM_SIGMAS,
    FROM_U,
    RUNOFF_ARCSEC_PER_DECADE,
    along_sigma_km,
    knowledge_notes,
    near_earth_from_u,
    position_covariance_km2,
    position_partials,
    states_at,
    u_of_runoff,
)
from tests.helpers.made_encounters import EPOCH_JD_TDB, make_targets

# Minor Planet Center, "Uncertainty parameter U": upper bounds of U = 0..8, arcsec per decade.
PRINTED = (1.0, 4.4, 19.6, 86.5, 382.0, 1692.0, 7488.0, 33121.0, 146502.0)


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
    covariance, source = position_covariance_km2(bodies, later, floor_km=100.0)
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
    covariance, _ = position_covariance_km2(bodies, later, floor_km=0.0)
    shift_deg = PRINTED[2] / 3600.0 * years / 10.0
    moved = make_targets([18.0], [2], e=np.array([0.6]), mean_anomaly_deg=np.array([shift_deg]))
    away_km = np.linalg.norm(states_at(moved, later)[0] - states_at(bodies, later)[0])
    assert math.sqrt(np.trace(covariance[0])) == pytest.approx(away_km, rel=1e-3)


def test_partials_against_moved_elements() -> None:
    """A change of each element by a thousandth of a percent or degree moves the body as the partials say."""
    bodies = make_targets([15.0] * 2, mean_anomaly_deg=np.array([200.0, 20.0]))
    times = tdb_s_from_jd(np.full(2, EPOCH_JD_TDB)) + np.array([0.0, 5.0 * JULIAN_YEAR_S])
    partials = position_partials(bodies, times)
    base, _ = states_at(bodies, times)
    steps = {
        "a_au": 1e-6,
        "e": 1e-6,
        "i_deg": 1e-4,
        "node_deg": 1e-4,
        "argp_deg": 1e-4,
        "mean_anomaly_deg": 1e-4,
    }
    for k, (name, step) in enumerate(steps.items()):
        changed = {"mean_anomaly_deg": bodies.mean_anomaly_deg, name: getattr(bodies, name) + step}
        moved = make_targets([15.0] * 2, **changed)
        difference = states_at(moved, times)[0] - base
        assert difference == pytest.approx(
            partials[:, :, k] * step, rel=1e-3, abs=1e-3 * np.abs(difference).max()
        )


def test_covariance_against_sampled_orbits() -> None:
    """Orbits drawn from a correlated covariance: the scatter of their places five years on is the moved covariance."""
    rng = np.random.default_rng(8)
    root = rng.normal(size=(6, 6)) * np.array([1e-8, 1e-8, 1e-6, 1e-6, 2e-6, 2e-6])[:, None]
    covariance = (root @ root.T)[None]
    bodies = make_targets([15.0], element_covariance=covariance)
    later = tdb_s_from_jd(np.array([EPOCH_JD_TDB])) + 5.0 * JULIAN_YEAR_S
    moved, source = position_covariance_km2(bodies, later, floor_km=0.0)
    assert source.tolist() == [FROM_COVARIANCE]
    n = 20_000
    draws = rng.normal(size=(n, 6)) @ root.T
    names = ("a_au", "e", "i_deg", "node_deg", "argp_deg", "mean_anomaly_deg")
    cloud = make_targets(
        [15.0] * n, **{name: getattr(bodies, name)[0] + draws[:, k] for k, name in enumerate(names)}
    )
    places, _ = states_at(cloud, np.full(n, later[0]))
    scatter = np.cov(places.T)
    # three sigmas of a sampled variance: 3 sqrt(2 / n) = 3 %
    assert np.diag(scatter) == pytest.approx(np.diag(moved[0]), rel=0.03)
    assert np.trace(scatter) == pytest.approx(np.trace(moved[0]), rel=0.03)


def test_sigmas_alone_are_taken_as_independent() -> None:
    sigma = np.array([[1e-8, 1e-8, 1e-6, 1e-6, 1e-6, 1e-6]])
    later = tdb_s_from_jd(np.array([EPOCH_JD_TDB])) + JULIAN_YEAR_S
    alone, source = position_covariance_km2(make_targets([15.0], element_sigma=sigma), later, floor_km=0.0)
    assert source.tolist() == [FROM_SIGMAS]
    full = make_targets([15.0], element_covariance=np.diag(sigma[0] ** 2)[None])
    assert alone == pytest.approx(position_covariance_km2(full, later, floor_km=0.0)[0], rel=1e-12)


def test_a_body_without_numbers_falls_back_to_u() -> None:
    sigma = np.array([[1e-8, 1e-8, 1e-6, 1e-6, 1e-6, 1e-6], [np.nan] * 6])
    bodies = make_targets([15.0, 15.0], [4, 4], element_sigma=sigma)
    later = tdb_s_from_jd(np.full(2, EPOCH_JD_TDB)) + 10.0 * JULIAN_YEAR_S
    covariance, source = position_covariance_km2(bodies, later, floor_km=10.0)
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
