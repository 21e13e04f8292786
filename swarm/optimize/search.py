"""Opportunities -> front: the driver of the search; the same tables on any number of workers."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.constraints import UNUSED, PlanRules, allowed, decode, feasible, plan_rules, require_some
from swarm.objectives import chance_of_data, evaluate
from swarm.optimize.archive import Archive, costs_of, merged
from swarm.optimize.exchange import COVERAGE, KILOGRAM, RISK, SCIENCE, improve
from swarm.optimize.islands import (
    EpochShared,
    EpochTask,
    character_of,
    evolve_epoch,
    full_load_kg,
    hypervolume,
    stream,
    thinned,
)
from swarm.optimize.problem import random_plans
from swarm.plan_data import Chances, PlanData, column, plan_data
from swarm.propellant import probe_masses
from targets.catalogue import Catalogue

if TYPE_CHECKING:
    from swarm.study import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
OnDone = Callable[[int, int], None]

# With no more plans than this every one is evaluated: the front is then exact, and faster than a search.
EXACT_PLANS = 50_000
# Hypervolume is measured from here: -science, propellant as a share of all tanks full, risk.
REFERENCE = np.array([0.1, 1.1, 1.1])
# One place in so many of a population goes to plans of the neighbour, and as many to plans of the archive.
_MIGRANT_SHARE = 8
_SWEEPS = 3


class Pool(Protocol):
    """What the search needs of a pool: results in the order of the items."""

    def map(self, func: Callable[[Any, Any], Any], items: list, *, shared: Any = None) -> list: ...


@dataclass(frozen=True)
class Optimised:
    """The front and how it was found."""

    front: pa.Table  # plan, probes, science, propellant_kg, risk, loaded_kg
    plans: pa.Table  # plan, probe, opportunity, success, propellant_kg
    removed: dict[str, int]  # opportunities each limit removed, in the order applied
    allowed: int  # opportunities left
    hypervolume: tuple[float, ...]  # after seeding, then after each epoch
    exact: bool  # every feasible plan was evaluated


def optimize(
    study: Study,
    opportunities: pa.Table,
    targets: Catalogue,
    *,
    pool: Pool,
    on_done: OnDone | None = None,
    probes: int | None = None,
    exact_plans: int = EXACT_PLANS,
    judged: Chances | None = None,
) -> Optimised:
    """Search for the plans of which none is worse than another in science, propellant and risk.

    Parameters
    ----------
    opportunities : contract columns and `target_index`, the row of `targets`
    pool          : runs the islands; results do not depend on it
    on_done       : called as on_done(epochs done, epochs); once as (1, 1) where every plan is evaluated
    probes        : the most probes a plan may have; study.probe.count unless given
    exact_plans   : with no more plans than this every one is evaluated instead
    judged        : of each opportunity; encounters without errors unless given

    Raises NothingFeasible where no opportunity may be used. The empty plan is always a candidate.
    """
    found = allowed(study, opportunities)
    require_some(found, study)
    usable = opportunities.filter(pa.array(found.mask))
    usable_judged = None if judged is None else judged.take(found.mask)
    data = plan_data(study, usable, targets, judged=usable_judged, probes=probes)
    rules = plan_rules(study, usable, data.propellant_kg)
    exact = _count_plans(data, rules) <= exact_plans
    if exact:
        archive = _every_plan(data, rules)
        volumes = [_volume(archive, study, data)]
        if on_done is not None:
            on_done(1, 1)
    else:
        archive, volumes = _searched(study, data, rules, pool=pool, on_done=on_done)
    front, plans = _tables(archive, data, usable, loaded_kg=probe_masses(study).loaded_kg)
    return Optimised(front, plans, found.removed, usable.num_rows, tuple(volumes), exact)


# --- small cases: every plan --------------------------------------------------------------------------------


def _count_plans(data: PlanData, rules: PlanRules) -> int:
    """The number of sets of opportunities, feasible or not; with repetition where targets may be shared."""
    n = len(data.target)
    if rules.per_target > 1:
        return sum(math.comb(n + k - 1, k) for k in range(data.probes + 1))
    return sum(math.comb(n, k) for k in range(data.probes + 1))


def _every_plan(data: PlanData, rules: PlanRules) -> Archive:
    choose = itertools.combinations_with_replacement if rules.per_target > 1 else itertools.combinations
    sets = itertools.chain.from_iterable(choose(range(len(data.target)), k) for k in range(data.probes + 1))
    plans = np.array([[*chosen, *[UNUSED] * (data.probes - len(chosen))] for chosen in sets], dtype=np.int64)
    plans = decode(plans[feasible(plans, rules)], rules)
    return merged([_archive(plans, data)])


def _archive(plans: Ints, data: PlanData) -> Archive:
    return Archive(plans, costs_of(evaluate(plans, data)))


# --- the search ---------------------------------------------------------------------------------------------


def _searched(
    study: Study, data: PlanData, rules: PlanRules, *, pool: Pool, on_done: OnDone | None
) -> tuple[Archive, list[float]]:
    settings, seed = study.optimize, study.study.seed
    archive = thinned(_seed_plans(data, rules), settings.archive)
    volumes = [_volume(archive, study, data)]
    shared = EpochShared(data, rules, settings.generations_per_epoch)
    populations = [
        _first_population(archive, settings.population, data=data, rules=rules, seed=seed, island=i)
        for i in range(settings.islands)
    ]
    for epoch in range(settings.epochs):
        tasks = [EpochTask(plans, seed, epoch, island) for island, plans in enumerate(populations)]
        results = pool.map(evolve_epoch, tasks, shared=shared)
        archive = thinned(merged([archive, *(result.found for result in results)]), settings.archive)
        volumes.append(_volume(archive, study, data))
        populations = _migrated([result.plans for result in results], archive, seed=seed, epoch=epoch)
        if on_done is not None:
            on_done(epoch + 1, settings.epochs)
    return archive, volumes


def _seed_plans(data: PlanData, rules: PlanRules) -> Archive:
    """Good plans to start from: built greedily and improved, for a grid of prices of propellant and risk."""
    prices = np.concatenate([[0.0], np.logspace(-2.0, 1.0, 12)]) / full_load_kg(data)
    leanings = ((1.0, 0.0, 0.0), (1.0, 0.1, 1.0), (1.0, 1.0, 10.0), (0.0, 1.0, 10.0))
    weights = np.zeros((len(prices) * len(leanings), 4))
    for k, ((science, coverage, risk), price) in enumerate(itertools.product(leanings, prices)):
        weights[k, [SCIENCE, COVERAGE, KILOGRAM, RISK]] = science, coverage, price, risk
    empty = np.full((len(weights), data.probes), UNUSED, dtype=np.int64)
    visited = improve(empty, weights, data, rules, _SWEEPS)
    return merged([_archive(np.concatenate([empty[:1], visited]), data)])


def _first_population(
    archive: Archive, size: int, *, data: PlanData, rules: PlanRules, seed: int, island: int
) -> Ints:
    """Plans spread evenly along the seeded front, as many as the island's character asks, and random ones."""
    rng = np.random.default_rng(stream(seed, 0, island, 0))
    seeded = min(int(size * character_of(island).seeded), len(archive.plans))
    along = np.linspace(0, len(archive.plans) - 1, seeded).astype(np.int64)
    fresh = random_plans(rng, size - seeded, data=data, rules=rules)
    return np.concatenate([archive.plans[along], fresh])


