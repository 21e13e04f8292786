"""How places hang on elements along the perturbed path: moved neighbours, sampled orbits, an outside integrator."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from targets.base.constants import JULIAN_YEAR_S
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.bodies import ELEMENT_ORDER, Catalogue
from targets.catalogue.invented import invented_belt
from targets.catalogue.knowledge import FROM_COVARIANCE, position_covariance_km2, states_at
from targets.catalogue.partials import position_partials
from targets.ephemeris.planets import sample_planets
from targets.motion.perturbed import march
from tests.helpers.made_encounters import EPOCH_JD_TDB, make_targets

# One sigma of each element of a fairly known orbit, au, -, deg (order of magnitude of published orbits).
SIGMAS = np.array([1e-8, 3e-8, 3e-6, 5e-6, 8e-6, 8e-6])


def changed(bodies: Catalogue, k: int, step: float) -> Catalogue:
    name = ELEMENT_ORDER[k]
    return replace(bodies, **{name: np.asarray(getattr(bodies, name), float) + step})


def moved(bodies: Catalogue, tdb_s: float) -> np.ndarray:
    """Places of bodies of one epoch, by the march of the screen."""
    epoch, r_km, v_km_s = bodies.states()
    planets = sample_planets(epoch[0], tdb_s)
    return march(np.hstack([r_km, v_km_s]), float(epoch[0]), tdb_s, planets=planets)[0][:, :3]


def test_at_the_epoch_they_are_those_of_two_bodies() -> None:
    bodies = make_targets([15.0] * 2, mean_anomaly_deg=np.array([200.0, 20.0]))
    times = tdb_s_from_jd(np.full(2, EPOCH_JD_TDB))
    partials = position_partials(bodies, times)
    for k, step in enumerate((1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-4)):
        difference = states_at(changed(bodies, k, step), times)[0] - states_at(bodies, times)[0]
        expected = pytest.approx(partials[:, :, k] * step, rel=1e-3, abs=1e-3 * np.abs(difference).max())
        assert difference == expected


def test_a_body_in_many_rows_is_moved_through_them_all_forwards_and_back() -> None:
    """In whatever order its epochs stand: the same as alone."""
    body = make_targets([15.0])
    years = np.array([3.0, -2.0, 0.0, 7.0, 1.0, -5.0])
    times = tdb_s_from_jd(np.full(6, EPOCH_JD_TDB)) + years * JULIAN_YEAR_S
    together = position_partials(body.take(np.zeros(6, dtype=np.int64)), times)
    for k in range(6):
        alone = position_partials(body, times[k : k + 1])[0]
        assert together[k] == pytest.approx(alone, abs=1e-5 * np.abs(alone).max())


def test_covariance_against_sampled_orbits() -> None:
    """Orbits drawn from a covariance and moved: the scatter of their places five years on is the moved covariance."""
    rng = np.random.default_rng(8)
    root = rng.normal(size=(6, 6)) * np.array([1e-8, 1e-8, 1e-6, 1e-6, 2e-6, 2e-6])[:, None]
    bodies = make_targets([15.0], element_covariance=(root @ root.T)[None])
    later = tdb_s_from_jd(np.array([EPOCH_JD_TDB])) + 5.0 * JULIAN_YEAR_S
    found, source = position_covariance_km2(
        bodies, later, velocity_km_s=states_at(bodies, later)[1], floor_km=0.0, runoff_fraction=1.0
    )
    assert source.tolist() == [FROM_COVARIANCE]
    n = 20_000
    draws = rng.normal(size=(n, 6)) @ root.T
    cloud = make_targets(
        [15.0] * n, **{name: getattr(bodies, name)[0] + draws[:, k] for k, name in enumerate(ELEMENT_ORDER)}
    )
    scatter = np.cov(moved(cloud, float(later[0])).T)
    # three sigmas of a sampled variance: 3 sqrt(2 / n) = 3 %
    assert np.diag(scatter) == pytest.approx(np.diag(found[0]), rel=0.03)
    assert np.trace(scatter) == pytest.approx(np.trace(found[0]), rel=0.03)


@pytest.mark.crosscheck
def test_against_an_outside_integrator(assist_states) -> None:
    """Belt and near-Earth bodies, ten years on: sigmas within 0.2 %, where two-body motion is off by 2 % and more.

    One of them passes a planet, after which its sigma is a twelfth of what two-body motion says.
    """
    belt = invented_belt(400, 3).take(np.arange(5))
    draw = np.random.default_rng(0)
    near = invented_belt(400, 3).take(np.arange(8))
    near = replace(near, a_au=draw.uniform(0.9, 2.2, 8), e=draw.uniform(0.1, 0.5, 8))
    worst, worst_two_body = 0.0, 0.0
    for bodies in (belt, near):
        epoch, _, _ = bodies.states()
        later = epoch + 10.0 * JULIAN_YEAR_S
        ours, two_body = position_partials(bodies, later), np.empty((len(bodies), 3, 6))
        outside = np.empty_like(ours)
        for k, step in enumerate((1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-4)):
            ends = [changed(bodies, k, sign * step) for sign in (1.0, -1.0)]
            ahead, behind = (
                np.array(
                    [
                        assist_states(np.concatenate([r, v])[None], float(t), float(end))[0, :3]
                        for t, r, v, end in zip(*each.states(), later, strict=True)
                    ]
                )
                for each in ends
            )
            outside[:, :, k] = (ahead - behind) / (2.0 * step)
            two_body[:, :, k] = (states_at(ends[0], later)[0] - states_at(ends[1], later)[0]) / (2.0 * step)
        for k in range(len(bodies)):
            truth, mine, plain = (sigma_of(each[k]) for each in (outside, ours, two_body))
            worst = max(worst, abs(mine / truth - 1.0))
            worst_two_body = max(worst_two_body, abs(plain / truth - 1.0))
    print(f"largest sigma off by {worst:.5f}; by two-body motion {worst_two_body:.3f}")  # noqa: T201
    assert worst < 0.002
    assert worst_two_body > 1.0


def sigma_of(partials: np.ndarray) -> float:
    """Largest sigma of a place, km."""
    part = partials * SIGMAS
    return float(np.sqrt(np.linalg.eigvalsh(part @ part.T)[-1]))
