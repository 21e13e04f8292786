"""The one door to pygmo: one epoch of one island as a task, and the measures of a front."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pygmo
from numpy.typing import ArrayLike, NDArray

from swarm.optimize.archive import Archive, merged
from swarm.optimize.problem import Searchable

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# First number of every spawn key of this stage, so that no other stage draws the same stream.
STREAM = 2
_IMPROVED_SHARE = 8  # one plan in so many is improved locally after each epoch


_ANTS_KEPT = 63  # the library's default; it wants no more than the population


@dataclass(frozen=True)
class Character:
    """How an island searches. `seeded` is the share of its first population taken from good plans."""

    algorithm: str
    seeded: float
    crossover: float = 0.95
    mutation: float = 0.1


# Cautious around good plans; colonies of ants; the library's common setting, wide open and unseeded;
# disruptive. Own choice, from runs beside each other.
CHARACTERS = (
    Character("nsga2", seeded=0.75, crossover=0.9, mutation=0.05),
    Character("maco", seeded=0.5),
    Character("nsga2", seeded=0.0),
    Character("nspso", seeded=0.5),
    Character("nsga2", seeded=0.5, crossover=0.7, mutation=0.25),
)


@dataclass(frozen=True)
class EpochTask:
    """A population, (size, genes) feasible, and where in the search it stands."""

    plans: NDArray
    seed: int
    epoch: int
    island: int


@dataclass(frozen=True)
class NeighbourTask:
    """Plans of the archive whose neighbours are to be looked at, and the costs of the archive."""

    plans: NDArray
    front: Floats


@dataclass(frozen=True)
class EpochShared:
    """What all tasks of a search have in common."""

    problem: Searchable
    generations: int


@dataclass(frozen=True)
class EpochResult:
    """The evolved population, best first (None of a task without), every plan met on the way that none met
    beats, and how many were evaluated."""

    plans: NDArray | None
    found: Archive
    evaluations: int


def character_of(island: int) -> Character:
    """Return the character of an island; they repeat."""
    return CHARACTERS[island % len(CHARACTERS)]


def stream(seed: int, *key: int) -> np.random.SeedSequence:
    """Return the random stream of this stage that belongs to `key`, the same on any worker."""
    return np.random.SeedSequence(entropy=seed, spawn_key=(STREAM, *key))


def run_task(task: EpochTask | NeighbourTask, shared: EpochShared) -> EpochResult:
    """Run one task of an epoch; depends on its arguments only."""
    if isinstance(task, NeighbourTask):
        seen = shared.problem.neighbours(task.plans, task.front)
        if seen is None:
            raise ValueError("this problem has no neighbours to look at")
        return EpochResult(None, *seen)
    return evolve_epoch(task, shared)


def evolve_epoch(task: EpochTask, shared: EpochShared) -> EpochResult:
    """Evolve one island for one epoch."""
    rng = np.random.default_rng(stream(task.seed, task.epoch, task.island))
    problem = shared.problem
    evolving = Evolving(problem)
    population = _population(evolving, _without_twins(task.plans, rng, problem), rng)
    evolved = _algorithm(shared.generations, task, rng).evolve(population)
    seen = evolved.problem.extract(Evolving)
    plans = problem.decoded(np.asarray(evolved.get_x()))
    plans = plans[best_first(np.asarray(evolved.get_f()))]
    plans, improved, extra = _with_improved(plans, rng, problem)
    return EpochResult(plans, merged([*seen.found, *improved]), seen.evaluations + extra)


class Evolving:
    """A problem as the library asks for it. Genes are decoded before they are evaluated; every plan seen
    that none beats is kept in `found`, since a population alone forgets."""

    def __init__(self, problem: Searchable) -> None:
        self.inner = problem
        self.found: list[Archive] = []
        self.evaluations = 0

    def __deepcopy__(self, memo: dict) -> Evolving:
        # The library copies its problem freely; the arrays are never written to and are shared.
        copied = Evolving(self.inner)
        copied.found, copied.evaluations = list(self.found), self.evaluations
        return copied

    def costs(self, plans: NDArray) -> Floats:
        """Evaluate decoded genes and remember the best."""
        costs = self.inner.costs(plans)
        self.evaluations += len(plans)
        self.found.append(merged([Archive(plans, costs)]))
        return costs

    def fitness(self, genes: ArrayLike) -> list[float]:
        return self.batch_fitness(genes).tolist()

    def batch_fitness(self, genes: ArrayLike) -> Floats:
        lowest, _ = self.inner.bounds()
        return self.costs(self.inner.decoded(np.asarray(genes).reshape(-1, len(lowest)))).ravel()

    def has_batch_fitness(self) -> bool:
        return True

    def get_bounds(self) -> tuple[list[float], list[float]]:
        lowest, highest = self.inner.bounds()
        return lowest.tolist(), highest.tolist()

    def get_nix(self) -> int:
        return self.inner.integers()

    def get_nobj(self) -> int:
        return self.inner.costs(self.inner.random(np.random.default_rng(0), 1)).shape[1]

    def get_name(self) -> str:
        return type(self.inner).__name__


def _population(evolving: Evolving, plans: NDArray, rng: np.random.Generator) -> pygmo.population:
    costs = evolving.costs(plans)
    population = pygmo.population(pygmo.problem(evolving), size=0, seed=_seed(rng))
    for plan, cost in zip(plans, costs, strict=True):
        population.push_back(plan.astype(np.float64), cost)
    return population


def _algorithm(generations: int, task: EpochTask, rng: np.random.Generator) -> pygmo.algorithm:
    character, seed = character_of(task.island), _seed(rng)
    if character.algorithm == "maco":
        chosen = pygmo.maco(gen=generations, ker=min(_ANTS_KEPT, len(task.plans)), seed=seed)
    elif character.algorithm == "nspso":
        chosen = pygmo.nspso(gen=generations, seed=seed)
    else:
        chosen = pygmo.nsga2(gen=generations, cr=character.crossover, m=character.mutation, seed=seed)
    chosen.set_bfe(pygmo.bfe(pygmo.member_bfe()))
    return pygmo.algorithm(chosen)


def _seed(rng: np.random.Generator) -> int:
    return int(rng.integers(0, 2**32, dtype=np.uint32))


def _without_twins(plans: NDArray, rng: np.random.Generator, problem: Searchable) -> NDArray:
    """Give the place of every repeated plan to a random one; migration and crossover breed twins."""
    _, first = np.unique(plans, axis=0, return_index=True)
    fresh = plans.copy()
    twins = np.setdiff1d(np.arange(len(plans)), first)
    fresh[twins] = problem.random(rng, len(twins))
    return fresh


def _with_improved(
    plans: NDArray, rng: np.random.Generator, problem: Searchable
) -> tuple[NDArray, list[Archive], int]:
    """Put improved ones of the better plans in the places of the worst; also return all met on the way."""
    count = max(1, len(plans) // _IMPROVED_SHARE)
    chosen = rng.choice(len(plans) // 2, size=count, replace=False)
    result = problem.improved(plans[chosen], rng)
    if result is None:
        return plans, [], 0
    improved, evaluations = result
    guests = improved.plans[: len(plans) // 2]
    if len(improved.plans) > count:
        guests = improved.plans[np.sort(rng.choice(len(improved.plans), size=count, replace=False))]
    together = np.concatenate([plans[: len(plans) - len(guests)], guests])
    order = best_first(problem.costs(together))
    return together[order], [improved], evaluations + len(together)


# --- measures of a front ------------------------------------------------------------------------------------


def best_first(costs: Floats) -> Ints:
    """Return the order of a population by front, then by distance from its neighbours."""
    if len(costs) < 2:
        return np.arange(len(costs))
    return np.asarray(pygmo.sort_population_mo(costs)).astype(np.int64)


def hypervolume(costs: Floats, reference: Floats) -> float:
    """Return the volume between a front and the reference, each axis as given; what is not below it adds
    nothing."""
    below = costs[(costs < reference).all(axis=1)]
    return float(pygmo.hypervolume(below).compute(reference)) if len(below) else 0.0