def _migrated(populations: list[Ints], archive: Archive, *, seed: int, epoch: int) -> list[Ints]:
    """Ring migration: the best of the neighbour and some of the archive take the places of the worst."""
    moved = []
    for island, plans in enumerate(populations):
        rng = np.random.default_rng(stream(seed, epoch, island, 1))
        count = max(1, len(plans) // _MIGRANT_SHARE)
        guests = archive.plans[rng.integers(0, len(archive.plans), size=count)]
        moved.append(
            np.concatenate([plans[: len(plans) - 2 * count], populations[island - 1][:count], guests])
        )
    return moved


def _volume(archive: Archive, study: Study, data: PlanData) -> float:
    full_kg = max(data.probes * probe_masses(study).usable_kg, 1e-9)
    return hypervolume(archive.costs / np.array([1.0, full_kg, 1.0]), REFERENCE)


# --- tables -------------------------------------------------------------------------------------------------


def _tables(
    archive: Archive, data: PlanData, usable: pa.Table, *, loaded_kg: float
) -> tuple[pa.Table, pa.Table]:
    costs, plans = archive.costs, archive.plans
    science = 0.0 - costs[:, 0]
    order = np.lexsort((costs[:, 2], science, costs[:, 1]))
    science, costs, plans = science[order], costs[order], plans[order]
    used = plans >= 0
    number, place = np.nonzero(used)  # places are in order of release
    chosen = plans[used]
    probes = used.sum(axis=1)
    front = pa.table(
        {
            "plan": np.arange(len(plans)),
            "probes": probes,
            "science": science,
            "propellant_kg": costs[:, 1],
            "risk": costs[:, 2],
            "loaded_kg": probes * loaded_kg,
        }
    )
    rows = pa.table(
        {
            "plan": number,
            "probe": place,
            "opportunity": column(usable, "opportunity")[chosen],
            "success": chance_of_data(plans, data)[used],
            "propellant_kg": data.propellant_kg[chosen],
        }
    )
    return front, rows
