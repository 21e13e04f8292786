"""All plans one exchange away from given ones: every place of a plan emptied, filled or filled anew.

Every exchange is priced (`swarm.optimize.pricing`); what the front does not beat is evaluated exactly.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.optimize.archive import Archive, costs_of, merged
from swarm.optimize.beating import Costs, Rivals, beater, beats, costs_at, new_rivals, noted
from swarm.optimize.pricing import Prices, fill_prices, new_prices
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


class _Search(NamedTuple):
    """What plans are held against, and what is found: plans (room, probes) with their costs."""

    known: Rivals
    found: Ints
    costs: Rivals
    prices: Prices
    met: Ints


@njit(cache=True)
def _explore(plans: Ints, front: Floats, data: PlanData, rules: PlanRules, room: int) -> tuple[Ints, int]:
    found = np.empty((room, plans.shape[1]), dtype=np.int64)
    known, costs = new_rivals(front.shape[0]), new_rivals(room)
    for k in range(front.shape[0]):
        noted((front[k, 0], front[k, 1], front[k, 2]), known, k)
    search = _Search(known, found, costs, new_prices(data, rules.kinds), new_met())
    plan = np.empty(plans.shape[1], dtype=np.int64)
    size, priced = 0, 0
    for i in range(plans.shape[0]):
        for place in range(plans.shape[1]):
            plan[:] = plans[i]
            filled = plan[place] >= 0
            plan[place] = UNUSED
            science, kilograms, risk, _ = fill_prices(plan, data, rules.kinds, search.prices)
            base = (-science, kilograms, risk)
            if filled and beater(base, known, front.shape[0]) < 0 and beater(base, costs, size) < 0:
                found[size] = plan
                noted(base, costs, size)
                size += 1
            if size < room:
                size, tried = _fill_place(plan, place, base, data, rules, search, size)
                priced += tried
            if size == room or not filled:
                break  # the unused places are alike
        if size == room:
            break
    for i in range(size):
        sort_plan(found[i], rules.release_jd_tdb)
    return found[:size].copy(), priced


@njit(cache=True)
def _fill_place(
    plan: Ints, place: int, base: Costs, data: PlanData, rules: PlanRules, search: _Search, size: int
) -> tuple[int, int]:
    """Fill a place of `plan` in every way, note what nothing beats; also how many ways were priced.

    What rules most of them out comes first: what beat the one before, a release too near to one of the plan's or a
    target that is taken, then all that is known. The order changes no answer.
    """
    known, found, costs, prices = search.known, search.found, search.costs, search.prices
    releases, full = _releases(plan, rules), _full_targets(plan, rules)
    last = (np.inf, np.inf, np.inf)
    for k in range(rules.candidates.size):
        o = rules.candidates[k]
        gain, relief = 0.0, 0.0
        for e in range(data.merged_start[o], data.merged_start[o + 1]):
            gain += data.merged_chance[e] * prices.science[rules.kind[o], data.merged_set[e]]
            relief += data.merged_chance[e] * prices.risk[rules.kind[o], data.merged_set[e]]
        if gain <= 0.0 and relief <= 0.0:
            continue
        h = data.hardware[o]
        new = (base[0] - h * gain, base[1] + data.propellant_kg[o], base[2] - h * relief)
        if beats(last, new) or rules.target[o] in full:
            continue
        if _is_near(rules.release_jd_tdb[o], releases, rules.spacing_days):
            continue
        row = beater(new, known, known.costs.shape[0])
        if row >= 0:
            last = costs_at(known, row)
            continue
        row = beater(new, costs, size)
        if row >= 0:
            last = costs_at(costs, row)
            continue
        if fits_as_met(o, plan, rules, search.met):
            found[size] = plan
            found[size, place] = o
            noted(new, costs, size)
            size += 1
            if size == found.shape[0]:
                return size, k + 1
    return size, rules.candidates.size


@njit(cache=True)
def _releases(plan: Ints, rules: PlanRules) -> Floats:
    """Release dates of a plan; of an unused place one that is near to none."""
    dates = np.full(plan.size, np.inf)
    for i in range(plan.size):
        if plan[i] >= 0:
            dates[i] = rules.release_jd_tdb[plan[i]]
    return dates


@njit(cache=True)
def _full_targets(plan: Ints, rules: PlanRules) -> Ints:
    """Targets of a plan that no further probe may visit; -1 where there is none."""
    targets = np.full(plan.size, -1)
    for i in range(plan.size):
        visits = 0
        for j in range(plan.size):
            visits += plan[i] >= 0 and plan[j] >= 0 and rules.target[plan[i]] == rules.target[plan[j]]
        if visits >= rules.per_target:
            targets[i] = rules.target[plan[i]]
    return targets


@njit(cache=True)
def _is_near(date: float, dates: Floats, days: float) -> bool:
    for i in range(dates.size):  # noqa: SIM110 - compiled code has no generators
        if abs(date - dates[i]) < days:
            return True
    return False
