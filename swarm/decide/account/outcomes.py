"""What a plan may come to: its science over survival, delivery, data return and unknown classes, all at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.plan.measures import science_outcomes
from swarm.plan.survival import group_failures, own_chances

if TYPE_CHECKING:
    from swarm.plan.data import PlanData

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Shares of the outcomes at which the science is told.
SHARES = (0.01, 0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95, 0.99)
DRAWN = 200_000  # outcomes drawn where the joint counts are too many: a share to 0.1 %


def outcomes(plan: Ints, data: PlanData, *, seed: int) -> pa.Table:
    """Return the science that so large a share of the outcomes does not exceed, a row a share; mean and method beside.

    plan : (probes,) opportunities, -1 an unused place
    """
    exact = science_outcomes(plan, data)
    if exact is None:
        science = np.sort(drawn_science(plan, data, draws=DRAWN, rng=np.random.default_rng(seed)))
        chance = np.full(len(science), 1.0 / len(science))
    else:
        science, chance = exact
    at = np.minimum(np.searchsorted(np.cumsum(chance), np.array(SHARES) - 1e-12), len(science) - 1)
    return pa.table(
        {
            "share": np.array(SHARES),
            "science": science[at],
            "mean": np.full(len(SHARES), float(chance @ science)),
            "exact": np.full(len(SHARES), exact is not None),
        }
    )


def drawn_science(plan: Ints, data: PlanData, *, draws: int, rng: np.random.Generator) -> Floats:
    """Return the science of so many outcomes drawn, (draws,): which group fails, which probe works, of what class each
    target is, and which rows each encounter then satisfies."""
    used = plan[plan >= 0]
    common = group_failures(plan, data.hardware, data.group_mask, data.group_fraction)
    own = own_chances(plan, data.hardware, data.group_mask, common)[plan >= 0]
    failed = (rng.random((draws, len(common))) < common) @ (1 << np.arange(len(common)))
    counts = np.zeros((draws, len(data.weight)), dtype=np.int64)
    of_target = {
        int(target): rng.choice(
            data.class_chance.shape[1], size=draws, p=_summed_to_1(data.class_chance[target])
        )
        for target in np.unique(data.target[used])
    }
    for row, chance in zip(used, own, strict=True):
        works = (rng.random(draws) < chance) & ((data.group_mask[row] & failed) == 0)
        label = of_target[int(data.target[row])]
        counts += works[:, None] * _rows_met(row, label, data, rng=rng)
    return np.minimum(counts, data.baseline) / data.baseline @ data.weight


def _rows_met(row: int, label: Ints, data: PlanData, *, rng: np.random.Generator) -> Ints:
    """(draws, r) whether an encounter satisfies each row, given the class of its target, (draws,)."""
    met = np.zeros((len(label), len(data.weight)), dtype=np.int64)
    first, last = data.outcome_start[row], data.outcome_start[row + 1]
    classes = data.outcome_class[first:last]
    draw = rng.random(len(label))
    for known in np.unique(classes):
        own = np.flatnonzero(classes == known) + first
        of_class = label == known
        edges = np.cumsum(data.outcome_chance[own])
        which = np.searchsorted(edges, draw[of_class], side="right")
        sets = np.vstack([data.row_sets[data.outcome_set[own]], np.zeros(len(data.weight), dtype=bool)])
        met[of_class] = sets[which]
    return met


def _summed_to_1(chances: Floats) -> Floats:
    return chances / chances.sum()
