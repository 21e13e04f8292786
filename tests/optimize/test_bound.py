"""The bound against full enumeration, and each of the steps that make it one."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from swarm.decide.summary import bound_line
from swarm.optimize import programme
from swarm.optimize.bound import best_within, science_bound
from swarm.optimize.pruning import row_chances_given_hardware, unpruned
from swarm.optimize.row_bound import cut_from, knot_weights, row_table, slope_of, tightest_cut
from swarm.plan.objectives import evaluate
from swarm.plan.rules import decode, feasible
from tests.helpers.flown_as_aimed import allowed, optimize, plan_data, plan_rules
from tests.helpers.serial_pool import Serial
from tests.helpers.small_cases import make_opportunities, make_study, make_targets

CASES = 24


def expected_capped(chances: list[float], cap: int) -> float:
    """E[min(N, cap)] by adding up the distribution of N."""
    pmf = np.array([1.0])
    for p in chances:
        pmf = np.convolve(pmf, [1.0 - p, p])
    return float(np.minimum(np.arange(len(pmf)), cap) @ pmf)


def random_case(seed: int) -> tuple[Any, pa.Table, Any]:
    """Up to 12 opportunities at few targets of uncertain class, overlapping rows, shared failures, some pairs."""
    rng = np.random.default_rng(seed)
    n, bodies = int(rng.integers(5, 13)), int(rng.integers(2, 8))
    rows = [
        {
            "name": "dark",
            "where": {"taxonomy": ["C", "B"]},
            "baseline": int(rng.integers(1, 4)),
            "weight": 2.0,
        },
        {"name": "dark or stony", "where": {"taxonomy": ["C", "S"]}, "baseline": int(rng.integers(1, 4))},
        {
            "name": "large",
            "where": {"diameter_km_min": 2.0},
            "quality_min": 0.4,
            "baseline": 2,
            "threshold": 1,
        },
        {"name": "any", "baseline": int(rng.integers(1, 5)), "weight": float(rng.uniform(0.1, 3.0))},
    ]
    survival: dict[str, Any] = {"shared_fraction": float(rng.choice([0.0, 0.1, 0.5]))}
    if seed % 3 == 0:
        survival |= {"model": "weibull", "weibull_scale_days": 600.0, "weibull_shape": 0.7, "dormancy": 0.5}
    else:
        survival |= {"success": float(rng.uniform(0.3, 0.95))}
    if seed % 4 == 1:
        middle = float(make_study().study.start_jd_tdb + 600.0)
        survival["groups"] = [
            {"name": "lot", "kind": "build-lot", "shared_fraction": 0.3, "release_until": middle},
            {"name": "late lot", "kind": "build-lot", "shared_fraction": 0.4, "release_from": middle},
        ]
    study = make_study(
        rows,
        probe={"count": int(rng.integers(1, 5))},
        survival=survival,
        constraints={"pairs": seed % 2 == 0, "release_spacing_days": float(rng.choice([0.0, 15.0, 40.0]))},
        optimize={"levels": 12},
    )
    table = make_opportunities(
        rng.integers(0, bodies, n), seed=seed,
        release_jd_tdb=study.study.start + 10.0 * rng.integers(0, 12, n),
        burn_jd_tdb=np.full(n, study.study.start + 150.0),
        encounter_jd_tdb=np.full(n, study.study.start + 300.0),
    )  # fmt: skip
    return study, table, make_targets(list(rng.choice(["", "C", "S", "X"], bodies)))


@pytest.mark.parametrize("seed", range(CASES))
def test_never_below_the_best_plan_of_full_enumeration(seed: int) -> None:
    study, table, targets = random_case(seed)
    if not allowed(study, table).mask.any():
        pytest.skip("every encounter of this draw is behind the Sun")
    out = optimize(study, table, targets, pool=Serial())
    assert out.exact
    upper, best = (out.bound[name].to_numpy() for name in ("science_upper", "science_best"))
    assert np.all(best <= upper)
    assert np.all(np.diff(upper) >= 0.0)
    assert out.bound.num_rows in (1, 12)
    assert 0.0 <= out.within <= 0.12
    assert "of a proven bound" in bound_line(out.bound, out.bounded)


def test_two_probes_may_fly_one_opportunity_where_nothing_keeps_them_apart() -> None:
    """One opportunity, two probes, success 0.5 each: E[min(N, 2)]/2 = 0.5; one probe alone gives 0.25."""
    study = make_study(
        [{"name": "any", "baseline": 2}],
        probe={"count": 2},
        survival={"success": 0.5, "shared_fraction": 0.0},
        constraints={"pairs": True, "release_spacing_days": 0.0},
    )
    table = make_opportunities([0], sun_earth_probe_deg=[90.0])
    out = optimize(study, table, make_targets(["C"]), pool=Serial())
    assert out.bound["science_best"].to_numpy().max() == pytest.approx(0.5)
    assert np.all(out.bound["science_best"].to_numpy() <= out.bound["science_upper"].to_numpy())


def test_probes_that_are_sure_to_be_lost_give_a_bound_of_zero() -> None:
    study = make_study(survival={"success": 0.0, "shared_fraction": 1.0})
    out = optimize(study, make_opportunities([0, 1]), make_targets(["C", "S"]), pool=Serial())
    assert out.bound["science_upper"].to_pylist() == [0.0]


def medium_parts() -> tuple[Any, Any]:
    from tests.helpers.medium_parts import medium_parts

    return medium_parts()


def empty(data: Any) -> np.ndarray:
    return np.full((1, data.probes), -1, dtype=np.int64)


def test_close_to_the_best_plans_of_a_larger_case() -> None:
    data, rules = medium_parts()
    proven = science_bound(data, rules, known=empty(data), levels=10, pool=Serial())
    assert feasible(proven.plans, rules).all()
    science, kilograms, _ = evaluate(proven.plans, data).T
    best = best_within(proven.propellant_kg, science, kilograms)
    assert np.all(best <= proven.science_upper)
    assert best.sum() >= 0.99 * proven.science_upper.sum()


def test_the_dual_bound_is_reported_not_the_plan_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """A solver that finds nothing but proves the same leaves the bound; one that proves more raises it."""
    data, rules = medium_parts()
    plain = science_bound(data, rules, known=empty(data), levels=3, pool=Serial())
    real = programme._run

    def finds_nothing(solver: Any) -> Any:
        dual, x = real(solver)
        return dual, np.zeros_like(x)

    def proves_little(solver: Any) -> Any:
        dual, x = real(solver)
        return dual - 0.02, x

    monkeypatch.setattr(programme, "_run", finds_nothing)
    blind = science_bound(data, rules, known=empty(data), levels=3, pool=Serial())
    assert np.all(blind.science_upper >= plain.science_upper - 2e-3)
    monkeypatch.setattr(programme, "_run", proves_little)
    loose = science_bound(data, rules, known=empty(data), levels=3, pool=Serial())
    assert loose.science_upper[-1] == pytest.approx(plain.science_upper[-1] + 0.02, abs=2e-3)


def test_no_opportunity_that_counts_gives_a_bound_of_zero() -> None:
    study = make_study([{"name": "huge", "where": {"diameter_km_min": 500.0}}])
    out = optimize(study, make_opportunities([0, 1]), make_targets(["C", "S"]), pool=Serial())
    assert out.bound["science_upper"].to_pylist() == [0.0]
    assert out.within == 0.0


@pytest.mark.parametrize("seed", range(8))
def test_pruning_loses_no_science(seed: int) -> None:
    """Crowded release slots: the best science at any propellant is the same without what was pruned."""
    rng = np.random.default_rng(seed)
    study = make_study(probe={"count": 3}, constraints={"release_spacing_days": 15.0})
    n = 26
    release = study.study.start + 10.0 * rng.integers(0, 3, n)
    angle = np.full(n, 90.0)
    table = make_opportunities(
        rng.integers(0, 12, n), seed=seed, release_jd_tdb=release, burn_jd_tdb=release + 3.0,
        sun_earth_probe_deg=angle,
    )  # fmt: skip
    data = plan_data(study, table, make_targets(list(rng.choice(["C", "S"], 12))))
    rules = plan_rules(study, table, data)
    chances = data.hardware[:, None] * row_chances_given_hardware(data)
    everything = np.arange(n)
    kept = everything[unpruned(data, rules, chances, everything, depth=3)]
    assert len(kept) < n
    levels = np.linspace(0.0, float(np.sort(data.propellant_kg)[-3:].sum()), 15)
    assert best_of(kept, data, rules, levels) == pytest.approx(
        best_of(everything, data, rules, levels), abs=1e-12
    )


def best_of(columns: np.ndarray, data: Any, rules: Any, levels: np.ndarray) -> np.ndarray:
    grid = np.stack(np.meshgrid(*[np.append(-1, columns)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    plans = decode(grid[feasible(grid, rules)], rules)
    science, kilograms, _ = evaluate(plans, data).T
    return best_within(levels, science, kilograms)


# --- one row --------------------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=60)
@given(
    pool=st.lists(st.floats(0.001, 0.999), min_size=1, max_size=30),
    most=st.integers(1, 12),
    cap=st.integers(1, 6),
    seed=st.integers(0, 10_000),
)
def test_a_cut_is_above_every_choice_of_chances(pool: list[float], most: int, cap: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    chances = np.array(pool)
    table = row_table(chances, most, cap, taken=rng.random(len(chances)))
    wanted = rng.choice(chances, size=min(most, len(chances)), replace=False)
    weights = knot_weights(table, wanted, np.ones(len(wanted)))
    for cut in (tightest_cut(table, weights), cut_from(table, rng.random(len(table.knots)))):
        for _ in range(5):
            some = rng.choice(chances, size=int(rng.integers(0, most + 1)))
            assert expected_capped(list(some), cap) <= cut.alpha + slope_of(table, cut, some).sum()


@settings(deadline=None, max_examples=60)
@given(
    pool=st.lists(st.floats(0.001, 0.999), min_size=1, max_size=30),
    most=st.integers(1, 12),
    cap=st.integers(1, 6),
    seed=st.integers(0, 10_000),
)
def test_a_cut_is_as_low_as_a_general_solver_makes_it(
    pool: list[float], most: int, cap: int, seed: int
) -> None:
    """The envelope over every multiset, as one linear programme: scipy's HiGHS (Huangfu, Hall 2018)."""
    rng = np.random.default_rng(seed)
    table = row_table(np.array(pool), most, cap)
    whole = table.counts[rng.integers(0, len(table.counts))].astype(float)
    broken = rng.random(len(table.knots)) * (rng.random(len(table.knots)) < 0.7) * most / len(table.knots)
    for weights in (whole, broken, np.zeros(len(table.knots))):
        cut = tightest_cut(table, weights)
        solved = linprog(
            -table.expected,
            A_ub=table.counts.T,
            b_ub=weights,
            A_eq=np.ones((1, len(table.counts))),
            b_eq=[1.0],
            method="highs",
        )
        assert cut.alpha + cut.slopes @ weights == pytest.approx(-solved.fun, abs=1e-6)


