"""Islands, migration and archive, without anything that knows plans, on fronts with a known hypervolume.

Exact hypervolumes by integral, reference 1.1 in every objective (computed independently of this project):
ZDT1 0.876667, ZDT2 0.543333, ZDT3 1.331763, DTLZ2 with three objectives 0.807401.
"""

from __future__ import annotations

import numpy as np
import pytest

from swarm.optimize.archive import Archive
from swarm.optimize.epochs import Effort, Measure, search
from tests.helpers.known_fronts import Known
from tests.helpers.serial_pool import Serial

CASES = [
    (Known("zdt", 1, 30), 0.876667),
    (Known("zdt", 2, 30), 0.543333),
    (Known("zdt", 3, 30), 1.331763),
    (Known("dtlz", 2, 12), 0.807401),
]


def searched(problem: Known, *, seed: int, **effort: int):
    start = problem.random(np.random.default_rng(seed), 8)
    seeds = Archive(start, problem.costs(start))
    objectives = seeds.costs.shape[1]
    measure = Measure(np.ones(objectives), np.full(objectives, 1.1))
    wanted = Effort(
        **{"islands": 4, "population": 60, "epochs": 10, "generations": 30, "archive": 2500, **effort}
    )
    return search(problem, seeds, wanted, seed=seed, measure=measure, pool=Serial())


@pytest.mark.parametrize(("problem", "exact"), CASES, ids=["zdt1", "zdt2", "zdt3", "dtlz2"])
def test_hypervolume_reaches_the_exact_one_and_never_exceeds_it(problem: Known, exact: float) -> None:
    archive, run = searched(problem, seed=5)
    assert len(archive.plans) <= 2500
    assert 0.98 <= run.hypervolume[-1] / exact <= 1.0


def test_evaluations_are_counted_and_the_search_stalls() -> None:
    problem = Known("zdt", 1, 5)
    counted = 0

    class Counting(Known):
        def costs(self, plans):
            nonlocal counted
            counted += len(plans)
            return super().costs(plans)

    problem = Counting("zdt", 1, 5)
    _, run = searched(problem, seed=2, epochs=30, stall_epochs=3, archive=100)
    assert run.stopped_by == "stall"
    assert len(run.hypervolume) < 31
    # the library asks each new problem once how many objectives it has, and the seeds are evaluated outside
    assert counted == pytest.approx(run.evaluations[-1], abs=4 * 4 * len(run.evaluations))
    assert list(run.evaluations) == sorted(run.evaluations)


def test_the_clock_stops_only_where_it_is_asked() -> None:
    _, run = searched(Known("zdt", 1, 5), seed=2, epochs=4)
    assert run.stopped_by == "epochs"
    _, run = searched(Known("zdt", 1, 5), seed=2, epochs=4, stop_after_s=1e-9)
    assert run.stopped_by == "clock"
    assert len(run.evaluations) == 2
