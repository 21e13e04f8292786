"""Influence of a velocity change, sampled corrections against linear covariance and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from swarm.encounter.corrections import (
    AFTER_BURN,
    BEFORE_ENCOUNTER,
    IN_SIGHT,
    Corrections,
    fill_influence,
    plan_corrections,
    sight_s,
)
from swarm.encounter.delivery import fill_start, linear_covariance, quantile, sample_arrivals
from swarm.encounter.error_model import CORRECTIONS_MAX, errors_of, normals_of
from swarm.reach.arcs.bplane import b_plane_axes, b_vector_km
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.motion.twobody import drift
from tests.helpers.made_encounters import make_study, without_errors

TARGET = np.array([2.2 * AU_KM, 0.4 * AU_KM, 0.1 * AU_KM, -3.0, 18.5, 1.5])
V_REL = np.array([5.0, -4.0, 3.0])
STATE = TARGET + np.concatenate([np.zeros(3), V_REL])
AXES = b_plane_axes(V_REL)[0]
SPEED = float(np.linalg.norm(V_REL))
FAR_KM = 1e12


def moved(state: np.ndarray, dt_s: float) -> np.ndarray:
    return np.array(drift(*state, GM_SUN_KM3_S2, dt_s))


def miss_km(state_before: np.ndarray, before_s: float) -> np.ndarray:
    """B of a probe that has this state `before_s` before the encounter: flown out, straight past the target."""
    relative = moved(state_before, before_s) - TARGET
    return b_vector_km(relative[:3], relative[3:])[0]


@pytest.mark.parametrize("days", [0.5, 14.0, 60.0, 200.0])
def test_influence_against_flown_changes(days: float) -> None:
    """1 mm/s and 1 km on each axis, flown to the encounter: the miss is what the matrices say."""
    before = days * DAY_S
    velocity, position = np.empty((3, 3)), np.empty((3, 3))
    fill_influence(STATE, AXES, before, velocity, position)
    then = moved(STATE, -before)
    assert miss_km(then, before) == pytest.approx([0.0, 0.0], abs=1e-3)
    for k in range(3):
        kicked, shifted = then.copy(), then.copy()
        kicked[3 + k] += 1e-6
        shifted[k] += 1.0
        assert miss_km(kicked, before) == pytest.approx(
            velocity[1:, k] * 1e-6, abs=2e-5 * 1e-6 * before + 1e-4
        )
        assert miss_km(shifted, before) == pytest.approx(position[1:, k], abs=1e-3)


def test_free_space_limit() -> None:
    """Half a day out the influence is (I - S S^T) t."""
    velocity, position = np.empty((3, 3)), np.empty((3, 3))
    fill_influence(STATE, AXES, 0.5 * DAY_S, velocity, position)
    assert velocity[1:] == pytest.approx(AXES[1:] * 0.5 * DAY_S, rel=1e-5, abs=1.0)
    assert position[1:] == pytest.approx(AXES[1:], abs=1e-5)


def one_correction(days: float) -> Corrections:
    """A single perfect correction from the ground."""
    velocity, position = np.empty((CORRECTIONS_MAX, 3, 3)), np.empty((3, 3))
    fill_influence(STATE, AXES, days * DAY_S, velocity[0], position)
    inverse = np.empty((CORRECTIONS_MAX, 3, 2))
    inverse[0] = np.linalg.pinv(velocity[0, 1:])
    zeros = np.zeros((CORRECTIONS_MAX, 3))
    times, kinds = np.full(CORRECTIONS_MAX, days * DAY_S), np.full(CORRECTIONS_MAX, AFTER_BURN)
    return Corrections(1, 0, times, kinds.astype(float), velocity, inverse, zeros, np.zeros(CORRECTIONS_MAX))


def fly(plan: Corrections, study, start: np.ndarray, target: np.ndarray, sight_km: float):
    """Samples of the miss, of what was spent (m/s) and of who saw the target; the target's (3, 3) in T, R, S."""
    normals = normals_of(study)
    n = study.delivery.samples
    miss, spent, seen = np.empty((n, 2)), np.empty(n), np.zeros(n, dtype=bool)
    sample_arrivals(plan, start, target, sight_km, SPEED, errors_of(study), normals, miss, spent, seen)
    return miss, 1000.0 * spent, seen


