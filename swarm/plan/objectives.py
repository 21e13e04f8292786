"""A plan's science, propellant and risk, exactly. The one copy, used by everything.

science = sum over rows of weight E[min(N, baseline)] / baseline, weights summing to 1
risk    = P(any row with a threshold gets fewer than its threshold)

N is the number of probes whose encounter satisfies the row. Probes are independent given the states of the
shared-failure groups and the classes of the targets. So every state of the groups is gone through, and in
it counts are built up target by target: the distribution of the joint counts (capped at the thresholds,
which is all that risk asks) and of each row's own count (all that an expectation asks). Probes at one
target share its class: there the distribution is the mixture over its classes.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from swarm.plan.data import PlanData
from swarm.plan.survival import group_failures, own_chance, own_chances, state_chance

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SCIENCE, PROPELLANT, RISK = 0, 1, 2
_MERGED = -1  # in place of a class: outcomes merged over the classes


def evaluate(plans: ArrayLike, data: PlanData) -> Floats:
    """Return science (0 to 1), propellant (kg) and risk (0 to 1) of each plan, (n, 3).

    Parameters
    ----------
    plans : (n, probes) int   opportunities of each plan, -1 an unused place

    Guarantee
    ---------
    Equal to the sum over all outcomes within 1e-12. Tested in tests/decide/recourse/test_against_enumeration.py.
    """
    plans = np.ascontiguousarray(plans, dtype=np.int64)
    if plans.ndim != 2 or plans.shape[1] > data.probes:
        raise ValueError(f"plans of shape {plans.shape}: expected two axes and at most {data.probes} probes")
    return _evaluate(plans, data)


def chance_of_data(plans: ArrayLike, data: PlanData) -> Floats:
    """Return each probe's marginal chance of any data, shared failures included; NaN at unused places."""
    plans = np.asarray(plans, dtype=np.int64)
    return np.where(plans >= 0, (data.hardware * data.data_return)[plans], np.nan)


def row_chances(data: PlanData) -> Floats:
    """Return each opportunity's marginal chance of satisfying each row, shared failures included, (n, r)."""
    owner = np.repeat(np.arange(len(data.target)), np.diff(data.merged_start))
    chances = np.zeros((len(data.target), len(data.weight)))
    np.add.at(chances, owner, data.merged_chance[:, None] * data.row_sets[data.merged_set])
    return data.hardware[:, None] * chances


def row_counts(plan: ArrayLike, data: PlanData) -> Floats:
    """Return P(row r is satisfied n times), (r, n), the last n standing for "or more", of one plan."""
    return _row_counts(np.ascontiguousarray(plan, dtype=np.int64), data)


@njit(cache=True)
def _row_counts(plan: Ints, data: PlanData) -> Floats:
    rows, joint = new_counts(data)
    total = np.zeros_like(rows)
    common = group_failures(plan, data.hardware, data.group_mask, data.group_fraction)
    own = own_chances(plan, data.hardware, data.group_mask, common)
    for state in range(1 << common.size):
        chance = state_chance(state, common)
        if chance > 0.0:
            count_state(plan, state, own, data, rows, joint)
            total += chance * rows
    return total


@njit(cache=True)
def set_prices(plan: Ints, place: int, data: PlanData) -> tuple[float, Floats]:
    """Return the science of a plan without the probe of `place`, and what each set of rows is then worth, (m,).

    A price is what an encounter that satisfies the set adds, the chance in it that the hardware of that probe
    works and nothing else. Science is linear in the outcome of one probe, so

        science of the plan = science without + sum of merged_chance * price over its outcomes,

    exactly where no other probe visits its target. Shared failures are those of the whole plan.
    """
    rows, joint = new_counts(data)
    common = group_failures(plan, data.hardware, data.group_mask, data.group_fraction)
    own = own_chances(plan, data.hardware, data.group_mask, common)
    works = own[place]
    own[place] = 0.0
    without = 0.0
    row_price = np.zeros(rows.shape[0])
    for state in range(1 << common.size):
        chance = state_chance(state, common)
        if chance <= 0.0:
            continue
        count_state(plan, state, own, data, rows, joint)
        without += chance * expected_science(rows, data)
        if data.group_mask[plan[place]] & state:
            continue
        for r in range(rows.shape[0]):
            below = 0.0
            for c in range(min(data.baseline[r], data.count_cap[r] + 1)):
                below += rows[r, c]
            row_price[r] += chance * works * data.weight[r] / data.baseline[r] * below
    price = np.zeros(data.row_sets.shape[0])
    for m in range(price.size):
        for r in range(row_price.size):
            if data.row_sets[m, r]:
                price[m] += row_price[r]
    return without, price


