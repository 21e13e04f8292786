"""The plain way to search: one whole number per probe, the target it goes to. Same evaluator, same repair.

A gene below zero is no probe. A target is flown by its cheapest opportunity that fits, as the repair finds it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from swarm.optimize.archive import Archive, costs_of
from swarm.plan.constraints import UNUSED
from swarm.plan.data import PlanData
from swarm.plan.objectives import evaluate
from swarm.plan.rules import PlanRules, decode

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class TargetGenes:
    """What `swarm.optimize.islands.Evolving` asks of a problem."""

    def __init__(self, data: PlanData, rules: PlanRules) -> None:
        self.data, self.rules = data, rules
        self.targets = np.flatnonzero(np.diff(rules.options_start) > 0)
        self.cheapest = rules.options[rules.options_start[self.targets]]

    def bounds(self) -> tuple[Floats, Floats]:
        none = max(1, len(self.targets) // 8)
        probes = self.data.probes
        return np.full(probes, float(-none)), np.full(probes, float(len(self.targets) - 1))

    def integers(self) -> int:
        return self.data.probes

    def plans(self, genes: NDArray) -> Ints:
        whole = np.asarray(genes).reshape(-1, self.data.probes).astype(np.int64)
        first = np.where(whole >= 0, self.cheapest[np.maximum(whole, 0)], UNUSED)
        return decode(first, self.rules)

    def decoded(self, genes: NDArray) -> Ints:
        return self.plans(genes)

    def costs(self, plans: NDArray) -> Floats:
        return costs_of(evaluate(plans, self.data))

    def random(self, rng: np.random.Generator, count: int) -> Ints:
        low, high = self.bounds()
        return rng.integers(low.astype(np.int64), high.astype(np.int64) + 1, size=(count, self.data.probes))

    def improved(self, plans: NDArray, rng: np.random.Generator) -> None:
        return None

    def neighbours(self, plans: NDArray, front: Floats) -> None:
        return None


def archive_of(plans: Ints, problem: TargetGenes) -> Archive:
    return Archive(plans, problem.costs(plans))
