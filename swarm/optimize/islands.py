"""The one door to pygmo: one epoch of one island as a task, and the measures of a front."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pygmo
from numpy.typing import NDArray

from swarm.constraints import PlanRules, decode
from swarm.objectives import evaluate
from swarm.optimize.archive import Archive, costs_of, merged
from swarm.optimize.exchange import COVERAGE, KILOGRAM, RISK, SCIENCE, improve
from swarm.optimize.problem import PlanProblem, random_plans
from swarm.plan_data import PlanData

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# First number of every spawn key of this stage, so that no other stage draws the same stream.
STREAM = 2
_IMPROVED_SHARE = 8  # one plan in so many is improved locally after each epoch
_SWEEPS = 3


@dataclass(frozen=True)
class Character:
    """How an island searches. `seeded` is the share of its first population taken from good plans."""

    crossover: float
    mutation: float
    seeded: float


# Cautious around good plans; the library's common setting; wide open and unseeded; disruptive. Own choice.
CHARACTERS = (
    Character(crossover=0.9, mutation=0.05, seeded=0.75),
    Character(crossover=0.95, mutation=0.1, seeded=0.5),
    Character(crossover=0.95, mutation=0.1, seeded=0.0),
    Character(crossover=0.7, mutation=0.25, seeded=0.5),
)


@dataclass(frozen=True)
class EpochTask:
    """A population, (size, probes) feasible plans, and where in the search it stands."""

    plans: Ints
    seed: int
    epoch: int
    island: int


@dataclass(frozen=True)
class EpochShared:
    """What all tasks of a search have in common."""

    data: PlanData
    rules: PlanRules
    generations: int


@dataclass(frozen=True)
class EpochResult:
    """The evolved population, best first, and every plan met on the way that none met beats."""

    plans: Ints
    found: Archive


def character_of(island: int) -> Character:
    """Return the character of an island; they repeat."""
    return CHARACTERS[island % len(CHARACTERS)]


def stream(seed: int, *key: int) -> np.random.SeedSequence:
    """Return the random stream of this stage that belongs to `key`, the same on any worker."""
    return np.random.SeedSequence(entropy=seed, spawn_key=(STREAM, *key))


def evolve_epoch(task: EpochTask, shared: EpochShared) -> EpochResult:
    """Evolve one island for one epoch; depends on its arguments only."""
    seeds = stream(task.seed, task.epoch, task.island)
    rng = np.random.default_rng(seeds)
    problem = PlanProblem(shared.data, shared.rules)
    population = _population(problem, _without_twins(task.plans, rng, shared), rng)
    evolved = _algorithm(shared.generations, character_of(task.island), rng).evolve(population)
    seen = evolved.problem.extract(PlanProblem)
    plans = decode(np.asarray(evolved.get_x()).astype(np.int64), shared.rules)
    plans = plans[best_first(np.asarray(evolved.get_f()))]
    plans, improved = _with_improved(plans, rng, shared)
    return EpochResult(plans, merged([*seen.found, improved]))


def _population(problem: PlanProblem, plans: Ints, rng: np.random.Generator) -> pygmo.population:
    costs = problem.costs(plans)
    population = pygmo.population(pygmo.problem(problem), size=0, seed=_seed(rng))
    for plan, cost in zip(plans, costs, strict=True):
        population.push_back(plan.astype(np.float64), cost)
    return population


def _algorithm(generations: int, character: Character, rng: np.random.Generator) -> pygmo.algorithm:
    nsga2 = pygmo.nsga2(gen=generations, cr=character.crossover, m=character.mutation, seed=_seed(rng))
    nsga2.set_bfe(pygmo.bfe(pygmo.member_bfe()))
    return pygmo.algorithm(nsga2)


def _seed(rng: np.random.Generator) -> int:
    return int(rng.integers(0, 2**32, dtype=np.uint32))


def _without_twins(plans: Ints, rng: np.random.Generator, shared: EpochShared) -> Ints:
    """Give the place of every repeated plan to a random one; migration and crossover breed twins."""
    _, first = np.unique(plans, axis=0, return_index=True)
    fresh = plans.copy()
    twins = np.setdiff1d(np.arange(len(plans)), first)
    fresh[twins] = random_plans(rng, len(twins), data=shared.data, rules=shared.rules)
    return fresh


def _with_improved(plans: Ints, rng: np.random.Generator, shared: EpochShared) -> tuple[Ints, Archive]:
    """Put improved ones of the better plans in the places of the worst; also return all met on the way."""
    count = max(1, len(plans) // _IMPROVED_SHARE)
    chosen = rng.choice(len(plans) // 2, size=count, replace=False)
    weights = random_weights(rng, count, shared.data)
    visited = improve(plans[chosen], weights, shared.data, shared.rules, _SWEEPS)
    improved = merged([Archive(visited, costs_of(evaluate(visited, shared.data)))])
    guests = improved.plans[: len(plans) // 2]
    if len(improved.plans) > count:
        guests = improved.plans[np.sort(rng.choice(len(improved.plans), size=count, replace=False))]
    together = np.concatenate([plans[: len(plans) - len(guests)], guests])
    return together[best_first(costs_of(evaluate(together, shared.data)))], improved


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


# --- measures of a front ------------------------------------------------------------------------------------


def best_first(costs: Floats) -> Ints:
    """Return the order of a population by front, then by distance from its neighbours."""
    if len(costs) < 2:
        return np.arange(len(costs))
    return np.asarray(pygmo.sort_population_mo(costs)).astype(np.int64)


def hypervolume(costs: Floats, reference: Floats) -> float:
    """Return the volume between a front and the reference, each axis as given; every cost is below it."""
    return float(pygmo.hypervolume(costs).compute(reference))


def thinned(archive: Archive, limit: int) -> Archive:
    """Return at most `limit` plans, the loneliest first; the ends of every objective always stay."""
    if len(archive.plans) <= limit:
        return archive
    distance = np.asarray(pygmo.crowding_distance(archive.costs))
    # the library marks one plan per end; further plans with that extreme value are ordinary
    chosen = np.sort(np.argsort(-distance, kind="stable")[:limit])
    return Archive(archive.plans[chosen], archive.costs[chosen])
