"""What a whole swarm may come to, beyond its expected science: the chances of the levels, and the tail.

P(threshold) = 1 - risk; P(baseline): every row has its baseline; P(none): no probe returns anything; CVaR:
mean science of the worst tenth of all outcomes. Exact from the joint distribution of the rows' counts,
capped at the baselines, over every state of the shared-failure groups and every class of the targets.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numba import njit
from numpy.typing import ArrayLike, NDArray

from swarm.plan.data import Chances, PlanData, column, joint_counts, plan_data
from swarm.plan.objectives import any_left, count_state, evaluate, new_counts
from swarm.plan.survival import group_failures, own_chances, state_chance
from targets.catalogue.reading import Catalogue
from targets.catalogue.worth import ASSUMPTIONS, rests_on

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

TAIL = 0.10  # the share of outcomes that CVaR averages over
# Joint counts up to which the tail is exact: a plan of twelve probes then takes some milliseconds at most.
STATES_MAX = 20_000


@dataclass(frozen=True)
class Measures:
    """n plans; each (n,).

    exact : whether p_baseline and cvar_science are exact. Where the joint counts are too many, p_baseline is an
            upper bound (the chance of the row least likely to reach its baseline) and cvar_science a lower one
            (the weighted sum of the rows' own tails: the mean of the worst tenth of a sum is never below
            the sum of the parts' means, each over its own worst tenth).
    """

    p_threshold: Floats
    p_baseline: Floats
    p_none: Floats
    cvar_science: Floats
    exact: Bools


def measures(plans: ArrayLike, data: PlanData, *, states_max: int = STATES_MAX) -> Measures:
    """Return the measures of plans, (n, probes) opportunities, -1 an unused place."""
    plans = np.ascontiguousarray(plans, dtype=np.int64)
    risk = evaluate(plans, data)[:, 2]
    exact = math.prod(int(size) for size in _sizes(data)) <= states_max
    told = _exact(plans, data) if exact else _bounded_measures(plans, data)
    return Measures(
        p_threshold=1.0 - risk,
        p_baseline=np.clip(told[:, 0], 0.0, 1.0),
        p_none=np.clip(told[:, 1], 0.0, 1.0),
        cvar_science=told[:, 2],
        exact=np.full(len(plans), exact),
    )


def _sizes(data: PlanData) -> Ints:
    """Counts told apart per row: 0 to the baseline, or to the probes where those are fewer."""
    return np.minimum(data.baseline, data.probes) + 1


def _exact(plans: Ints, data: PlanData) -> Floats:
    whole, counts = _counted_apart(data)
    science = (counts / data.baseline) @ data.weight
    order = np.argsort(science, kind="stable")
    met = (counts >= data.baseline).all(axis=1)
    return _exact_measures(plans, whole, science, order, met)


def _counted_apart(data: PlanData) -> tuple[PlanData, Ints]:
    """The same chances with every count up to the baselines told apart, and those counts, (states, r)."""
    sizes = [int(size) for size in _sizes(data)]
    counts = joint_counts(sizes)
    strides = np.array([math.prod(sizes[k + 1 :]) for k in range(len(sizes))], dtype=np.int64)
    whole = data._replace(
        threshold=_sizes(data) - 1,
        risk_row=np.arange(len(sizes)),
        risk_stride=strides,
        risk_count=np.ascontiguousarray(counts),
    )
    return whole, counts


def science_outcomes(
    plan: ArrayLike, data: PlanData, *, states_max: int = STATES_MAX
) -> tuple[Floats, Floats] | None:
    """Return (science, chance) of every joint count of one plan, science rising; None where they are too many.

    Survival, shared failures, delivery, data return and unknown classes all at once: exact.
    """
    if math.prod(int(size) for size in _sizes(data)) > states_max:
        return None
    whole, counts = _counted_apart(data)
    rows, joint = new_counts(whole)
    chances, _ = _joint_chances(np.ascontiguousarray(plan, dtype=np.int64), whole, rows, joint)
    science = (counts / data.baseline) @ data.weight
    order = np.argsort(science, kind="stable")
    return science[order], chances[order]


@njit(cache=True)
def _exact_measures(plans: Ints, data: PlanData, science: Floats, order: Ints, met: Bools) -> Floats:
    """(n, 3): P(every baseline), P(no data at all), CVaR of science."""
    told = np.zeros((plans.shape[0], 3))
    rows, joint = new_counts(data)
    for i in range(plans.shape[0]):
        total, told[i, 1] = _joint_chances(plans[i], data, rows, joint)
        for s in range(total.size):
            if met[s]:
                told[i, 0] += total[s]
        told[i, 2] = lower_tail_mean(science, total, order, TAIL)
    return told


@njit(cache=True)
def _joint_chances(plan: Ints, data: PlanData, rows: Floats, joint: Floats) -> tuple[Floats, float]:
    """(states,) chance of each joint count over every state of the groups, and P(no data at all)."""
    common = group_failures(plan, data.hardware, data.group_mask, data.group_fraction)
    own = own_chances(plan, data.hardware, data.group_mask, common)
    total, nothing = np.zeros_like(joint), 0.0
    for state in range(1 << common.size):
        chance = state_chance(state, common)
        if chance <= 0.0:
            continue
        nothing += chance * _no_data(plan, state, own, data)
        if any_left(plan, data.group_mask, state):
            count_state(plan, state, own, data, rows, joint)
            total += chance * joint
        else:
            total[0] += chance
    return total, nothing


@njit(cache=True)
def _no_data(plan: Ints, state: int, own: Floats, data: PlanData) -> float:
    """P(no probe returns anything) in a state of the groups."""
    nothing = 1.0
    for i in range(plan.size):
        if plan[i] >= 0 and not data.group_mask[plan[i]] & state:
            nothing *= 1.0 - own[i] * data.data_return[plan[i]]
    return nothing


@njit(cache=True)
def lower_tail_mean(values: Floats, chances: Floats, order: Ints, tail: float) -> float:
    """Return the mean of the lowest share `tail` of a distribution; `order` sorts the values, rising.

    The value on which the tail ends counts with what is left of the share.
    """
    left, total = tail, 0.0
    for k in range(order.size):
        share = min(chances[order[k]], left)
        total += share * values[order[k]]
        left -= share
        if left <= 0.0:
            break
    else:
        total += left * values[order[-1]]  # chances that add up to a little less than 1
    return total / tail


@njit(cache=True)
def _bounded_measures(plans: Ints, data: PlanData) -> Floats:
    """(n, 3): bounds in place of the joint distribution; P(no data at all) is exact."""
    told = np.zeros((plans.shape[0], 3))
    rows, joint = new_counts(data)
    for i in range(plans.shape[0]):
        plan = plans[i]
        common = group_failures(plan, data.hardware, data.group_mask, data.group_fraction)
        own = own_chances(plan, data.hardware, data.group_mask, common)
        total = np.zeros_like(rows)
        for state in range(1 << common.size):
            chance = state_chance(state, common)
            if chance <= 0.0:
                continue
            told[i, 1] += chance * _no_data(plan, state, own, data)
            count_state(plan, state, own, data, rows, joint)
            total += chance * rows
        told[i, 0] = 1.0
        for r in range(total.shape[0]):
            cap = data.count_cap[r]
            met = total[r, data.baseline[r] : cap + 1].sum() if data.baseline[r] <= cap else 0.0
            told[i, 0] = min(told[i, 0], met)
            share = np.minimum(np.arange(cap + 1), data.baseline[r]) / data.baseline[r]
            tail = lower_tail_mean(share, total[r, : cap + 1], np.arange(cap + 1), TAIL)
            told[i, 2] += data.weight[r] * tail
    return told


# --- what rests on assumptions ------------------------------------------------------------------------------


def assumed_shares(
    plans: ArrayLike,
    study: Study,
    opportunities: pa.Table,
    targets: Catalogue,
    *,
    judged: Chances,
) -> dict[str, Floats]:
    """Return, per kind of assumption and for "any", the share of science that rests on it, (n,).

    The share is what a plan's science loses when every claim of a row that uses an assumed attribute of its
    target counts nothing: 1 - science without those claims / science. Kinds: `targets.catalogue.worth.ASSUMPTIONS`.
    Shares of different kinds overlap: a claim may rest on several.
    """
    rests = [rests_on(targets, row.where, row.quality_min) for row in study.science.rows]
    science = evaluate(plans, plan_data(study, opportunities, targets, judged=judged))[:, 0]
    shares = {}
    for kind in (*ASSUMPTIONS, "any"):
        bits = np.stack([each[kind] for each in rests], axis=1)
        known = plan_data(study, opportunities, targets, judged=judged, believed=~bits)
        kept = evaluate(plans, known)[:, 0]
        shares[kind] = np.where(science > 0.0, 1.0 - kept / np.maximum(science, 1e-300), 0.0)
    return {kind: np.clip(share, 0.0, 1.0) for kind, share in shares.items()}


# --- the front's table --------------------------------------------------------------------------------------


def plans_matrix(plans: pa.Table, opportunities: pa.Table, count: int, *, probes: int) -> Ints:
    """Return (count, probes) row numbers of `opportunities`, -1 unused, from the run's table `plans`."""
    rows = {int(o): k for k, o in enumerate(column(opportunities, "opportunity"))}
    matrix = np.full((count, probes), -1, dtype=np.int64)
    for plan, probe, opportunity in zip(
        *(column(plans, name) for name in ("plan", "probe", "opportunity")), strict=True
    ):
        matrix[plan, probe] = rows[int(opportunity)]
    return matrix


def with_measures(
    front: pa.Table,
    plans: pa.Table,
    study: Study,
    opportunities: pa.Table,
    *,
    targets: Catalogue,
    judged: Chances,
) -> pa.Table:
    """Return the front with p_threshold, p_baseline, p_none, cvar10_science, measures_exact, science_assumed.

    `science_assumed_<kind>` follow: what each kind of assumption carries of the science.
    """
    used, matrix = _used_only(plans, opportunities, front.num_rows, probes=study.probe.count)
    some = opportunities.take(used)
    some_judged = judged.take(used)
    data = plan_data(study, some, targets, judged=some_judged)
    told = measures(matrix, data)
    shares = assumed_shares(matrix, study, some, targets, judged=some_judged)
    added = {
        "p_threshold": told.p_threshold,
        "p_baseline": told.p_baseline,
        "p_none": told.p_none,
        "cvar10_science": told.cvar_science,
        "measures_exact": told.exact,
        "science_assumed": shares["any"],
        **{f"science_assumed_{kind}": shares[kind] for kind in ASSUMPTIONS},
    }
    for name, values in added.items():
        front = front.append_column(name, pa.array(values))
    return front


def _used_only(plans: pa.Table, opportunities: pa.Table, count: int, *, probes: int) -> tuple[Ints, Ints]:
    """Return the rows of `opportunities` that some plan uses, and the plans in terms of those rows."""
    matrix = plans_matrix(plans, opportunities, count, probes=probes)
    used = np.unique(matrix[matrix >= 0])
    small = np.where(matrix >= 0, np.searchsorted(used, matrix), -1)
    return used, small
