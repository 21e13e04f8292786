"""What one more probe would add to a plan, for every set of rows at once.

With the other probes fixed, science and risk are linear in the outcomes of one more probe in every state of
the shared-failure groups. So one pass over the states prices every set of rows for every kind of probe (the
groups it belongs to), and each of the many opportunities then costs a short sum. A price ignores that a
second probe at a target shares its class, and that a new probe may be the most reliable of its group.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.plan.data import PlanData
from swarm.plan.objectives import (
    count_state,
    expected_science,
    new_counts,
    propellant_of,
    shortfall,
    state_after,
)
from swarm.plan.survival import group_failures, own_chances, state_chance

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Prices(NamedTuple):
    """Per kind of probe and set of rows, (q, m), per unit of hardware chance and of the set's own chance."""

    science: Floats  # added
    coverage: Floats  # added to the expected share of the thresholds met
    risk: Floats  # taken away
    rows: Floats  # room to work in, as `swarm.plan.objectives.new_counts` makes it
    joint: Floats


@njit(cache=True)
def new_prices(data: PlanData, kinds: Ints) -> Prices:
    """Room for prices; `kinds` (q,) are the distinct group masks of the opportunities."""
    rows, joint = new_counts(data)
    shape = (kinds.size, data.row_sets.shape[0])
    return Prices(np.empty(shape), np.empty(shape), np.empty(shape), rows, joint)


@njit(cache=True)
def fill_prices(plan: Ints, data: PlanData, kinds: Ints, prices: Prices) -> tuple[float, float, float, float]:
    """Fill the prices of one more probe in `plan`; return its science, propellant, risk and coverage."""
    common = group_failures(plan, data.hardware, data.group_mask, data.group_fraction)
    own = own_chances(plan, data.hardware, data.group_mask, common)
    prices.science[:] = 0.0
    prices.coverage[:] = 0.0
    prices.risk[:] = 0.0
    missed = 1.0 if data.risk_row.size > 0 else 0.0
    science, risk, coverage = 0.0, 0.0, 0.0
    for state in range(1 << common.size):
        chance = state_chance(state, common)
        if chance <= 0.0:
            continue
        if not _any_spared(kinds, state):
            risk += chance * missed
            continue
        count_state(plan, state, own, data, prices.rows, prices.joint)
        science += chance * expected_science(prices.rows, data)
        risk += chance * shortfall(prices.joint)
        coverage += chance * _coverage(prices.rows, data)
        _add_state(state, chance, common, data, kinds, prices)
    return science, propellant_of(plan, data), risk, coverage


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
def _any_spared(kinds: Ints, state: int) -> bool:
    spared = False
    for q in range(kinds.size):
        spared |= not kinds[q] & state
    return spared


@njit(cache=True)
def _add_state(
    state: int, chance: float, common: Floats, data: PlanData, kinds: Ints, prices: Prices
) -> None:
    """Add one state's prices for the kinds of probes that live in it."""
    rows, joint = prices.rows, prices.joint
    science_row, coverage_row = np.zeros(rows.shape[0]), np.zeros(rows.shape[0])
    for r in range(rows.shape[0]):
        for c in range(data.count_cap[r]):
            if c < data.baseline[r]:
                science_row[r] += data.weight[r] / data.baseline[r] * rows[r, c]
            if c < data.threshold[r]:
                coverage_row[r] += rows[r, c] / (data.threshold[r] * data.risk_row.size)
    for m in range(data.row_sets.shape[0]):
        science, coverage, risk = 0.0, 0.0, 0.0
        for r in range(science_row.size):
            if data.row_sets[m, r]:
                science += science_row[r]
                coverage += coverage_row[r]
        for s in range(joint.size - 1):
            if joint[s] != 0.0 and state_after(s, data.row_sets[m], data) == joint.size - 1:
                risk += joint[s]
        for q in range(kinds.size):
            if not kinds[q] & state:
                share = chance / spared(kinds[q], common)
                prices.science[q, m] += share * science
                prices.coverage[q, m] += share * coverage
                prices.risk[q, m] += share * risk


@njit(cache=True)
def spared(mask: int, common: Floats) -> float:
    """Chance that none of a probe's groups fails; its hardware chance over this is its own chance."""
    chance = 1.0
    for g in range(common.size):
        if (mask >> g) & 1:
            chance *= 1.0 - common[g]
    return max(chance, 1e-12)
