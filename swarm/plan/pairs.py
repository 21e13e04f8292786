"""Two probes at one target: what the second adds, and what another target would have to be worth to be better.

One probe's chance p, failure q = 1 - p, of which q_c = fraction * the smaller q is common to both:
P(at least one) = 1 - q_c - (1 - q_c) q_1 q_2 with own failures q_i. The second probe adds that less p_1. It is
worth flying to the same target only if V_1 times that exceeds V_2 p_2, the other target's worth times its
chance: the break-even is the ratio V_1 / V_2. Without shared failures and with equal chances it is 1 / (1 - p).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.plan.data import PlanData
from swarm.plan.objectives import evaluate, set_prices
from swarm.plan.rules import PlanRules, fits

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_TRIED = 8  # other encounters evaluated exactly, after a ranking of all by a linear price


def second_probe_gain(first: float, second: float, shared_fraction: float) -> float:
    """Return what a second probe adds to the chance that at least one of two works."""
    common = shared_fraction * (1.0 - max(first, second))
    if common >= 1.0:
        return 0.0
    lost = (1.0 - first / (1.0 - common)) * (1.0 - second / (1.0 - common))
    return 1.0 - common - (1.0 - common) * lost - first


def break_even(first: float, second: float, other: float, *, shared_fraction: float) -> float:
    """Return how much more the shared target must be worth than another one, which is met with chance `other`.

    Infinite where the second probe adds nothing.
    """
    gain = second_probe_gain(first, second, shared_fraction)
    return other / gain if gain > 0.0 else float("inf")


@dataclass(frozen=True)
class Pair:
    """Two probes of a plan at one target, by place, against the best other encounter for the later one."""

    first: int
    second: int
    science_pair: float  # of the plan as it is
    science_alone: float  # without the second probe
    other: int  # opportunity that would be flown instead; -1 where none fits
    science_other: float  # of the plan with it
    break_even: float

    @property
    def stands(self) -> bool:
        """Whether the pair gives at least what the other target would."""
        return self.science_pair >= self.science_other


def pairs_of(plan: Ints, data: PlanData, rules: PlanRules, *, no_dearer: bool = False) -> list[Pair]:
    """Return every pair of a plan; `no_dearer` looks only at others that consume no more propellant."""
    plan = np.asarray(plan, dtype=np.int64)
    target = np.where(plan >= 0, data.target[plan], -1)
    pairs = []
    for first in range(len(plan)):
        for second in range(first + 1, len(plan)):
            if target[first] >= 0 and target[first] == target[second]:
                pairs.append(_pair(plan, first, second, data=data, rules=rules, no_dearer=no_dearer))
    return pairs


def _pair(plan: Ints, first: int, second: int, *, data: PlanData, rules: PlanRules, no_dearer: bool) -> Pair:
    alone = plan.copy()
    alone[second] = -1
    science = evaluate(np.stack([plan, alone]), data)[:, 0]
    other, science_other = best_replacement(plan, second, data, rules, no_dearer=no_dearer)
    chance = data.hardware * data.data_return
    return Pair(
        first=first,
        second=second,
        science_pair=float(science[0]),
        science_alone=float(science[1]),
        other=other,
        science_other=science_other,
        break_even=break_even(
            float(chance[plan[first]]),
            float(chance[plan[second]]),
            float(chance[other if other >= 0 else plan[second]]),
            shared_fraction=data.shared_fraction,
        ),
    )


def best_replacement(
    plan: Ints, place: int, data: PlanData, rules: PlanRules, *, no_dearer: bool = True
) -> tuple[int, float]:
    """Return the opportunity at a target not visited that gives a plan most science in `place`, and that science.

    (-1, -1.0) where none fits. All are ranked by a price that is linear in their outcomes; the first few are
    evaluated exactly, since an opportunity of another reliability also changes what is shared.
    """
    plan = np.ascontiguousarray(plan, dtype=np.int64)
    others = _ranked(plan, place, data, rules, no_dearer)
    if not len(others):
        return -1, -1.0
    changed = np.repeat(plan[None, :], len(others), axis=0)
    changed[:, place] = others
    science = evaluate(changed, data)[:, 0]
    best = int(np.argmax(science))
    return int(others[best]), float(science[best])


@njit(cache=True)
def _ranked(plan: Ints, place: int, data: PlanData, rules: PlanRules, no_dearer: bool) -> Ints:
    """The most promising opportunities that fit in `place`, at most _TRIED; of equal ones the first."""
    _, price = set_prices(plan, place, data)
    limit_kg = data.propellant_kg[plan[place]] if no_dearer else np.inf
    without = plan.copy()
    without[place] = -1
    worth = np.full(_TRIED, -1.0)
    best = np.full(_TRIED, -1, dtype=np.int64)
    for o in range(data.target.size):
        if data.propellant_kg[o] > limit_kg:
            continue
        value = 0.0
        for e in range(data.merged_start[o], data.merged_start[o + 1]):
            value += data.merged_chance[e] * price[data.merged_set[e]]
        value *= data.hardware[o]
        if value <= worth[-1] or not _elsewhere(o, plan, data) or not fits(o, without, rules):
            continue
        k = _TRIED - 1
        while k > 0 and value > worth[k - 1]:
            worth[k], best[k] = worth[k - 1], best[k - 1]
            k -= 1
        worth[k], best[k] = value, o
    return best[best >= 0]


@njit(cache=True)
def _elsewhere(o: int, plan: Ints, data: PlanData) -> bool:
    visited = False
    for i in range(plan.size):
        visited |= plan[i] >= 0 and data.target[plan[i]] == data.target[o]
    return not visited


def without_losing_pairs(plans: Ints, data: PlanData, rules: PlanRules) -> Ints:
    """Return the plans with every pair that another target beats at no more propellant and risk replaced by it.

    One pass over the pairs of each plan, the later probe giving way; a pair that stands stays.
    """
    mended = np.array(plans, dtype=np.int64)
    for i in range(len(mended)):
        for pair in pairs_of(mended[i], data, rules, no_dearer=True):
            if pair.stands or pair.other < 0 or mended[i, pair.second] < 0:
                continue
            changed = mended[i].copy()
            changed[pair.second] = pair.other
            before, after = evaluate(np.stack([mended[i], changed]), data)
            if after[2] <= before[2] + 1e-12:
                mended[i] = changed
    return mended