@njit(cache=True)
def _evaluate(plans: Ints, data: PlanData) -> Floats:
    values = np.empty((plans.shape[0], 3))
    rows, joint = new_counts(data)
    for i in range(plans.shape[0]):
        values[i, 0], values[i, 1], values[i, 2] = plan_values(plans[i], data, rows, joint)
    return values


@njit(cache=True)
def plan_values(plan: Ints, data: PlanData, rows: Floats, joint: Floats) -> tuple[float, float, float]:
    """Science, propellant and risk of one plan; `rows` and `joint` are left as given that no group fails."""
    common = group_failures(plan, data.hardware, data.group_mask, data.group_fraction)
    own = own_chances(plan, data.hardware, data.group_mask, common)
    missed = 1.0 if data.risk_row.size > 0 else 0.0
    science, risk = 0.0, 0.0
    for state in range((1 << common.size) - 1, -1, -1):  # the state without a failure last
        chance = state_chance(state, common)
        if chance <= 0.0 and state > 0:
            continue
        if not any_left(plan, data.group_mask, state):
            risk += chance * missed  # nothing is counted: no science, and any threshold is missed
            continue
        count_state(plan, state, own, data, rows, joint)
        science += chance * expected_science(rows, data)
        risk += chance * shortfall(joint)
    # sums of chances round: 1.0000000000000002 is no risk
    return min(max(science, 0.0), 1.0), propellant_of(plan, data), min(max(risk, 0.0), 1.0)


@njit(cache=True)
def propellant_of(plan: Ints, data: PlanData) -> float:
    """Sum of what the probes of a plan consume, kg."""
    total_kg = 0.0
    for i in range(plan.size):
        if plan[i] >= 0:
            total_kg += data.propellant_kg[plan[i]]
    return total_kg


@njit(cache=True)
def any_left(plan: Ints, group_mask: Ints, state: int) -> bool:
    """Whether some probe belongs to no failed group; true with no group failed, for an empty plan too."""
    if state == 0:
        return True
    left = False
    for i in range(plan.size):
        left |= plan[i] >= 0 and not group_mask[plan[i]] & state
    return left


@njit(cache=True)
def expected_science(rows: Floats, data: PlanData) -> float:
    """Sum over rows of weight E[min(N, baseline)] / baseline from the distributions of the counts."""
    total = 0.0
    for r in range(rows.shape[0]):
        expected = 0.0
        for c in range(1, data.count_cap[r] + 1):
            expected += min(c, data.baseline[r]) * rows[r, c]
        total += data.weight[r] * expected / data.baseline[r]
    return total


@njit(cache=True)
def shortfall(joint: Floats) -> float:
    """P(not in the last state, all thresholds met); summed, not 1 - P, for the digits of small risks."""
    total = 0.0
    for s in range(joint.size - 1):
        total += joint[s]
    return total


@njit(cache=True)
def new_counts(data: PlanData) -> tuple[Floats, Floats]:
    """Room for the distributions of each row's count, (r, cap + 1), and of the joint counts, (states,)."""
    return np.zeros((data.count_cap.size, data.count_cap.max() + 1)), np.zeros(data.risk_count.shape[0])


@njit(cache=True)
def count_outcomes(plan: Ints, common: float, data: PlanData, rows: Floats, joint: Floats) -> None:
    """Fill the distributions of the counts, given that no failure shared by all probes happened."""
    own = np.zeros(plan.size)
    for i in range(plan.size):
        if plan[i] >= 0:
            own[i] = own_chance(data.hardware[plan[i]], common)
    count_state(plan, 0, own, data, rows, joint)


