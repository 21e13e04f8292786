"""All plans one exchange away from given ones: every place of a plan emptied, filled or filled anew.

With the other probes fixed, science and risk are linear in the outcomes of one more probe, so pricing the
sets of rows once per place makes each of the many exchanges a short sum. The sum ignores that a second
probe at a target shares its class and that the shared failure follows the best probe: it only decides
what is worth an exact evaluation.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.constraints import UNUSED, PlanRules, fits, sort_plan
from swarm.objectives import count_outcomes, evaluate, expected_science, new_counts, shortfall, state_after
from swarm.optimize.archive import Archive, costs_of, merged
from swarm.plan_data import PlanData
from swarm.survival import shared_failure

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Neighbours are noted only where they beat the front by more than rounding.
_TIE = 1e-12


def explore(plans: Ints, front: Floats, data: PlanData, rules: PlanRules, *, room: int) -> tuple[Archive, int]:
    """Return the neighbours of `plans` that a front does not beat, exactly evaluated, and how many were priced.

    Parameters
    ----------
    plans : (n, probes) feasible plans
    front : (f, 3) costs, ordered by propellant
    room  : stop looking after so many finds
    """
    found, priced = _explore(plans, np.ascontiguousarray(front), data, rules, room)
    return merged([Archive(found, costs_of(evaluate(found, data)))]), int(priced)


@njit(cache=True)
def _explore(plans: Ints, front: Floats, data: PlanData, rules: PlanRules, room: int) -> tuple[Ints, int]:
    found = np.empty((room, plans.shape[1]), dtype=np.int64)
    costs = np.empty((room, 3))
    size, priced = 0, 0
    rows, joint = new_counts(data)
    science_price, risk_price = np.empty(data.row_sets.shape[0]), np.empty(data.row_sets.shape[0])
    plan = np.empty(plans.shape[1], dtype=np.int64)
    for i in range(plans.shape[0]):
        for place in range(plans.shape[1]):
            plan[:] = plans[i]
            filled = plan[place] >= 0
            plan[place] = UNUSED
            base = _price(plan, data, rows, joint, science_price, risk_price)
            if filled and not _beaten(base, front, costs, size):
                found[size], costs[size] = plan, base
                size += 1
            for k in range(rules.candidates.size):
                o = rules.candidates[k]
                gain, relief = 0.0, 0.0
                for e in range(data.merged_start[o], data.merged_start[o + 1]):
                    gain += data.merged_chance[e] * science_price[data.merged_set[e]]
                    relief += data.merged_chance[e] * risk_price[data.merged_set[e]]
                priced += 1
                if gain <= 0.0 and relief <= 0.0:
                    continue
                h = data.hardware[o]
                new = (base[0] - h * gain, base[1] + data.propellant_kg[o], base[2] - h * relief)
                if _beaten(new, front, costs, size) or not fits(o, plan, rules):
                    continue
                found[size], costs[size] = plan, new
                found[size, place] = o
                size += 1
                if size == room:
                    break
            if size == room or not filled:
                break  # the unused places are alike
        if size == room:
            break
    for i in range(size):
        sort_plan(found[i], rules.release_jd_tdb)
    return found[:size].copy(), priced


@njit(cache=True)
def _price(
    plan: Ints, data: PlanData, rows: Floats, joint: Floats, science_price: Floats, risk_price: Floats
) -> tuple[float, float, float]:
    """Costs of a plan; fills what one more satisfied set of rows adds to science and takes from risk, (m,)."""
    common = shared_failure(plan, data.hardware, data.shared_fraction)
    count_outcomes(plan, common, data, rows, joint)
    row_price = np.zeros(rows.shape[0])
    for r in range(rows.shape[0]):
        for c in range(min(data.count_cap[r], data.baseline[r])):
            row_price[r] += data.weight[r] / data.baseline[r] * rows[r, c]
    for m in range(science_price.size):
        science_price[m], risk_price[m] = 0.0, 0.0
        for r in range(row_price.size):
            if data.row_sets[m, r]:
                science_price[m] += row_price[r]
        for s in range(joint.size - 1):
            if joint[s] != 0.0 and state_after(s, data.row_sets[m], data) == joint.size - 1:
                risk_price[m] += joint[s]
    kilograms = 0.0
    for i in range(plan.size):
        if plan[i] >= 0:
            kilograms += data.propellant_kg[plan[i]]
    missed = 1.0 if data.risk_row.size > 0 else 0.0
    science = (1.0 - common) * expected_science(rows, data)
    return -science, kilograms, (1.0 - common) * shortfall(joint) + common * missed


@njit(cache=True)
def _beaten(new: tuple[float, float, float], front: Floats, costs: Floats, size: int) -> bool:
    """Whether a row of the front (by propellant) or one of the first `size` finds is at least as good."""
    low, high = 0, front.shape[0]
    while low < high:
        middle = (low + high) // 2
        if front[middle, 1] <= new[1] + _TIE:
            low = middle + 1
        else:
            high = middle
    for k in range(low - 1, -1, -1):
        if front[k, 0] <= new[0] + _TIE and front[k, 2] <= new[2] + _TIE:
            return True
    for k in range(size - 1, -1, -1):
        if costs[k, 0] <= new[0] + _TIE and costs[k, 1] <= new[1] + _TIE and costs[k, 2] <= new[2] + _TIE:
            return True
    return False
