"""The driver of the islands: synchronous epochs, migration, the archive, and when to stop.

Islands are tasks; between epochs the driver alone decides. Nothing here depends on how many workers run
them, and nothing knows what a plan is.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from swarm.optimize.archive import Archive, merged, thinned
from swarm.optimize.islands import (
    EpochResult,
    EpochShared,
    EpochTask,
    NeighbourTask,
    character_of,
    hypervolume,
    run_task,
    stream,
)
from swarm.optimize.problem import Searchable

if TYPE_CHECKING:
    from swarm.run.workers import Pool

Floats = NDArray[np.float64]
OnDone = Callable[[int, int], None]

# One place in so many of a population goes to plans of the neighbour, and as many to plans of the archive.
_MIGRANT_SHARE = 8
# Plans of the archive whose neighbours one task looks at, and most such tasks in an epoch.
_SLICE, _SLICES = 50, 8


@dataclass(frozen=True)
class Effort:
    """How hard to search; every number is part of the answer.

    stall_epochs : stop after so many epochs in which the hypervolume grew by less than stall_share in all,
                   once the archive is full or every plan of it was looked around; 0: never
    stop_after_s : stop by the clock, which makes the answer depend on the machine; None: never
    """

    islands: int
    population: int
    epochs: int
    generations: int
    archive: int
    stall_epochs: int = 0
    stall_share: float = 1e-4
    stop_after_s: float | None = None


@dataclass(frozen=True)
class Convergence:
    """One row an epoch, the start included: evaluations so far, hypervolume, plans in the archive."""

    evaluations: tuple[int, ...]
    hypervolume: tuple[float, ...]
    archived: tuple[int, ...]
    stopped_by: str  # "epochs", "stall" or "clock"


@dataclass(frozen=True)
class Measure:
    """How the hypervolume is measured: costs are divided by `scale`, then compared with `reference`."""

    scale: Floats
    reference: Floats

    def __call__(self, costs: Floats) -> float:
        return hypervolume(costs / self.scale, self.reference)


def search(
    problem: Searchable,
    seeds: Archive,
    effort: Effort,
    *,
    seed: int,
    measure: Measure,
    pool: Pool,
    on_done: OnDone | None = None,
) -> tuple[Archive, Convergence]:
    """Evolve islands from `seeds` (evaluated, at least one) and return what is best of all that was met."""
    begun = time.monotonic()
    archive = thinned(merged([seeds]), effort.archive)
    shared = EpochShared(problem, effort.generations)
    populations = [
        _first_population(problem, archive, effort, seed=seed, island=i) for i in range(effort.islands)
    ]
    explored: set[bytes] = set()
    evaluations, volumes, sizes = [len(seeds.plans)], [measure(archive.costs)], [len(archive.plans)]
    stopped_by = "epochs"
    for epoch in range(effort.epochs):
        around = _unexplored(problem, archive, explored)
        tasks = [*(EpochTask(plans, seed, epoch, i) for i, plans in enumerate(populations)), *around]
        results = pool.map(run_task, tasks, shared=shared)
        archive = thinned(merged([archive, *(result.found for result in results)]), effort.archive)
        evaluations.append(evaluations[-1] + sum(result.evaluations for result in results))
        volumes.append(measure(archive.costs))
        sizes.append(len(archive.plans))
        populations = _migrated(results[: effort.islands], archive, seed=seed, epoch=epoch)
        if on_done is not None:
            on_done(epoch + 1, effort.epochs)
        if effort.stop_after_s is not None and time.monotonic() - begun > effort.stop_after_s:
            stopped_by = "clock"
            break
        if (not around or len(archive.plans) == effort.archive) and _stalled(volumes, effort):
            stopped_by = "stall"
            break
    return archive, Convergence(tuple(evaluations), tuple(volumes), tuple(sizes), stopped_by)


def _stalled(volumes: list[float], effort: Effort) -> bool:
    if effort.stall_epochs == 0 or len(volumes) <= effort.stall_epochs:
        return False
    return volumes[-1] - volumes[-1 - effort.stall_epochs] <= effort.stall_share * abs(volumes[-1])


def _unexplored(problem: Searchable, archive: Archive, explored: set[bytes]) -> list[NeighbourTask]:
    """Tasks that look around plans of the archive not looked around yet, spread evenly along it."""
    if problem.neighbours(archive.plans[:0], archive.costs) is None:
        return []
    new = np.array(
        [k for k, plan in enumerate(archive.plans) if plan.tobytes() not in explored], dtype=np.int64
    )
    if len(new) > _SLICE * _SLICES:
        new = new[np.linspace(0, len(new) - 1, _SLICE * _SLICES).astype(np.int64)]
    explored.update(archive.plans[k].tobytes() for k in new)
    return [
        NeighbourTask(archive.plans[new[k : k + _SLICE]], archive.costs) for k in range(0, len(new), _SLICE)
    ]


def _first_population(
    problem: Searchable, archive: Archive, effort: Effort, *, seed: int, island: int
) -> NDArray:
    """Plans spread evenly along the seeded front, as many as the island's character asks, and random ones."""
    rng = np.random.default_rng(stream(seed, 0, island, 0))
    seeded = min(int(effort.population * character_of(island).seeded), len(archive.plans))
    along = np.linspace(0, len(archive.plans) - 1, seeded).astype(np.int64)
    return np.concatenate([archive.plans[along], problem.random(rng, effort.population - seeded)])


def _migrated(results: list[EpochResult], archive: Archive, *, seed: int, epoch: int) -> list[NDArray]:
    """Ring migration: the best of the neighbour and some of the archive take the places of the worst."""
    populations = [result.plans for result in results if result.plans is not None]
    moved = []
    for island, plans in enumerate(populations):
        rng = np.random.default_rng(stream(seed, epoch, island, 1))
        count = max(1, len(plans) // _MIGRANT_SHARE)
        guests = archive.plans[rng.integers(0, len(archive.plans), size=count)]
        kept = plans[: len(plans) - 2 * count]
        moved.append(np.concatenate([kept, populations[island - 1][:count], guests]))
    return moved
