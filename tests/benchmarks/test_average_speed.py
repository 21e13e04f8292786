"""The quality averaged over a delivery, all points in one loop, beside point by point. Asserts no time."""

from __future__ import annotations

import numpy as np
import pytest
from numba import njit

from swarm.encounter.aim import _view_of, best_aim, keepout_km
from swarm.encounter.averaging import EXACT, ROUGH, average_at, axes_of, new_work
from tests.benchmarks.report import best_of, print_table
from tests.encounter.test_aim import case
from tests.helpers.plain_average import plain_average

pytestmark = pytest.mark.benchmark
ROUNDS = 400


@njit
def _in_one_loop(x, y, axes, view, effort, work):
    total = 0.0
    for k in range(ROUNDS):
        total += average_at(x * (1.0 + 1e-4 * k), y, axes, view, effort, work)
    return total


@njit
def _point_by_point(x, y, axes, view, effort, work):
    total = 0.0
    for k in range(ROUNDS):
        total += plain_average(x * (1.0 + 1e-4 * k), y, axes, view, effort, work)
    return total


def test_average_speed() -> None:
    """Averages about the best aim points of 40 made encounters, both ways one after the other for each."""
    work, plain_work, rows = new_work(), np.empty((4, EXACT[1])), []
    cases = [
        made for made in map(case, range(50)) if keepout_km(made[0]) < 0.5 * made[0].diameter_km / 2.5e-4
    ][:40]
    for name, effort in (("rough", ROUGH), ("exact", EXACT)):
        fast = plain = 0.0
        for optics, cov, sun, along in cases:
            x, y, _ = best_aim(cov, sun, optics, along)
            axes, view = axes_of(cov), _view_of(sun, optics, along)
            fast += best_of(lambda: _in_one_loop(x, y, axes, view, effort, work), 3)  # noqa: B023
            plain += best_of(lambda: _point_by_point(x, y, axes, view, effort, plain_work), 3)  # noqa: B023
        each = 1e6 / (len(cases) * ROUNDS)
        rows.append((f"{name}, point by point", f"{each * plain:.2f} us", "1"))
        rows.append((f"{name}, in one loop", f"{each * fast:.2f} us", f"{plain / fast:.2f}"))
    print_table("an average over a delivery", rows)
