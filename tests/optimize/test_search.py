"""The search against full enumeration, the checker and itself on other pools."""

from __future__ import annotations

import itertools
import pickle

import numpy as np
import pyarrow as pa
import pytest

from swarm.encounter.propellant import probe_masses
from swarm.optimize.exchange import improve
from swarm.optimize.islands import Evolving
from swarm.optimize.problem import PlanProblem, random_plans, random_weights
from swarm.optimize.search import REFERENCE
from swarm.plan.objectives import evaluate
from swarm.plan.rules import feasible
from targets.base.errors import NothingFeasible
from tests.helpers.flown_as_aimed import optimize, plan_data
from tests.helpers.medium_parts import medium_parts
from tests.helpers.plain_evaluator import PlainEvaluator
from tests.helpers.plan_checker import problems_of
from tests.helpers.serial_pool import Backwards, Serial
from tests.helpers.small_cases import (
    SMALL_SEARCH,
    make_opportunities,
    make_study,
    make_targets,
    medium_case,
)

TAXONOMY = ["", "C", "S", "", "B", "Q"]


def small_case(*, pairs: bool, seed: int):
    """10 opportunities at 6 targets, up to 3 probes; some releases collide, one encounter is behind the Sun."""
    rng = np.random.default_rng(seed)
    study = make_study(constraints={"pairs": pairs, "release_spacing_days": 15.0}, optimize=SMALL_SEARCH)
    angles = np.full(10, 60.0)
    angles[4] = 2.0
    table = make_opportunities(
        rng.integers(0, 6, 10),
        seed=seed,
        release_jd_tdb=study.study.start + 10.0 * rng.integers(0, 12, 10),
        burn_jd_tdb=np.full(10, study.study.start + 150.0),
        encounter_jd_tdb=np.full(10, study.study.start + 300.0),
        sun_earth_probe_deg=angles,
    )
    return study, table, make_targets(TAXONOMY)


def plain_plans(study, table) -> list[tuple[int, ...]]:
    """Every feasible plan, by the words of the contract."""
    rows = table.to_pylist()
    usable = [k for k, row in enumerate(rows) if row["sun_earth_probe_deg"] >= 5.0]
    plans = []
    for size in range(study.probe.count + 1):
        for plan in itertools.combinations(usable, size):
            releases = sorted(rows[o]["release_jd_tdb"] for o in plan)
            spaced = all(b - a >= 15.0 for a, b in itertools.pairwise(releases))
            visits = [rows[o]["target_index"] for o in plan]
            if spaced and all(visits.count(t) <= (2 if study.constraints.pairs else 1) for t in visits):
                plans.append(plan)
    return plans