@pytest.mark.parametrize("cap", [1, 2, 4])
def test_with_equal_chances_the_cut_is_exact(cap: int) -> None:
    """One knot: the points (i p, E[min(Bin(i, p), k)])."""
    table = row_table(np.full(50, 0.7), 12, cap)
    assert len(table.knots) == 1
    for i in range(13):
        cut = tightest_cut(table, np.array([float(i)]))
        assert cut.alpha + i * cut.slopes[0] == pytest.approx(expected_capped([0.7] * i, cap), abs=1e-8)


def test_with_two_kinds_of_chances_the_cut_is_nearly_exact_at_the_plan() -> None:
    """0.2 and 0.7 mixed, 12 probes, 4 wanted: within 0.3 %, where one knot alone is off by several."""
    chances = np.array([0.2] * 20 + [0.7] * 20)
    table, coarse = row_table(chances, 12, 4), row_table(np.array([0.7]), 12, 4)
    for few in range(13):
        some = np.array([0.2] * few + [0.7] * (12 - few))
        exact = expected_capped(list(some), 4)
        fine = tightest_cut(table, knot_weights(table, some, np.ones(12)))
        loose = tightest_cut(coarse, np.array([some.sum() / 0.7]))
        assert exact <= fine.alpha + slope_of(table, fine, some).sum() <= 1.003 * exact
        assert loose.alpha + loose.slopes[0] * some.sum() / 0.7 >= exact
    twelve = np.array([0.2] * 12)
    loose = tightest_cut(coarse, np.array([twelve.sum() / 0.7]))
    assert loose.alpha + loose.slopes[0] * twelve.sum() / 0.7 > 1.02 * expected_capped(list(twelve), 4)