@pytest.mark.parametrize(
    ("start", "mean", "percentile_99"),
    # In sigmas: |N(0, s)| in one dimension 2.576; isotropic in two 3.035, mean 1.2533 (closed forms).
    [((1.0, 0.0, 0.0), math.sqrt(2.0 / math.pi), 2.576), ((1.0, 1.0, 0.0), 1.2533, 3.035)],
)
def test_size_of_one_correction(start: tuple[float, ...], mean: float, percentile_99: float) -> None:
    """500 km undone 12 h before: 11.57 m/s to a sigma; mean and 99th percentile of the sampled size by closed form."""
    study = without_errors(delivery={"samples": 100_000})
    cov = 500.0**2 * np.array(start)
    miss, spent, _ = fly(one_correction(0.5), study, cov, np.zeros((3, 3)), 0.0)
    sigma_m_s = 1000.0 * 500.0 / (0.5 * DAY_S)
    assert sigma_m_s == pytest.approx(11.6, abs=0.05)
    assert spent.mean() == pytest.approx(mean * sigma_m_s, rel=0.01)
    assert 1.0 * quantile(spent, 0.99, np.empty_like(spent)) == pytest.approx(
        percentile_99 * sigma_m_s, rel=0.01
    )
    # nothing errs, so nothing is left
    assert np.abs(miss).max() < 1e-6


def test_misses_of_a_round_delivery() -> None:
    """P(miss < R) = 1 - exp(-R^2 / 2 s^2): 1.177 s -> 0.5, 2 s -> 0.8647 (closed form)."""
    study = without_errors(delivery={"samples": 100_000})
    none = one_correction(0.5)._replace(planned=0)
    miss, spent, _ = fly(none, study, np.array([9.0, 9.0, 0.0]), np.zeros((3, 3)), 0.0)
    b = np.linalg.norm(miss, axis=1)
    assert spent.max() == 0.0
    for radius, chance in ((1.177, 0.5), (2.0, 0.8647)):
        assert (b < 3.0 * radius).mean() == pytest.approx(chance, abs=3.3 * math.sqrt(0.25 / 1e5))


def interval(samples: np.ndarray) -> float:
    """Half width of the 99.9 % interval of a mean, from the samples' own scatter (corrections are not quite normal)."""
    return 3.29 * samples.std() / math.sqrt(len(samples))


@pytest.mark.parametrize("arc_days", [35.0, 120.0, 300.0])
@pytest.mark.parametrize("optical", [False, True])
def test_sampled_delivery_against_linear_covariance(arc_days: float, optical: bool) -> None:
    """TT, RR, TR of 20 000 samples inside their 99.9 % interval, seen from afar or never, fixed errors on all axes."""
    study = make_study(delivery={"samples": 20_000})
    errors = errors_of(study)
    start = np.empty(3)
    burn = np.array([0.03, -0.05, 0.02])
    fill_start(STATE, AXES, burn, ((arc_days + 3.0) * DAY_S, arc_days * DAY_S), errors, start)
    target = np.diag([150.0**2, 100.0**2, 300.0**2])
    target[0, 1] = target[1, 0] = 0.5 * 150.0 * 100.0
    across = np.array([target[0, 0], target[1, 1], target[0, 1]])
    # surely in sight or surely not: where sight is a matter of chance nothing is linear
    sight = 40.0 * DAY_S * SPEED if optical else 0.0
    plan = plan_corrections(
        STATE, AXES, arc_days * DAY_S, sight_s(sight, SPEED, 500.0, 300.0), errors, optical
    )
    assert plan.optical == (2 if optical else 0)
    miss, _, seen = fly(plan, study, start, target, sight)
    linear = linear_covariance(plan, start, across, sight, SPEED, errors)
    assert seen.all() == optical
    products = np.column_stack([miss[:, 0] ** 2, miss[:, 1] ** 2, miss[:, 0] * miss[:, 1]])
    for k in range(3):
        assert abs(products[:, k].mean() - linear[k]) < interval(products[:, k])
    for k in range(2):
        assert abs(miss[:, k].mean()) < interval(miss[:, k])
    # a tenth more on one sigma would be noticed
    assert abs(products[:, 0].mean() - 1.21 * linear[0]) > interval(products[:, 0])


def test_start_by_flown_errors() -> None:
    """Spring, mothership and main burn drawn and flown: the scatter of the miss is the start's covariance."""
    study = make_study()
    errors = errors_of(study)
    burn = np.array([0.03, -0.05, 0.02])
    start = np.empty(3)
    fill_start(STATE, AXES, burn, (103.0 * DAY_S, 100.0 * DAY_S), errors, start)
    rng = np.random.default_rng(5)
    n = 4000
    at_release = moved(STATE, -103.0 * DAY_S)
    u = burn / np.linalg.norm(burn)
    misses = np.empty((n, 2))
    for i in range(n):
        state = at_release.copy()
        state[:3] += rng.normal(size=3) * errors.mothership_km
        state[3:] += rng.normal(size=3) * math.hypot(errors.mothership_km_s, errors.spring_km_s)
        state = moved(state, 3.0 * DAY_S)
        along = rng.normal() * errors.proportional * np.linalg.norm(burn)
        across = rng.normal(size=3) * errors.pointing_rad * np.linalg.norm(burn)
        state[3:] += along * u + across - (across @ u) * u + rng.normal(size=3) * errors.fixed_km_s
        misses[i] = miss_km(state, 100.0 * DAY_S)
    products = np.column_stack([misses[:, 0] ** 2, misses[:, 1] ** 2, misses[:, 0] * misses[:, 1]])
    for k in range(3):
        assert abs(products[:, k].mean() - start[k]) < interval(products[:, k])