def plain_front(values: list[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """Values no other beats by more than rounding, each once, in the order of the contract's table."""
    rounded = sorted({(round(p, 12), round(s, 12), round(r, 12)) for s, p, r in values})
    return [
        b
        for b in rounded
        if not any(a != b and a[0] <= b[0] and a[1] >= b[1] and a[2] <= b[2] for a in rounded)
    ]


@pytest.mark.parametrize("exact_plans", [50_000, 0], ids=["all plans", "islands"])
@pytest.mark.parametrize(("pairs", "seed"), [(False, 1), (False, 2), (True, 3), (True, 4)])
def test_front_equals_full_enumeration(pairs: bool, seed: int, exact_plans: int) -> None:
    """10 opportunities, 3 probes: science, propellant and risk of the front equal within 1e-12."""
    study, table, targets = small_case(pairs=pairs, seed=seed)
    plain = PlainEvaluator(study, table, targets)
    expected = plain_front([plain(list(plan)) for plan in plain_plans(study, table)])
    out = optimize(study, table, targets, pool=Serial(), exact_plans=exact_plans)
    assert out.exact == (exact_plans > 0)
    found = [(row["propellant_kg"], row["science"], row["risk"]) for row in out.front.to_pylist()]
    assert len(expected) > 3
    assert np.array(found) == pytest.approx(np.array(expected), abs=1e-12)
    assert problems_of(study, table, out.front, out.plans) == []
    assert out.removed["constraints.sun_earth_probe_min_deg at encounter"] == 1


@pytest.mark.parametrize("pairs", [False, True])
def test_every_plan_is_worth_what_the_plain_evaluator_says(pairs: bool) -> None:
    study, table, targets = small_case(pairs=pairs, seed=5)
    plain, data = PlainEvaluator(study, table, targets), plan_data(study, table, targets)
    plans = plain_plans(study, table)
    padded = [[*plan, *[-1] * (3 - len(plan))] for plan in plans]
    assert evaluate(padded, data) == pytest.approx(np.array([plain(list(plan)) for plan in plans]), abs=1e-12)


def test_every_plan_of_a_larger_front_passes_the_checker() -> None:
    study, table, targets = medium_case()
    out = optimize(study, table, targets, pool=Serial())
    assert not out.exact
    assert out.front.num_rows > 20
    assert problems_of(study, table, out.front, out.plans) == []
    plain = PlainEvaluator(study, table, targets)
    number = {row["opportunity"]: k for k, row in enumerate(table.to_pylist())}
    members: dict[int, list[int]] = {}
    for row in out.plans.to_pylist():
        members.setdefault(row["plan"], []).append(number[row["opportunity"]])
    for row in out.front.to_pylist()[:: out.front.num_rows // 5]:
        expected = plain(members.get(row["plan"], []))
        assert (row["science"], row["propellant_kg"], row["risk"]) == pytest.approx(expected, abs=1e-12)


def test_hypervolume_never_falls() -> None:
    study, table, targets = medium_case()
    done: list[tuple[int, int]] = []
    out = optimize(study, table, targets, pool=Serial(), on_done=lambda *progress: done.append(progress))
    assert len(out.hypervolume) == 5
    assert np.all(np.diff(out.hypervolume) >= -1e-12)
    assert 0.0 < out.hypervolume[-1] < np.prod(REFERENCE + np.array([1.0, 0.0, 0.0]))
    assert done == [(1, 4), (2, 4), (3, 4), (4, 4)]


def test_same_tables_again_and_in_any_order_of_the_work() -> None:
    study, table, targets = medium_case()
    serial = optimize(study, table, targets, pool=Serial())
    fanned = optimize(study, table, targets, pool=Backwards())
    for one, other in ((serial.front, fanned.front), (serial.plans, fanned.plans)):
        assert one.equals(other)
    assert serial.hypervolume == fanned.hypervolume


def test_another_seed_takes_another_way() -> None:
    study, table, targets = medium_case()
    one = optimize(study, table, targets, pool=Serial())
    other = optimize(study.with_seed(12), table, targets, pool=Serial())
    assert one.convergence.evaluations[1:3] != other.convergence.evaluations[1:3]
    assert one.hypervolume[-1] == pytest.approx(other.hypervolume[-1], rel=5e-3)


def test_tightening_a_constraint_shrinks_the_front() -> None:
    """Wider spacing and no thresholds met by fewer probes: never more volume, and here clearly less."""
    study, table, targets = small_case(pairs=False, seed=1)
    tight = study.model_copy(
        update={"constraints": study.constraints.model_copy(update={"release_spacing_days": 60.0})}
    )
    free, bound = (optimize(s, table, targets, pool=Serial()) for s in (study, tight))
    assert bound.hypervolume[-1] < 0.99 * free.hypervolume[-1]


def test_archive_limit_is_kept() -> None:
    study, table, targets = medium_case()
    few = study.model_copy(update={"optimize": study.optimize.model_copy(update={"archive": 10})})
    out = optimize(few, table, targets, pool=Serial())
    assert out.front.num_rows <= 10
    assert problems_of(few, table, out.front, out.plans) == []


def test_contract_columns() -> None:
    study, table, targets = small_case(pairs=False, seed=1)
    out = optimize(study, table, targets, pool=Serial())
    assert out.front.column_names[:5] == ["plan", "probes", "science", "propellant_kg", "risk"]
    assert out.plans.column_names == ["plan", "probe", "opportunity", "success", "propellant_kg"]
    kinds = {name: str(out.front.schema.field(name).type) for name in out.front.column_names}
    assert kinds == {
        "plan": "int64", "probes": "int64", "science": "double", "propellant_kg": "double", "risk": "double",
        "loaded_kg": "double",
    }  # fmt: skip
    last = out.front.to_pylist()[-1]
    assert last["loaded_kg"] == pytest.approx(last["probes"] * probe_masses(study).loaded_kg)


def test_no_probes_leave_the_empty_plan() -> None:
    study, table, targets = small_case(pairs=False, seed=1)
    out = optimize(study, table, targets, pool=Serial(), probes=0)
    assert out.front.to_pylist() == [
        {"plan": 0, "probes": 0, "science": 0.0, "propellant_kg": 0.0, "risk": 1.0, "loaded_kg": 0.0}
    ]
    assert out.plans.num_rows == 0


def test_fewer_probes_than_the_study_has() -> None:
    study, table, targets = medium_case()
    out = optimize(study, table, targets, pool=Serial(), probes=2)
    assert max(out.front["probes"].to_pylist()) == 2
    assert problems_of(study, table, out.front, out.plans, probes=2) == []


def test_nothing_allowed_names_the_limit() -> None:
    study, table, targets = small_case(pairs=False, seed=1)
    hidden = table.set_column(
        table.column_names.index("sun_earth_probe_deg"), "sun_earth_probe_deg", pa.array(np.ones(10))
    )
    with pytest.raises(NothingFeasible, match="sun_earth_probe_min_deg at encounter removed 10"):
        optimize(study, hidden, targets, pool=Serial())


def test_islands_find_what_enumeration_finds() -> None:
    """24 opportunities, 4 probes, 12 951 sets: all of the hypervolume to 0.1 %, and 95 % of the points."""
    study, _, _ = small_case(pairs=False, seed=1)
    rng = np.random.default_rng(6)
    targets = make_targets(list(rng.choice(["", "C", "S", "X"], 12)))
    table = make_opportunities(rng.integers(0, 12, 24), sun_earth_probe_deg=np.full(24, 50.0))
    effort = study.optimize.model_copy(update={"population": 32, "epochs": 8})
    study = study.model_copy(update={"optimize": effort})
    every = optimize(study, table, targets, pool=Serial(), probes=4)
    found = optimize(study, table, targets, pool=Serial(), probes=4, exact_plans=0)
    assert every.exact
    assert not found.exact
    assert 0.999 * every.hypervolume[-1] <= found.hypervolume[-1] <= every.hypervolume[-1] + 1e-12
    points = {tuple(np.round(list(row.values())[1:5], 9)) for row in every.front.to_pylist()}
    reached = {tuple(np.round(list(row.values())[1:5], 9)) for row in found.front.to_pylist()}
    assert len(points) > 15
    assert len(points & reached) >= 0.95 * len(points)


# --- parts ----------------------------------------------------------------------------------------------------


def test_local_improvement_keeps_plans_feasible_and_improves_them() -> None:
    data, rules = medium_parts()
    rng = np.random.default_rng(4)
    starts = random_plans(rng, 10, data=data, rules=rules)
    weights = random_weights(rng, 10, data)
    for start, weight in zip(starts, weights, strict=True):
        visited = improve(start[None], weight[None], data, rules, 3)
        assert feasible(visited, rules).all()
        weight_no_coverage = weight * [1.0, 0.0, 1.0, 1.0]
        if weight[1] == 0.0 and len(visited):
            values = evaluate(np.vstack([start[None], visited]), data)
            worth = values @ (weight_no_coverage[[0, 2, 3]] * [1.0, -1.0, -1.0])
            assert np.all(np.diff(worth) > 0.0)


@pytest.mark.parametrize(
    "weights",
    [[1.0, 0.0, 0.3, 0.0], [1.0, 0.0, 0.1, 5.0], [0.0, 0.0, 0.02, 1.0], [0.0, 1.0, 0.1, 0.0]],
    ids=["science", "both", "risk", "coverage"],
)
def test_no_single_exchange_improves_an_improved_plan(weights: list[float]) -> None:
    """The quick price of an opportunity is exact where targets are visited once, so the end is a true optimum."""
    data, rules = medium_parts()
    rng = np.random.default_rng(1)
    count = len(data.target)
    # "coverage" is science with the thresholds as baselines, rows without a threshold weighing nothing
    asked = data.threshold > 0
    covered = data._replace(weight=asked / asked.sum(), baseline=np.maximum(data.threshold, 1))

    def worth(plans: np.ndarray) -> np.ndarray:
        science, kilograms, risk = evaluate(plans, data).T
        coverage = evaluate(plans, covered)[:, 0]
        return weights[0] * science + weights[1] * coverage - weights[2] * kilograms - weights[3] * risk

    for start in random_plans(rng, 3, data=data, rules=rules):
        final = improve(start[None], np.array([weights]), data, rules, 100)[-1]
        for place in range(data.probes):
            others = np.repeat(final[None], count + 1, axis=0)
            others[:, place] = np.arange(-1, count)
            others = others[feasible(others, rules)]
            assert worth(others).max() <= worth(final[None])[0] + 1e-9


def test_greedy_start_takes_the_best_single_probe_first() -> None:
    data, rules = medium_parts()
    alone = evaluate(np.arange(len(data.target))[:, None], data)
    weights = np.array([[1.0, 0.0, 0.5, 0.0]])
    first = improve(np.full((1, data.probes), -1), weights, data, rules, 1)[0]
    assert first[0] == int(np.argmax(alone[:, 0] - 0.5 * alone[:, 1]))


def test_problem_survives_pickling_and_decodes_every_gene() -> None:
    data, rules = medium_parts()
    problem = pickle.loads(pickle.dumps(Evolving(PlanProblem(data, rules))))
    lower, upper = problem.get_bounds()
    rng = np.random.default_rng(0)
    genes = rng.integers(int(lower[0]), int(upper[0]) + 1, size=(50, problem.get_nix()))
    together = problem.batch_fitness(genes.ravel()).reshape(50, 3)
    assert together.tolist() == [problem.fitness(one) for one in genes]
    assert np.all(np.isfinite(together))
