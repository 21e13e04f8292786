"""Bodies side by side: each as it would be alone, and as the plain march (tests/helpers/plain_march.py) moves it.

The march itself is held against outside integrators in `test_against_assist.py` and `test_against_horizons.py`.
"""

from __future__ import annotations

import numpy as np
import pytest

from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2, JULIAN_YEAR_S
from targets.ephemeris.planets import sample_planets
from targets.motion.lanes import LANES, _drift_all, _per_root, drift_lanes
from targets.motion.perturbed import DEFAULT_STEP_S, march
from targets.motion.twobody import drift_states
from tests.helpers.invented_bodies import START_TDB_S, belt, near_earth
from tests.helpers.plain_march import plain_march

YEARS = 4.0


@pytest.fixture(scope="module")
def planets():
    return sample_planets(START_TDB_S - JULIAN_YEAR_S, START_TDB_S + (YEARS + 1.0) * JULIAN_YEAR_S)


def conics(seed: int) -> np.ndarray:
    """(LANES, 6): circles, long ellipses, parabolas nearly, hyperbolas, anywhere on their way from 0.2 to 6 au."""
    rng = np.random.default_rng(seed)
    places = rng.normal(size=(LANES, 3))
    places *= AU_KM * 10.0 ** rng.uniform(-0.7, 0.8, (LANES, 1)) / np.linalg.norm(places, axis=1)[:, None]
    ways = rng.normal(size=(LANES, 3))
    circular = np.sqrt(GM_SUN_KM3_S2 / np.linalg.norm(places, axis=1))
    speeds = circular * np.where(
        rng.random(LANES) < 0.1,
        np.sqrt(2.0 * (1.0 + rng.normal(size=LANES) * 1e-4)),
        rng.uniform(0.3, 1.6, LANES),
    )
    return np.hstack([places, ways * (speeds / np.linalg.norm(ways, axis=1))[:, None]])


def test_the_drift_of_every_conic_is_that_of_one_body_alone() -> None:
    """Steps of up to 50 days either way: to 1e-11, whether a body settles side by side or not.

    The middle to rounding; falls nearly straight to the Sun multiply rounding by some thousand.
    """
    settled = 0
    for seed in range(40):
        states, dts = conics(seed), np.random.default_rng(seed).uniform(-50.0, 50.0, LANES) * DAY_S
        places, ways = drift_states(states[:, :3], states[:, 3:], dts)
        lanes, unsettled = np.ascontiguousarray(states.T), np.zeros(LANES)
        drift_lanes(lanes, dts, unsettled)
        size = np.maximum(np.linalg.norm(places, axis=1), np.linalg.norm(states[:, :3], axis=1))
        off = np.linalg.norm(lanes[:3].T - places, axis=1) / size
        assert off.max() < 1e-11
        assert np.median(off) < 1e-15
        assert (np.linalg.norm(lanes[3:].T - ways, axis=1) / np.linalg.norm(ways, axis=1)).max() < 1e-11
        settled += int((unsettled == 0.0).sum())
    # both ways are gone
    assert 0.3 < settled / (40 * LANES) < 0.95


def test_belt_steps_settle_side_by_side() -> None:
    """Else the march would be right, and slow: a belt body never needs to be moved alone."""
    for states in np.split(belt(10 * LANES, 5), 10):
        unsettled = np.ones(LANES)
        _drift_all(np.ascontiguousarray(states.T), np.full(LANES, DEFAULT_STEP_S), unsettled)
        assert unsettled.sum() == 0.0


def test_root_of_any_distance() -> None:
    x = 10.0 ** np.random.default_rng(1).uniform(-25.0, 25.0, 20_000)
    assert np.abs(np.array([_per_root(value) for value in x]) * np.sqrt(x) - 1.0).max() < 1e-15


def test_a_body_hangs_on_nothing_beside_it(planets) -> None:
    """In another order, among others, alone: the same bytes; a row that cannot be moved spoils no other."""
    bodies = np.vstack([belt(100, 31), near_earth(101, 32)])
    end = START_TDB_S + YEARS * JULIAN_YEAR_S
    together = march(bodies, START_TDB_S, end, planets=planets)
    order = np.random.default_rng(33).permutation(len(bodies))
    broken = np.vstack([np.full((1, 6), np.nan), bodies[order]])
    among = march(broken, START_TDB_S, end, planets=planets)
    assert np.isnan(among[0][0]).all()
    for part in range(2):
        assert among[part][1:].tobytes() == together[part][order].tobytes()
    for k in (0, 57, 120, 163, 200):
        alone = march(bodies[k : k + 1], START_TDB_S, end, planets=planets)
        for part in range(2):
            assert alone[part].tobytes() == together[part][k : k + 1].tobytes()


@pytest.mark.parametrize("years", [YEARS, -1.0])
def test_what_the_lanes_change_is_rounding(planets, years: float) -> None:
    """A millionth of the map's own error (hundreds of km); its moments, and so the drift allowance, to 1e-9.

    Seen in four years: median 3e-6 km, 99 % within 3e-5, worst 7e-5 of 6 400 near-Earth bodies.
    """
    bodies = np.vstack([belt(2000, 34), near_earth(1000, 35)])
    end = START_TDB_S + years * JULIAN_YEAR_S
    moved, moments = march(bodies, START_TDB_S, end, planets=planets)
    plain, plain_moments = plain_march(bodies, START_TDB_S, end, planets=planets, step_s=DEFAULT_STEP_S)
    off = np.linalg.norm(moved[:, :3] - plain[:, :3], axis=1)
    assert np.median(off) < 1e-5
    assert np.percentile(off, 99) < 1e-3
    # a step may be shortened at another instant; then the two differ as two steps of the map do
    assert off.max() < 10.0
    assert np.percentile(np.abs(moments / plain_moments - 1.0), 99) < 1e-9
