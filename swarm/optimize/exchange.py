"""Local improvement of plans: one probe at a time is given the opportunity that adds most.

What to try is found by `swarm.optimize.pricing`; what is accepted is always evaluated exactly.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.optimize.pricing import Prices, fill_prices, new_prices
from swarm.plan.constraints import UNUSED
from swarm.plan.data import PlanData
from swarm.plan.rules import PlanRules, fits, sort_plan

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Places in a vector of weights: science, coverage (expected share of the thresholds met, which leads
# towards low risk where risk itself is still flat), kilograms of propellant, risk.
SCIENCE, COVERAGE, KILOGRAM, RISK = 0, 1, 2, 3
_GAIN_MIN = 1e-12


@njit(cache=True)
def improve(starts: Ints, weights: Floats, data: PlanData, rules: PlanRules, sweeps: int) -> Ints:
    """Improve each start for its own weights and return every plan that was accepted on the way, (m, probes).

    starts : (n, probes) feasible plans;  weights : (n, 4);  sweeps : most passes over the places of a plan
    """
    probes = starts.shape[1]
    visited = np.empty((starts.shape[0] * sweeps * probes, probes), dtype=np.int64)
    size = 0
    prices = new_prices(data, rules.kinds)
    for i in range(starts.shape[0]):
        plan = starts[i].copy()
        value = _worth(plan, weights[i], data, rules, prices)
        for _ in range(sweeps):
            changed = False
            for place in range(probes):
                before = plan[place]
                plan[place] = UNUSED
                fill_prices(plan, data, rules.kinds, prices)
                plan[place] = _best_addition(plan, weights[i], data, rules, prices)
                if plan[place] == before:
                    if before == UNUSED:
                        break  # nothing is worth adding; sorting keeps the unused places last
                    continue
                worth = _worth(plan, weights[i], data, rules, prices)
                if worth <= value + _GAIN_MIN:
                    plan[place] = before
                    continue
                value = worth
                changed = True
                visited[size] = plan
                size += 1
            sort_plan(plan, rules.release_jd_tdb)
            if not changed:
                break
    for i in range(size):
        sort_plan(visited[i], rules.release_jd_tdb)
    return visited[:size].copy()


@njit(cache=True)
def _worth(plan: Ints, weights: Floats, data: PlanData, rules: PlanRules, prices: Prices) -> float:
    science, kilograms, risk, coverage = fill_prices(plan, data, rules.kinds, prices)
    worth = weights[SCIENCE] * science + weights[COVERAGE] * coverage
    return worth - weights[KILOGRAM] * kilograms - weights[RISK] * risk


@njit(cache=True)
def _best_addition(plan: Ints, weights: Floats, data: PlanData, rules: PlanRules, prices: Prices) -> int:
    """The opportunity that fits and is worth most, or UNUSED if none is worth its propellant."""
    price = (
        weights[SCIENCE] * prices.science + weights[COVERAGE] * prices.coverage + weights[RISK] * prices.risk
    )
    best, most = UNUSED, 0.0
    for k in range(rules.candidates.size):
        o = rules.candidates[k]
        worth = 0.0
        for e in range(data.merged_start[o], data.merged_start[o + 1]):
            worth += data.merged_chance[e] * price[rules.kind[o], data.merged_set[e]]
        worth = data.hardware[o] * worth - weights[KILOGRAM] * data.propellant_kg[o]
        if worth > most and fits(o, plan, rules):
            best, most = o, worth
    return best
