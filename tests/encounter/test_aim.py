"""The aim point against a fine grid, against sampled deliveries, and against what it must be in simple cases."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numba import njit

from swarm.encounter.aim import (
    EXACT,
    _axes_of,
    _view_of,
    average_at,
    best_aim,
    expected_quality,
    nearest_km,
    value_at,
)
from swarm.encounter.quality import Optics

TRACKED = (0.0, 0.0)


def case(seed: int) -> tuple[Optics, np.ndarray, tuple[float, float], tuple[float, float]]:
    """A body of 0.1-20 km, a pass of 2-15 km/s, a delivery from 1 to 3000 km, round to thin, Sun anywhere."""
    rng = np.random.default_rng(seed)
    optics = Optics(
        rng.uniform(2.0, 15.0), 10.0 ** rng.uniform(-1.0, 1.3), 25e-6, 2048.0, math.radians(2.0), 50.0,
        7e-5 * rng.uniform(1.0, 9.0), 20.0,
    )  # fmt: skip
    long = 10.0 ** rng.uniform(0.0, 3.5)
    thin = long * 10.0 ** rng.uniform(-1.5, 0.0)
    a = rng.uniform(0.0, math.pi)
    c, s = math.cos(a), math.sin(a)
    cov = np.array(
        [c * c * long**2 + s * s * thin**2, s * s * long**2 + c * c * thin**2, c * s * (long**2 - thin**2)]
    )
    phase, clock = math.radians(rng.uniform(0.0, 180.0)), rng.uniform(0.0, 2.0 * math.pi)
    sun = (math.sin(phase) * math.cos(clock), math.sin(phase) * math.sin(clock))
    along = TRACKED if seed % 3 else (10.0 ** rng.uniform(0.0, 3.0), 0.0256)
    return optics, cov, sun, along


@njit
def most_of_a_grid(
    cov: np.ndarray, sun: tuple, optics: Optics, along: tuple, clocks: int, distances: int
) -> float:
    """Most averaged quality of a grid: clock angles, distances from 0.5 % to 150 % of the reach, keep-out left out."""
    axes, view, work = _axes_of(cov), _view_of(sun, optics, along), np.empty((4, EXACT[1]))
    most = 0.0
    for i in range(clocks):
        a = 2.0 * math.pi * i / clocks
        for j in range(distances):
            b = 0.005 * 300.0 ** (j / (distances - 1.0)) * view[1]
            if b >= optics.keepout_km + 0.5 * optics.diameter_km:
                most = max(most, average_at(b * math.cos(a), b * math.sin(a), axes, view, EXACT, work))
    return most


@pytest.mark.parametrize("first", range(0, 200, 20))
def test_no_point_of_a_fine_grid_is_better(first: int) -> None:
    """60 clock angles, 50 distances; the search ends with steps of 1e-3, on a hill curved as 1 that is 1e-6."""
    for seed in range(first, first + 20):
        optics, cov, sun, along = case(seed)
        x, y, best = best_aim(cov, sun, optics, along)
        assert best >= most_of_a_grid(cov, sun, optics, along, 60, 50) * (1.0 - 1e-5), seed
        again = expected_quality(x, y, cov_km2=cov, sun=sun, optics=optics, along=along)
        assert best == pytest.approx(again, rel=1e-12)


@pytest.mark.parametrize("seed", range(40))
def test_the_average_against_samples(seed: int) -> None:
    """40 000 sampled arrivals: within 1 % of the value or the 99.9 % interval of the sampled mean."""
    optics, cov, sun, along = case(seed)
    x, y, best = best_aim(cov, sun, optics, along)
    root = np.linalg.cholesky([[cov[0], cov[2]], [cov[2], cov[1]]])
    arrivals = np.random.default_rng(1).normal(size=(40_000, 2)) @ root.T + [x, y]
    values = np.array([value_at(*arrival, sun, optics, along) for arrival in arrivals])
    assert best == pytest.approx(values.mean(), abs=0.01 * values.mean() + 3.29 * values.std() / 200.0)


def test_no_probe_is_aimed_into_the_keep_out_distance() -> None:
    """Deliveries so wide that the middle would be the best place to aim at are aimed beside the keep-out sphere."""
    optics = Optics(8.0, 1.0, 25e-6, 2048.0, math.radians(2.0), 500.0, 7e-5, 20.0)
    for sigma in (1000.0, 3000.0, 10_000.0):
        x, y, best = best_aim(np.array([sigma**2, sigma**2, 0.0]), (0.8, 0.0), optics, TRACKED)
        assert 500.5 <= math.hypot(x, y) < 1000.0
        assert best > 0.0


def test_perfect_delivery_reaches_the_best_pass() -> None:
    """Seen side-on at 8 km/s, 5 km: every pass from the slew limit to 100 pixels, well lit, is perfect."""
    optics = Optics(8.0, 5.0, 25e-6, 2048.0, math.radians(2.0), 50.0, 7e-5, 20.0)
    x, y, best = best_aim(np.zeros(3), (0.6, 0.0), optics, TRACKED)
    assert best == 1.0
    assert 8.0 / math.radians(2.0) - 1.0 < math.hypot(x, y) < 2000.0


def test_the_side_is_the_sun_s() -> None:
    """Approach phase 135: from 45 to 90 deg on the Sun's half of the plane, which is aimed at, whatever the clock."""
    optics = Optics(8.0, 1.0, 25e-6, 2048.0, math.radians(2.0), 50.0, 7e-5, 20.0)
    for clock in np.linspace(0.0, 6.0, 7):
        sun = math.sin(math.radians(135.0)) * np.array([math.cos(clock), math.sin(clock)])
        x, y, _ = best_aim(np.array([1e4, 1e4, 0.0]), (sun[0], sun[1]), optics, TRACKED)
        assert (x * sun[0] + y * sun[1]) / math.hypot(x, y) / np.linalg.norm(sun) > 0.3


