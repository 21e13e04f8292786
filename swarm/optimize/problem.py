"""The choice of opportunities as a problem to evolve a population on; knows nothing of the library."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from swarm.constraints import UNUSED, PlanRules, decode
from swarm.objectives import evaluate
from swarm.optimize.archive import Archive, costs_of, merged
from swarm.plan_data import PlanData

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# One gene value in so many stands for "no probe", so that small swarms stay in reach of mutation.
_NONE_SHARE = 8


class PlanProblem:
    """One integer gene per probe, an opportunity or negative for none; minimise -science, propellant, risk.

    Genes are decoded into a feasible plan before they are evaluated; every plan seen that none beats is
    kept in `found`, since a population alone forgets.
    """

    def __init__(self, data: PlanData, rules: PlanRules) -> None:
        self.data, self.rules = data, rules
        self.found: list[Archive] = []

    def __deepcopy__(self, memo: dict) -> PlanProblem:
        # The evolving library copies its problem freely; the arrays are never written to and are shared.
        copied = PlanProblem(self.data, self.rules)
        copied.found = list(self.found)
        return copied

    def costs(self, plans: Ints) -> Floats:
        """Evaluate feasible plans and remember the best, (n, 3)."""
        costs = costs_of(evaluate(plans, self.data))
        self.found.append(merged([Archive(plans, costs)]))
        return costs

    def fitness(self, genes: ArrayLike) -> list[float]:
        return self.batch_fitness(genes).tolist()

    def batch_fitness(self, genes: ArrayLike) -> Floats:
        whole = np.asarray(genes).reshape(-1, self.data.probes).astype(np.int64)
        return self.costs(decode(whole, self.rules)).ravel()

    def has_batch_fitness(self) -> bool:
        return True

    def get_bounds(self) -> tuple[list[float], list[float]]:
        count = len(self.data.target)
        lowest = -max(1, count // _NONE_SHARE)
        return [float(lowest)] * self.data.probes, [float(count - 1)] * self.data.probes

    def get_nix(self) -> int:
        return self.data.probes

    def get_nobj(self) -> int:
        return 3

    def get_name(self) -> str:
        return "choice of opportunities"


def random_plans(rng: np.random.Generator, count: int, *, data: PlanData, rules: PlanRules) -> Ints:
    """Return feasible plans of every size, opportunities drawn evenly, (count, probes)."""
    genes = rng.integers(0, len(data.target), size=(count, data.probes))
    sizes = rng.integers(1, data.probes + 1, size=count)
    genes[np.arange(data.probes) >= sizes[:, None]] = UNUSED
    return decode(genes, rules)
