"""Local improvement of plans: one probe at a time is given the opportunity that adds most.

With the other probes fixed, science and risk are linear in the outcomes of one more probe, so one pass
over the joint counts prices every set of rows, and each of the many opportunities then costs a short sum.
The price ignores that a second probe at a target shares its class and that the shared failure follows the
best probe; what is accepted is always evaluated exactly.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.constraints import UNUSED, PlanRules, fits, sort_plan
from swarm.objectives import count_outcomes, new_counts, plan_values, state_after
from swarm.plan_data import PlanData
from swarm.survival import shared_failure

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
    rows, joint = new_counts(data)
    price = np.empty(data.row_sets.shape[0])
    for i in range(starts.shape[0]):
        plan = starts[i].copy()
        value = _worth(plan, weights[i], data, rows, joint)
        for _ in range(sweeps):
            changed = False
            for place in range(probes):
                before = plan[place]
                plan[place] = UNUSED
                _price_row_sets(plan, weights[i], data, rows, joint, price)
                plan[place] = _best_addition(plan, weights[i], data, rules, price)
                if plan[place] == before:
                    if before == UNUSED:
                        break  # nothing is worth adding; sorting keeps the unused places last
                    continue
                worth = _worth(plan, weights[i], data, rows, joint)
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
def _worth(plan: Ints, weights: Floats, data: PlanData, rows: Floats, joint: Floats) -> float:
    science, propellant_kg, risk = plan_values(plan, data, rows, joint)
    common = shared_failure(plan, data.hardware, data.shared_fraction)
    worth = weights[SCIENCE] * science - weights[KILOGRAM] * propellant_kg - weights[RISK] * risk
    return worth + weights[COVERAGE] * (1.0 - common) * _coverage(rows, data)


@njit(cache=True)
def _coverage(rows: Floats, data: PlanData) -> float:
    """Mean over the rows with a threshold of E[min(N, threshold)] / threshold."""
    total = 0.0
    for k in range(data.risk_row.size):
        r = data.risk_row[k]
        for c in range(1, data.count_cap[r] + 1):
            total += min(c, data.threshold[r]) * rows[r, c] / data.threshold[r]
    return total / max(data.risk_row.size, 1)


@njit(cache=True)
def _price_row_sets(
    plan: Ints, weights: Floats, data: PlanData, rows: Floats, joint: Floats, price: Floats
) -> None:
    """Fill what one more satisfied set of rows is worth to `plan`, per unit of its chance, (m,)."""
    common = shared_failure(plan, data.hardware, data.shared_fraction)
    count_outcomes(plan, common, data, rows, joint)
    row_price = np.zeros(rows.shape[0])
    for r in range(rows.shape[0]):
        below_baseline, below_threshold = 0.0, 0.0
        for c in range(data.count_cap[r]):
            if c < data.baseline[r]:
                below_baseline += rows[r, c]
            if c < data.threshold[r]:
                below_threshold += rows[r, c]
        row_price[r] = weights[SCIENCE] * data.weight[r] / data.baseline[r] * below_baseline
        if data.threshold[r] > 0:
            row_price[r] += weights[COVERAGE] * below_threshold / (data.threshold[r] * data.risk_row.size)
    for m in range(price.size):
        price[m] = 0.0
        for r in range(row_price.size):
            if data.row_sets[m, r]:
                price[m] += row_price[r]
        for s in range(joint.size - 1):
            if joint[s] != 0.0 and state_after(s, data.row_sets[m], data) == joint.size - 1:
                price[m] += weights[RISK] * joint[s]


@njit(cache=True)
def _best_addition(plan: Ints, weights: Floats, data: PlanData, rules: PlanRules, price: Floats) -> int:
    """The opportunity that fits and is worth most, or UNUSED if none is worth its propellant."""
    best, most = UNUSED, 0.0
    for k in range(rules.candidates.size):
        o = rules.candidates[k]
        worth = 0.0
        for e in range(data.merged_start[o], data.merged_start[o + 1]):
            worth += data.merged_chance[e] * price[data.merged_set[e]]
        worth = data.hardware[o] * worth - weights[KILOGRAM] * data.propellant_kg[o]
        if worth > most and fits(o, plan, rules):
            best, most = o, worth
    return best