def test_a_wider_delivery_aims_farther_and_gets_less() -> None:
    """A kilometre-size body: the aim point backs off from the slew limit as the delivery widens."""
    optics = Optics(8.0, 1.0, 25e-6, 2048.0, math.radians(2.0), 50.0, 7e-5, 20.0)
    found = [best_aim(np.array([s * s, s * s, 0.0]), (0.8, 0.0), optics, TRACKED) for s in (1.0, 30.0, 100.0)]
    distance = [math.hypot(x, y) for x, y, _ in found]
    assert distance[0] < distance[1] < distance[2]
    assert 1.0 >= found[0][2] >= found[1][2] > found[2][2] > 0.1


def test_a_body_that_is_never_large_enough_has_no_aim_point() -> None:
    """50 m at 8 km/s: ten pixels need 200 km, the slew limit starts to let through at 183; 20 m never make it."""
    optics = Optics(8.0, 0.02, 25e-6, 2048.0, math.radians(2.0), 50.0, 7e-5, 20.0)
    assert nearest_km(optics) == pytest.approx(183.3, abs=0.1)
    assert best_aim(np.array([1e4, 1e4, 0.0]), (0.8, 0.0), optics, TRACKED) == (0.0, 0.0, 0.0)
    assert best_aim(np.zeros(3), (0.8, 0.0), optics._replace(diameter_km=0.05), TRACKED)[2] > 0.0


def test_an_untracked_pass_is_aimed_farther_away() -> None:
    """By the clock the angle of a time error falls with distance: 20 km along move the aim point outwards."""
    optics = Optics(8.0, 5.0, 25e-6, 2048.0, math.radians(2.0), 50.0, 7e-5, 20.0)
    cov = np.array([25.0, 25.0, 0.0])
    tracked, timed = (best_aim(cov, (0.8, 0.0), optics, along) for along in (TRACKED, (20.0, 0.0256)))
    assert math.hypot(*timed[:2]) > math.hypot(*tracked[:2])
    assert timed[2] < tracked[2]
