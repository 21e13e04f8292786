"""Plans to start from, built greedily and improved."""

from __future__ import annotations

import itertools

import numpy as np

from swarm.optimize.archive import Archive, costs_of, merged
from swarm.optimize.exchange import COVERAGE, KILOGRAM, RISK, SCIENCE, improve
from swarm.optimize.problem import full_load_kg
from swarm.plan.constraints import UNUSED
from swarm.plan.data import PlanData
from swarm.plan.objectives import evaluate
from swarm.plan.rules import PlanRules

_SWEEPS = 3


def seed_plans(data: PlanData, rules: PlanRules) -> Archive:
    """Good plans to start from: built greedily and improved, for a grid of prices of propellant and risk."""
    prices = np.concatenate([[0.0], np.logspace(-2.0, 1.0, 12)]) / full_load_kg(data)
    leanings = ((1.0, 0.0, 0.0), (1.0, 0.1, 1.0), (1.0, 1.0, 10.0), (0.0, 1.0, 10.0))
    weights = np.zeros((len(prices) * len(leanings), 4))
    for k, ((science, coverage, risk), price) in enumerate(itertools.product(leanings, prices)):
        weights[k, [SCIENCE, COVERAGE, KILOGRAM, RISK]] = science, coverage, price, risk
    empty = np.full((len(weights), data.probes), UNUSED, dtype=np.int64)
    visited = improve(empty, weights, data, rules, _SWEEPS)
    plans = np.concatenate([empty[:1], visited])
    return merged([Archive(plans, costs_of(evaluate(plans, data)))])
