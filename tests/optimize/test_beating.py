"""Whether a plan is beaten, against the rule in one line; what is looked around, against the rule applied to all."""

import numpy as np
import pytest
from numba import njit

from swarm.optimize.archive import Archive, _first_front, costs_of, merged
from swarm.optimize.beating import beater, beats, costs_at, new_rivals, noted
from swarm.optimize.neighbours import explore
from swarm.optimize.pricing import fill_prices, new_prices
from swarm.optimize.problem import random_plans
from swarm.plan.objectives import evaluate
from swarm.plan.rules import fits
from tests.helpers.medium_parts import medium_parts

TIE = 1e-12


@njit
def held_one_after_the_other(costs):
    """Of each row, whether an earlier one that was not beaten itself beats it."""
    rivals, answers, size = new_rivals(costs.shape[0]), np.zeros(costs.shape[0], dtype=np.bool_), 0
    for k in range(costs.shape[0]):
        new = (costs[k, 0], costs[k, 1], costs[k, 2])
        row = beater(new, rivals, size)
        answers[k] = row >= 0 and beats(costs_at(rivals, row), new)
        if not answers[k]:
            noted(new, rivals, size)
            size += 1
    return answers


def plainly(costs):
    kept, answers = [], []
    for new in costs:
        answers.append(any((old <= new + TIE).all() for old in kept))
        if not answers[-1]:
            kept.append(new)
    return answers


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("steps", [3, 40, 10_000])  # the fewer, the more ties
def test_beaten_is_what_the_rule_says(seed, steps):
    rng = np.random.default_rng(seed)
    costs = rng.integers(0, steps, (700, 3)) / steps + rng.choice([0.0, 0.4e-12, 3e-12], (700, 3))
    found = held_one_after_the_other(costs)
    assert found.tolist() == plainly(costs)
    assert 0 < found.sum() < 700


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("steps", [3, 40, 10_000])
def test_the_first_front_is_what_no_row_before_beats(seed, steps):
    costs = np.random.default_rng(seed).integers(0, steps, (700, 3)) / steps
    costs = costs[np.lexsort((costs[:, 2], costs[:, 0], costs[:, 1]))]
    plain = [not any((costs[j] <= costs[i]).all() for j in range(i)) for i in range(len(costs))]
    assert _first_front(costs).tolist() == plain


def plain_neighbours(plans, front, data, rules):
    """Every exchange priced and held against the front and all found before, a row at a time."""
    found, costs = [], [*front]

    def try_one(plan, new):
        if not any((old <= np.array(new) + TIE).all() for old in costs):
            found.append(plan)
            costs.append(np.array(new))

    prices = new_prices(data, rules.kinds)
    for start in plans:
        for place in range(len(start)):
            plan = start.copy()
            filled, plan[place] = plan[place] >= 0, -1
            science, kilograms, risk, _ = fill_prices(plan, data, rules.kinds, prices)
            if filled:
                try_one(plan.copy(), (-science, kilograms, risk))
            for o in rules.candidates:
                entries = slice(data.merged_start[o], data.merged_start[o + 1])
                chance, sets, kind = data.merged_chance[entries], data.merged_set[entries], rules.kind[o]
                gain = sum(c * prices.science[kind, m] for c, m in zip(chance, sets, strict=True))
                relief = sum(c * prices.risk[kind, m] for c, m in zip(chance, sets, strict=True))
                if (gain > 0.0 or relief > 0.0) and fits(o, plan, rules):
                    h, added = data.hardware[o], plan.copy()
                    added[place] = o
                    new = (-science - h * gain, kilograms + data.propellant_kg[o], risk - h * relief)
                    try_one(added, new)
            if not filled:
                break
    return found


def test_what_is_looked_around_is_what_the_rule_leaves():
    data, rules = medium_parts()
    plans = random_plans(np.random.default_rng(4), 6, data=data, rules=rules)
    front = merged([Archive(plans, costs_of(evaluate(plans, data)))])
    found, _ = explore(front.plans, front.costs, data, rules, room=20_000)
    plain = np.sort(np.array(plain_neighbours(front.plans, front.costs, data, rules)), axis=1)
    again = merged([Archive(plain, costs_of(evaluate(plain, data)))])
    assert len(found.plans) > 5
    assert {tuple(sorted(plan)) for plan in found.plans.tolist()} == {
        tuple(sorted(plan)) for plan in again.plans.tolist()
    }
    assert found.costs == pytest.approx(again.costs, abs=1e-12)
