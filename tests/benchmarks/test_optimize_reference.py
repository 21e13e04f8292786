"""The reference study: bound and search together, three seeds, and plain searches beside it.

Run alone on a quiet machine: `pytest -m benchmark -s tests/benchmarks/test_optimize_reference.py`. The screen is run
first; with SWARM_REFERENCE_RUN the folder of an earlier `swarm screen runs/reference/study.toml` is used instead.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pygmo
import pytest

from swarm.app.pipeline import Options, run_screen
from swarm.optimize.archive import Archive, merged
from swarm.optimize.islands import Evolving
from swarm.optimize.search import Optimised, measure_of
from swarm.plan.judged import chances_of, judge_all
from swarm.plan.question import Question, pose
from swarm.run.folder import Run
from swarm.run.workers import open_workers
from swarm.study.schema import read_study
from targets.catalogue.reading import Catalogue
from tests.benchmarks.report import print_table, processor
from tests.benchmarks.target_genes import TargetGenes
from tests.helpers.flown_as_aimed import allowed, optimize
from tests.helpers.places import REFERENCE

pytestmark = pytest.mark.benchmark

POPULATION = 200


@dataclass
class Reference:
    study: Any
    opportunities: Any
    targets: Catalogue
    mothership: Any
    judged: Any
    pool: Any

    def optimised(self, seed: int | None = None) -> tuple[Optimised, float]:
        """The front, without looking at what constraints cost, and the seconds it took."""
        study = self.study.with_seed(seed)
        settings = study.optimize.model_copy(update={"constraint_costs": False})
        study = study.model_copy(update={"optimize": settings})
        begun = time.perf_counter()
        found = optimize(
            study,
            self.opportunities,
            self.targets,
            pool=self.pool,
            judged=self.judged,
            mothership=self.mothership,
        )
        return found, time.perf_counter() - begun


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Reference]:
    earlier = os.environ.get("SWARM_REFERENCE_RUN")
    run = (
        Run.open(earlier)
        if earlier
        else run_screen(REFERENCE, tmp_path_factory.mktemp("ref") / "run", Options(2))
    )
    study = read_study(REFERENCE)
    opportunities, targets = run.read_table("opportunities"), Catalogue.from_table(run.read_table("targets"))
    with open_workers(2) as pool:
        judged = chances_of(judge_all(study, opportunities, targets, pool=pool))
        made = Reference(study, opportunities, targets, run.read_table("mothership"), judged, pool)
        made.optimised()  # compiles
        yield made


def test_at_least_two_thousand_targets_are_in_reach(reference: Reference) -> None:
    assert reference.study.catalogue.bodies == 1_400_000
    assert reference.study.probe.count == 12
    assert len(reference.targets) >= 2000


def test_bound_and_three_seeds(reference: Reference) -> None:
    """At least 40 levels, sum of best over sum of upper at least 0.97, seeds within 0.5 %."""
    rows, volumes = [], []
    for seed in (reference.study.study.seed, 1, 2):
        found, seconds = reference.optimised(seed)
        volumes.append(found.hypervolume[-1])
        share = 1.0 - found.within
        evaluations = found.progress["evaluations"][-1].as_py()
        rows.append((f"seed {seed}: {evaluations} evaluations", f"{seconds:.0f} s", f"{share:.4f}"))
        assert found.bound.num_rows >= 40
        assert share >= 0.97
        print_table("hypervolume " + f"{volumes[-1]:.6f}, {found.stopped_by}", rows[-1:])
    levels = found.bound.to_pylist()
    print_table(
        "propellant level: science proven impossible to exceed, share found",
        [_level_row(row) for row in levels],
    )
    assert max(volumes) - min(volumes) <= 0.005 * max(volumes)


def _level_row(row: dict[str, float]) -> tuple[str, str, str]:
    share = row["science_best"] / row["science_upper"]
    return f"{row['propellant_kg']:.3f} kg", f"{row['science_upper']:.5f}", f"{share:.4f}"


# --- side by side -----------------------------------------------------------------------------------------------


class _Stop:
    """Says when a search has had its evaluations, or its seconds."""

    def __init__(self, *, evaluations: int | None = None, seconds: float | None = None) -> None:
        self.evaluations, self.most_seconds = evaluations, seconds
        self.begun, self.seen = time.perf_counter(), 0

    @property
    def seconds(self) -> float:
        return time.perf_counter() - self.begun

    def __call__(self, evaluations: int) -> bool:
        self.seen = evaluations
        if self.evaluations is not None:
            return evaluations >= self.evaluations
        return self.most_seconds is not None and self.seconds > self.most_seconds


def _hypervolume(reference: Reference, archive: Archive, problem: TargetGenes) -> float:
    return measure_of(reference.study, problem.data)(archive.costs)


def _evolved(
    make: Callable[[int, int], Any], problem: TargetGenes, *, until: Callable[[int], bool]
) -> Archive:
    """Evolve one population in bouts of 20 generations until told; everything met counts, not the last alone."""
    bouts, best = 0, None
    rng = np.random.default_rng(1)
    evolving = Evolving(problem)
    population = pygmo.population(pygmo.problem(evolving), size=0, seed=1)
    start = problem.random(rng, POPULATION)
    costs = evolving.costs(problem.plans(start))
    for genes, cost in zip(start, costs, strict=True):
        population.push_back(genes.astype(float), cost)
    evaluations = POPULATION
    while not until(evaluations):
        algorithm = make(20, bouts + 1)
        algorithm.set_bfe(pygmo.bfe(pygmo.member_bfe()))
        population = pygmo.algorithm(algorithm).evolve(population)
        seen = population.problem.extract(Evolving)
        best = merged(seen.found if best is None else [best, *seen.found])
        seen.found.clear()
        evaluations, bouts = seen.evaluations, bouts + 1
    assert best is not None
    return best


def _nsga3(problem: TargetGenes, *, until: Callable[[int], bool]) -> Archive:
    pytest.importorskip("pymoo", reason="pymoo is a benchmark's own outside opinion: pip install pymoo")
    from pymoo.algorithms.moo.nsga3 import NSGA3
    from pymoo.core.problem import Problem
    from pymoo.operators.crossover.sbx import SBX
    from pymoo.operators.mutation.pm import PM
    from pymoo.operators.repair.rounding import RoundingRepair
    from pymoo.operators.sampling.rnd import IntegerRandomSampling
    from pymoo.util.ref_dirs import get_reference_directions

    low, high = problem.bounds()
    best: list[Archive] = []
    counted = 0

    class Genes(Problem):
        def __init__(self) -> None:
            super().__init__(n_var=len(low), n_obj=3, xl=low, xu=high, vtype=int)

        def _evaluate(self, x: np.ndarray, out: dict, *args: Any, **options: Any) -> None:
            nonlocal counted
            plans = problem.plans(x)
            costs = problem.costs(plans)
            counted += len(plans)
            best[:] = [merged([*best, Archive(plans, costs)])]
            out["F"] = costs

    algorithm = NSGA3(
        get_reference_directions("das-dennis", 3, n_partitions=18), pop_size=POPULATION,
        sampling=IntegerRandomSampling(), crossover=SBX(prob=1.0, eta=3.0, vtype=float, repair=RoundingRepair()),
        mutation=PM(prob=1.0, eta=3.0, vtype=float, repair=RoundingRepair()), eliminate_duplicates=True,
    )  # fmt: skip
    algorithm.setup(Genes(), seed=1, verbose=False, termination=("n_gen", 10**9))
    while not until(counted):
        algorithm.next()
    return best[0]


def _plain_searches() -> dict[str, Callable[..., Archive]]:
    def nsga2(problem: TargetGenes, *, until: Callable[[int], bool]) -> Archive:
        def make(generations: int, seed: int) -> Any:
            return pygmo.nsga2(gen=generations, cr=0.95, m=0.1, seed=seed)

        return _evolved(make, problem, until=until)

    def maco(problem: TargetGenes, *, until: Callable[[int], bool]) -> Archive:
        return _evolved(
            lambda generations, seed: pygmo.maco(gen=generations, seed=seed), problem, until=until
        )

    return {"pygmo NSGA-II": nsga2, "pygmo MACO": maco, "pymoo NSGA-III": _nsga3}


def test_side_by_side_with_plain_searches_on_target_genes(reference: Reference) -> None:
    found, seconds = reference.optimised()
    ours = found.hypervolume[-1]
    evaluations = int(found.progress["evaluations"][-1].as_py())

    from swarm.plan.flight import Flight

    flight = Flight(reference.opportunities, reference.mothership)
    question = Question(
        reference.study, reference.opportunities, reference.targets, reference.judged, flight, None
    )
    posed = pose(question, allowed(reference.study, reference.opportunities, flight).mask)
    rows = [(f"this search, {evaluations} evaluations, {seconds:.0f} s", f"{ours:.5f}", "1.000")]
    for name, plain in _plain_searches().items():
        problem = TargetGenes(posed.data, posed.rules)

        stop = _Stop(evaluations=evaluations)
        volume = _hypervolume(reference, plain(problem, until=stop), problem)
        rows.append(
            (f"{name}, equal evaluations ({stop.seconds:.0f} s)", f"{volume:.5f}", f"{volume / ours:.3f}")
        )
        stop = _Stop(seconds=seconds)
        volume = _hypervolume(reference, plain(problem, until=stop), problem)
        rows.append(
            (f"{name}, equal wall time ({stop.seen} evaluations)", f"{volume:.5f}", f"{volume / ours:.3f}")
        )
        assert volume < ours
    print_table(f"hypervolume side by side on {processor()}", rows)