@njit(cache=True)
def count_state(plan: Ints, state: int, own: Floats, data: PlanData, rows: Floats, joint: Floats) -> None:
    """Fill the distributions of the counts in a state of the shared-failure groups.

    own : (probes,) chance that the hardware of each place works where none of its groups has failed
    """
    rows[:] = 0.0
    rows[:, 0] = 1.0
    joint[:] = 0.0
    joint[0] = 1.0
    hit = np.empty(rows.shape[0])
    for i in range(plan.size):
        if plan[i] < 0 or data.group_mask[plan[i]] & state:
            continue
        earlier, later = _visits_around(plan, i, data, state)
        if earlier > 0:
            continue
        if later == 0:
            _add_probe(plan[i], _MERGED, own[i], data, hit, rows, joint)
        else:
            _add_shared_target(plan, i, state, own, data, hit, rows, joint)


@njit(cache=True)
def _visits_around(plan: Ints, i: int, data: PlanData, state: int) -> tuple[int, int]:
    """How many other probes left in this state visit the target of place `i`, before and after it."""
    earlier, later = 0, 0
    for j in range(plan.size):
        if j != i and plan[j] >= 0 and data.target[plan[j]] == data.target[plan[i]]:
            if data.group_mask[plan[j]] & state:
                continue
            if j < i:
                earlier += 1
            else:
                later += 1
    return earlier, later


@njit(cache=True)
def _add_shared_target(
    plan: Ints,
    first: int,
    state: int,
    own: Floats,
    data: PlanData,
    hit: Floats,
    rows: Floats,
    joint: Floats,
) -> None:
    """Add every probe of one target: the mixture over its classes of adding them given the class."""
    target = data.target[plan[first]]
    rows_before, joint_before = rows.copy(), joint.copy()
    rows_mixed, joint_mixed = np.zeros_like(rows), np.zeros_like(joint)
    for label in range(data.class_chance.shape[1]):
        class_chance = data.class_chance[target, label]
        if class_chance <= 0.0:
            continue
        rows[:] = rows_before
        joint[:] = joint_before
        for j in range(first, plan.size):
            if plan[j] >= 0 and data.target[plan[j]] == target and not data.group_mask[plan[j]] & state:
                _add_probe(plan[j], label, own[j], data, hit, rows, joint)
        rows_mixed += class_chance * rows
        joint_mixed += class_chance * joint
    rows[:] = rows_mixed
    joint[:] = joint_mixed


@njit(cache=True)
def _add_probe(
    o: int, label: int, chance: float, data: PlanData, hit: Floats, rows: Floats, joint: Floats
) -> None:
    """Add a probe whose hardware works with `chance`; its outcomes given the class, or merged.

    hit : (r,) room to work in
    """
    hit[:] = 0.0
    nothing = 1.0
    merged = label == _MERGED
    start = data.merged_start if merged else data.outcome_start
    sets = data.merged_set if merged else data.outcome_set
    chances = data.merged_chance if merged else data.outcome_chance
    for e in range(start[o], start[o + 1]):
        if merged or data.outcome_class[e] == label:
            p = chance * chances[e]
            nothing -= p
            for r in range(hit.size):
                if data.row_sets[sets[e], r]:
                    hit[r] += p
    # Every outcome leads to the same joint state or a later one: going backwards, each is moved on once.
    for s in range(joint.size - 1, -1, -1):
        before = joint[s]
        if before == 0.0:
            continue
        joint[s] = nothing * before
        for e in range(start[o], start[o + 1]):
            if merged or data.outcome_class[e] == label:
                joint[state_after(s, data.row_sets[sets[e]], data)] += chance * chances[e] * before
    for r in range(rows.shape[0]):
        _count_up(rows[r], data.count_cap[r], hit[r])


@njit(cache=True)
def state_after(s: int, row_set: NDArray, data: PlanData) -> int:
    """The joint state reached from `s` by one more probe that satisfies the rows of `row_set`."""
    reached = s
    for k in range(data.risk_row.size):
        row = data.risk_row[k]
        if row_set[row] and data.risk_count[s, k] < data.threshold[row]:
            reached += data.risk_stride[k]
    return reached


@njit(cache=True)
def _count_up(counts: Floats, cap: int, hit: float) -> None:
    """One more probe that satisfies the row with chance `hit`; the last count stands for "or more"."""
    counts[cap] += counts[cap - 1] * hit
    for c in range(cap - 1, 0, -1):
        counts[c] = counts[c] * (1.0 - hit) + counts[c - 1] * hit
    counts[0] *= 1.0 - hit
