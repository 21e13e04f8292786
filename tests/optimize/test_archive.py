"""The non-dominated memory, and the measures of a front."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swarm.optimize.archive import Archive, merged, thinned
from swarm.optimize.islands import hypervolume

cost = st.tuples(*[st.integers(0, 4).map(float)] * 3)


def archive_of(costs: list[tuple[float, float, float]]) -> Archive:
    return Archive(np.arange(len(costs))[:, None], np.array(costs, dtype=float).reshape(-1, 3))


def plain_front(costs: list[tuple[float, float, float]]) -> set[tuple[float, float, float]]:
    def beaten(b: tuple) -> bool:
        return any(a != b and all(x <= y for x, y in zip(a, b, strict=True)) for a in costs)

    return {c for c in costs if not beaten(c)}


@settings(deadline=None)
@given(costs=st.lists(cost, min_size=1, max_size=40))
def test_keeps_exactly_the_non_dominated_and_each_once(costs: list) -> None:
    kept = [tuple(c) for c in merged([archive_of(costs)]).costs]
    assert len(kept) == len(set(kept))
    assert set(kept) == plain_front(costs)


@settings(deadline=None)
@given(costs=st.lists(cost, min_size=2, max_size=30), cut=st.integers(1, 29))
def test_order_of_the_parts_does_not_matter(costs: list, cut: int) -> None:
    whole = archive_of(costs)
    parts = [Archive(whole.plans[:cut], whole.costs[:cut]), Archive(whole.plans[cut:], whole.costs[cut:])]
    one, other = merged(parts), merged([merged(parts[::-1]), parts[0]])
    assert one.plans.tolist() == other.plans.tolist()
    assert one.costs.tolist() == other.costs.tolist()


def test_differences_of_rounding_do_not_make_new_plans() -> None:
    costs = [(-0.3, 1.0, 0.2), (-0.1 - 0.2, 1.1, 0.2)]  # 0.1 + 0.2 is a little more than 0.3
    assert costs[1][0] < costs[0][0]
    assert merged([archive_of(costs)]).plans.tolist() == [[0]]


def test_thinning_keeps_the_ends() -> None:
    rng = np.random.default_rng(0)
    directions = np.abs(rng.normal(size=(500, 3)))
    front = merged([archive_of(list(directions / np.linalg.norm(directions, axis=1, keepdims=True)))])
    few = thinned(front, 50)
    assert len(few.plans) == 50
    assert few.costs.min(axis=0) == pytest.approx(front.costs.min(axis=0), abs=0)
    assert few.costs.max(axis=0) == pytest.approx(front.costs.max(axis=0), abs=0)
    assert thinned(front, 500) is front


def test_hypervolume_of_the_library_manual() -> None:
    """The library's manual: [[1,0],[.5,.5],[0,1],[1.5,.75]] against (2,2) is 3.25."""
    costs = np.array([[1.0, 0.0], [0.5, 0.5], [0.0, 1.0], [1.5, 0.75]])
    assert hypervolume(costs, np.array([2.0, 2.0])) == pytest.approx(3.25, abs=1e-12)
