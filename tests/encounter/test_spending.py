"""The spending limit of corrections in sight against a search through all limits."""

from __future__ import annotations

import numpy as np
import pytest

from swarm.encounter.spending import spending_limit


def chances(
    in_sight: np.ndarray, ground: np.ndarray, price: np.ndarray, spent: np.ndarray, budget: float
) -> np.ndarray:
    """What the rule comes to within a budget: samples over the limit fly without, if they can pay for that."""
    flown = price <= spending_limit(in_sight, ground, price, budget)
    return np.where(flown[:, None], in_sight, ground * (spent <= budget)[:, None]).mean(axis=0)


@pytest.mark.parametrize("seed", range(20))
def test_no_chance_falls_whatever_the_samples(seed: int) -> None:
    """Worths drawn without any sense: with corrections in sight better at one quality, worse at another."""
    rng = np.random.default_rng(seed)
    n, q = 200, 3
    in_sight, ground = ((rng.uniform(size=(n, q)) < rng.uniform(0.2, 0.8, q)).astype(float) for _ in range(2))
    spent = rng.uniform(0.0, 1.0, n).round(2)
    price = np.maximum(spent, rng.uniform(0.0, 2.0, n).round(2))
    before = np.zeros(q)
    for budget in np.linspace(0.0, 2.1, 60):
        now = chances(in_sight, ground, price, spent, budget)
        assert (now >= before - 1e-12).all()
        before = now


def test_where_seeing_always_helps_all_that_can_pay_do() -> None:
    price = np.array([0.5, 0.1, 0.9, 0.3])
    better, worse = np.ones((4, 2)), np.zeros((4, 2))
    assert [spending_limit(better, worse, price, budget) for budget in (0.05, 0.2, 0.5, 9.0)] == [
        -1.0,
        0.1,
        0.5,
        0.9,
    ]
    assert spending_limit(worse, better, price, 9.0) == -1.0


def test_samples_of_one_price_fly_alike() -> None:
    """Two of three samples at one price gain by it and one loses: the sum over the three counts."""
    price = np.array([0.4, 0.4, 0.4])
    in_sight, ground = np.array([[1.0], [1.0], [0.0]]), np.array([[0.0], [0.0], [1.0]])
    assert spending_limit(in_sight, ground, price, 1.0) == 0.4
    assert spending_limit(ground, in_sight, price, 1.0) == -1.0


def test_where_no_quality_changes_they_are_flown() -> None:
    """A policy chosen for its expected quality, at equal chances, is flown by all that can pay."""
    price = np.array([0.5, 0.1])
    assert spending_limit(np.ones((2, 1)), np.ones((2, 1)), price, 0.2) == 0.1
    assert spending_limit(np.ones((2, 1)), np.ones((2, 1)), price, 9.0) == 0.5
