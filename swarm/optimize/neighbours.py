"""All plans one exchange away from given ones: every place of a plan emptied, filled or filled anew.

Every exchange is priced (`swarm.optimize.pricing`); what the front does not beat is evaluated exactly.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.optimize.archive import Archive, costs_of, merged
from swarm.optimize.beating import Rivals, beaten, new_rivals, noted
from swarm.optimize.pricing import fill_prices, new_prices
from swarm.plan.constraints import UNUSED
from swarm.plan.data import PlanData
from swarm.plan.objectives import evaluate
from swarm.plan.rules import PlanRules, fits_as_met, new_met, sort_plan

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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
    size, priced = 0, 0
    known, own = new_rivals(front.shape[0]), new_rivals(room)
    for k in range(front.shape[0]):
        noted((front[k, 0], front[k, 1], front[k, 2]), known, k)
    prices, met = new_prices(data, rules.kinds), new_met()
    plan = np.empty(plans.shape[1], dtype=np.int64)
    for i in range(plans.shape[0]):
        for place in range(plans.shape[1]):
            plan[:] = plans[i]
            filled = plan[place] >= 0
            plan[place] = UNUSED
            science, kilograms, risk, _ = fill_prices(plan, data, rules.kinds, prices)
            base = (-science, kilograms, risk)
            if filled and not _either(base, known, front.shape[0], own, size):
                found[size] = plan
                noted(base, own, size)
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
                if _either(new, known, front.shape[0], own, size):
                    continue
                if not fits_as_met(o, plan, rules, met):
                    continue
                found[size] = plan
                found[size, place] = o
                noted(new, own, size)
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
def _either(new: tuple[float, float, float], known: Rivals, front_size: int, own: Rivals, size: int) -> bool:
    """Whether a row of the front or one of the first `size` finds is at least as good."""
    return beaten(new, known, front_size) or beaten(new, own, size)
