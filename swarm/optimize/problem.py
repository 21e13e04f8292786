"""What a search works on: the little it asks of a problem, and the choice of opportunities as one."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from swarm.optimize.archive import Archive, costs_of, merged
from swarm.optimize.exchange import COVERAGE, KILOGRAM, RISK, SCIENCE, improve
from swarm.optimize.neighbours import explore
from swarm.plan.constraints import UNUSED
from swarm.plan.data import PlanData
from swarm.plan.objectives import evaluate
from swarm.plan.rules import PlanRules, decode, decode_as_met, new_met

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# One gene value in so many stands for "no probe", so that small swarms stay in reach of mutation.
_NONE_SHARE = 8
_SWEEPS = 3
# Most finds kept of one task that looks at neighbours; the next epoch goes on from them.
_FINDS = 20_000


class Searchable(Protocol):
    """A problem as the islands see it; lives in an importable module, since it is pickled by reference."""

    def bounds(self) -> tuple[Floats, Floats]:
        """Lowest and highest value of each gene."""

    def integers(self) -> int:
        """How many genes, the last ones, are whole numbers."""

    def decoded(self, genes: NDArray) -> NDArray:
        """Genes of any kind made feasible and brought into their one form; stays what it is if repeated."""

    def costs(self, plans: NDArray) -> Floats:
        """Costs of decoded genes, (n, 2 or 3), all to be small."""

    def random(self, rng: np.random.Generator, count: int) -> NDArray:
        """Decoded genes to start from."""

    def improved(self, plans: NDArray, rng: np.random.Generator) -> tuple[Archive, int] | None:
        """Better ones found from decoded genes in ways of the problem's own, and evaluations; None: no way."""

    def neighbours(self, plans: NDArray, front: Floats) -> tuple[Archive, int] | None:
        """Neighbours of decoded genes that a front does not beat, and evaluations; None: there are none."""


class PlanProblem:
    """One integer gene per probe, an opportunity or negative for none; minimise -science, propellant, risk."""

    def __init__(self, data: PlanData, rules: PlanRules) -> None:
        self.data, self.rules = data, rules
        self._met = new_met()  # a worker's own: what one has found of pairs is not sent to the others

    def __reduce__(self) -> tuple[type[PlanProblem], tuple[PlanData, PlanRules]]:
        return PlanProblem, (self.data, self.rules)

    def bounds(self) -> tuple[Floats, Floats]:
        count = len(self.data.target)
        lowest = -max(1, count // _NONE_SHARE)
        return np.full(self.data.probes, float(lowest)), np.full(self.data.probes, float(count - 1))

    def integers(self) -> int:
        return self.data.probes

    def decoded(self, genes: NDArray) -> Ints:
        whole = np.asarray(genes).reshape(-1, self.data.probes).astype(np.int64)
        return decode_as_met(whole, self.rules, self._met)

    def costs(self, plans: NDArray) -> Floats:
        return costs_of(evaluate(plans, self.data))

    def random(self, rng: np.random.Generator, count: int) -> Ints:
        return random_plans(rng, count, data=self.data, rules=self.rules)

    def improved(self, plans: NDArray, rng: np.random.Generator) -> tuple[Archive, int]:
        visited = improve(plans, random_weights(rng, len(plans), self.data), self.data, self.rules, _SWEEPS)
        return merged([Archive(visited, self.costs(visited))]), len(visited)

    def neighbours(self, plans: NDArray, front: Floats) -> tuple[Archive, int]:
        better, _ = explore(plans, front, self.data, self.rules, room=_FINDS)
        return better, len(better.plans)


def random_plans(rng: np.random.Generator, count: int, *, data: PlanData, rules: PlanRules) -> Ints:
    """Return feasible plans of every size, opportunities drawn evenly, (count, probes)."""
    genes = rng.integers(0, len(data.target), size=(count, data.probes))
    sizes = rng.integers(1, data.probes + 1, size=count)
    genes[np.arange(data.probes) >= sizes[:, None]] = UNUSED
    return decode(genes, rules)


def random_weights(rng: np.random.Generator, count: int, data: PlanData) -> Floats:
    """Return weights for `improve`, each leaning its own way between the objectives, (count, 4)."""
    weights = np.zeros((count, 4))
    weights[:, SCIENCE] = rng.random(count) < 0.85
    weights[:, KILOGRAM] = 10.0 ** rng.uniform(-2.0, 1.0, count) / full_load_kg(data)
    weights[:, RISK] = np.where(rng.random(count) < 0.6, 10.0 ** rng.uniform(-1.0, 1.5, count), 0.0)
    weights[:, COVERAGE] = 0.1 * weights[:, RISK]
    return weights


def full_load_kg(data: PlanData) -> float:
    """Return a scale of propellant: the dearest opportunity for every probe."""
    return max(float(data.propellant_kg.max(initial=0.0)) * data.probes, 1e-9)
