"""Problems whose exact fronts are known, as the islands ask for them.

ZDT1-3: Zitzler, Deb, Thiele 2000, Evolutionary Computation 8:173; DTLZ2: Deb, Thiele, Laumanns, Zitzler 2002.
The formulas are the evolving library's; nothing of plans is in here.
"""

from __future__ import annotations

import numpy as np
import pygmo
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Known:
    """A problem of the library's, by name; real genes, no way of its own to improve them."""

    def __init__(self, name: str, number: int, genes: int) -> None:
        self.name, self.number, self.genes = name, number, genes

    def _problem(self) -> pygmo.problem:
        if self.name == "zdt":
            return pygmo.problem(pygmo.zdt(prob_id=self.number, param=self.genes))
        return pygmo.problem(pygmo.dtlz(prob_id=self.number, dim=self.genes, fdim=3))

    def bounds(self) -> tuple[Floats, Floats]:
        low, high = self._problem().get_bounds()
        return np.asarray(low), np.asarray(high)

    def integers(self) -> int:
        return 0

    def decoded(self, genes: NDArray) -> Floats:
        return np.asarray(genes, dtype=np.float64).reshape(-1, self.genes)

    def costs(self, plans: NDArray) -> Floats:
        problem = self._problem()
        return np.array([problem.fitness(genes) for genes in plans]).reshape(len(plans), problem.get_nobj())

    def random(self, rng: np.random.Generator, count: int) -> Floats:
        low, high = self.bounds()
        return rng.uniform(low, high, size=(count, self.genes))

    def improved(self, plans: NDArray, rng: np.random.Generator) -> None:
        return None

    def neighbours(self, plans: NDArray, front: Floats) -> None:
        return None
