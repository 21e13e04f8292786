"""All plans one exchange away from given ones: every place of a plan emptied, filled or filled anew.

Every exchange is priced (`swarm.optimize.pricing`); what the front does not beat is evaluated exactly.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.optimize.archive import Archive, costs_of, merged
from swarm.optimize.pricing import fill_prices, new_prices
from swarm.plan.constraints import UNUSED
from swarm.plan.data import PlanData
from swarm.plan.objectives import evaluate
from swarm.plan.rules import PlanRules, fits, sort_plan

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Neighbours are noted only where they beat the front by more than rounding.
_TIE = 1e-12


def explore(
    plans: Ints, front: Floats, data: PlanData, rules: PlanRules, *, room: int
) -> tuple[Archive, int]:
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
    prices = new_prices(data, rules.kinds)
    plan = np.empty(plans.shape[1], dtype=np.int64)
    for i in range(plans.shape[0]):
        for place in range(plans.shape[1]):
            plan[:] = plans[i]
            filled = plan[place] >= 0
            plan[place] = UNUSED
            science, kilograms, risk, _ = fill_prices(plan, data, rules.kinds, prices)
            base = (-science, kilograms, risk)
            if filled and not _beaten(base, front, costs, size):
                found[size] = plan
                costs[size, 0], costs[size, 1], costs[size, 2] = base
                size += 1
            for k in range(rules.candidates.size):
                o = rules.candidates[k]
                gain, relief = 0.0, 0.0
                for e in range(data.merged_start[o], data.merged_start[o + 1]):
                    gain += data.merged_chance[e] * prices.science[rules.kind[o], data.merged_set[e]]
                    relief += data.merged_chance[e] * prices.risk[rules.kind[o], data.merged_set[e]]
                priced += 1
                if gain <= 0.0 and relief <= 0.0:
                    continue
                h = data.hardware[o]
                new = (base[0] - h * gain, base[1] + data.propellant_kg[o], base[2] - h * relief)
                if _beaten(new, front, costs, size) or not fits(o, plan, rules):
                    continue
                found[size] = plan
                costs[size, 0], costs[size, 1], costs[size, 2] = new
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