def times_of(plan: Corrections) -> list[tuple[float, int]]:
    return [(round(plan.before_s[k] / DAY_S, 3), int(plan.kind[k])) for k in range(plan.planned)]


def test_when_corrections_are_flown() -> None:
    """Seven days after the burn, 60 and 14 days before, in sight of the target and the day before."""
    errors = errors_of(make_study())

    def plan(arc_days: float, seen_days: float) -> list[tuple[float, int]]:
        return times_of(plan_corrections(STATE, AXES, arc_days * DAY_S, seen_days * DAY_S, errors, True))

    # six hours pass from the last image to the burn
    assert plan(200.0, 4.0) == [
        (193.0, AFTER_BURN),
        (60.0, BEFORE_ENCOUNTER),
        (14.0, BEFORE_ENCOUNTER),
        (3.75, IN_SIGHT),
        (1.0, IN_SIGHT),
    ]
    # first seen a little over a day out: one correction is enough
    assert plan(200.0, 1.5)[-2:] == [(14.0, BEFORE_ENCOUNTER), (1.0, IN_SIGHT)]
    assert plan(200.0, 0.75)[-1] == (0.5, IN_SIGHT)
    # 6 h for the ground and 2 h at least: seen 7.9 h out is too late
    assert plan(200.0, 7.9 / 24.0)[-1] == (14.0, BEFORE_ENCOUNTER)
    assert plan(200.0, 8.1 / 24.0)[-1][1] == IN_SIGHT
    # a short arc has no room for the early ones
    assert plan(30.0, 0.0) == [(23.0, AFTER_BURN), (14.0, BEFORE_ENCOUNTER)]
    assert plan(30.0, 100.0) == [
        (29.0, IN_SIGHT),
        (23.0, AFTER_BURN),
        (14.0, BEFORE_ENCOUNTER),
        (1.0, IN_SIGHT),
    ]


def test_sight_leaves_room_for_the_miss() -> None:
    assert sight_s(1e6, 8.0, 0.0, 0.0) == pytest.approx(125_000.0)
    assert sight_s(1e6, 8.0, 2e5, 0.0) == pytest.approx(0.8e6 / 8.0)
    assert sight_s(1e6, 8.0, 0.0, 1e5) == pytest.approx(0.7e6 / 8.0)


def test_a_target_beyond_sight_is_not_corrected_for() -> None:
    """The body's own error is 1e6 km, the camera's range 1e5 km: hardly a sample sees it, the others spend nothing."""
    study = without_errors(delivery={"samples": 20_000, "turnaround_hours": 0.5, "last_min_hours": 0.5})
    sight, sigma = 1e5, 1e6
    plan = plan_corrections(
        STATE, AXES, 200.0 * DAY_S, sight_s(sight, SPEED, sigma, sigma), errors_of(study), True
    )
    assert plan.optical > 0
    target = np.diag([sigma**2] * 3)
    miss, spent, seen = fly(plan, study, np.zeros(3), target, sight)
    assert 0.0 < seen.mean() < 0.01
    assert spent[~seen].max() < 1e-9
    assert np.linalg.norm(miss[seen], axis=1).max() < 100.0 < np.median(np.linalg.norm(miss[~seen], axis=1))


def test_common_random_numbers_follow_the_seed() -> None:
    one, again, other = (normals_of(make_study(study={"seed": seed})) for seed in (1, 1, 2))
    assert np.array_equal(one.start, again.start)
    assert np.array_equal(one.corrections, again.corrections)
    assert not np.array_equal(one.start, other.start)


def test_lengths_of_execution_errors() -> None:
    """The fixed part on three axes: 99 % below 3.368 s, mean 1.5958 s (closed form of |N| in three dimensions)."""
    lengths = np.linalg.norm(
        normals_of(make_study(delivery={"samples": 20_000})).corrections[:, :, 2:5], axis=2
    )
    assert lengths.mean() == pytest.approx(1.5958, rel=0.003)
    assert np.quantile(lengths, 0.99) == pytest.approx(3.368, rel=0.01)


def test_quantile_is_an_element() -> None:
    values = np.random.default_rng(3).normal(size=1001)
    for share in (0.001, 0.5, 0.99, 1.0):
        ordered = np.sort(values)
        assert quantile(values, share, np.empty(1001)) == ordered[max(math.ceil(share * 1001) - 1, 0)]
