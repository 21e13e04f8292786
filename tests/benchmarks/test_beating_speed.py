"""How long it takes to ask whether a plan is beaten, beside looking at one row after the other. Asserts no time."""

import numpy as np
import pytest
from numba import njit

from swarm.optimize.beating import beater, beats, costs_at, new_rivals, noted
from tests.benchmarks.report import best_of, print_table

pytestmark = pytest.mark.benchmark


@njit
def _in_blocks(front, asked):
    rivals, count, last = new_rivals(front.shape[0]), 0, (np.inf, np.inf, np.inf)
    for k in range(front.shape[0]):
        noted((front[k, 0], front[k, 1], front[k, 2]), rivals, k)
    for k in range(asked.shape[0]):
        new = (asked[k, 0], asked[k, 1], asked[k, 2])
        if not beats(last, new):
            row = beater(new, rivals, front.shape[0])
            if row < 0:
                continue
            last = costs_at(rivals, row)
        count += 1
    return count


@njit
def _row_by_row(front, asked):
    count = 0
    for k in range(asked.shape[0]):
        a, b, c = asked[k, 0] + 1e-12, asked[k, 1] + 1e-12, asked[k, 2] + 1e-12
        for row in range(front.shape[0] - 1, -1, -1):
            if front[row, 1] <= b and front[row, 0] <= a and front[row, 2] <= c:
                count += 1
                break
    return count


def test_neighbours_held_against_a_front():
    """A front of 400 on a sphere, by propellant; runs of neighbours just above it."""
    rng = np.random.default_rng(1)
    front = np.abs(rng.standard_normal((400, 3)))
    front = 1.0 - front / np.linalg.norm(front, axis=1)[:, None]
    front = np.ascontiguousarray(front[np.argsort(front[:, 1])])
    near = np.repeat(front[rng.integers(0, 400, 500)], 400, axis=0)
    asked = near + 0.05 * rng.standard_normal(near.shape) + 0.02
    assert _in_blocks(front, asked) == _row_by_row(front, asked)
    plain, blocks = (
        best_of(lambda: _row_by_row(front, asked), 3),
        best_of(lambda: _in_blocks(front, asked), 3),
    )
    rows = [
        ("row by row", f"{1e9 * plain / len(asked):.0f} ns", "1"),
        ("in blocks", f"{1e9 * blocks / len(asked):.0f} ns", f"{plain / blocks:.1f}"),
    ]
    print_table("a plan held against 400", rows)
