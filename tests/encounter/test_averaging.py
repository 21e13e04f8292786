"""The average over a delivery, all points in one loop, against the plain one, the quality and the library."""

from __future__ import annotations

import math

import numpy as np
import pytest

from swarm.encounter.aim import _view_of, keepout_km
from swarm.encounter.averaging import (
    EXACT,
    ROUGH,
    _bell,
    _small_arc_sine,
    _stretch,
    average_at,
    axes_of,
    new_work,
    side_of,
)
from swarm.encounter.quality import side_at
from tests.encounter.test_aim import case
from tests.helpers.plain_average import plain_average


def test_the_side_is_scored_as_the_quality_scores_it() -> None:
    """Everywhere, shoulders included; a full score is exactly one."""
    cosines = np.concatenate([np.linspace(-1.0, 1.0, 20_001), [1.0 + 1e-15, -1.0 - 1e-15]])
    assert max(abs(side_of(c) - side_at(c)) for c in cosines) < 1e-14
    assert side_of(math.cos(math.radians(60.0))) == 1.0


def test_series_against_the_library() -> None:
    squares, small, any_size = (
        np.linspace(0.0, 9.0, 5001),
        np.linspace(-0.1, 0.1, 5001),
        np.linspace(-9.0, 9.0, 5001),
    )
    assert max(abs(_bell(s) / math.exp(-0.5 * s) - 1.0) for s in squares) < 4e-15
    assert max(abs(_small_arc_sine(x) - math.asin(x)) for x in small) < 1e-16
    assert max(abs(_stretch(math.sinh(x)) - x) for x in any_size) < 4e-15


@pytest.mark.parametrize("effort", [ROUGH, EXACT], ids=["rough", "exact"])
def test_the_average_is_the_plain_one(effort: tuple[int, int, float]) -> None:
    """500 deliveries from a point to far wider than the ring that counts, aimed anywhere: to 1e-13."""
    work, plain_work, above = new_work(), np.empty((4, EXACT[1])), 0
    for seed in range(500):
        optics, cov, sun, along = case(seed)
        view = _view_of(sun, optics, along)
        if keepout_km(optics) >= view[1]:
            continue
        rng = np.random.default_rng(seed)
        b, clock = view[1] * rng.uniform(0.02, 1.2), rng.uniform(0.0, 2.0 * math.pi)
        x, y = b * math.cos(clock), b * math.sin(clock)
        for covariance in (cov, np.zeros(3), np.array([cov[0], 0.0, 0.0])):
            axes = axes_of(covariance)
            mean = average_at(x, y, axes, view, effort, work)
            assert mean == pytest.approx(plain_average(x, y, axes, view, effort, plain_work), abs=1e-13)
            above += mean > 0.01
    assert above > 500
