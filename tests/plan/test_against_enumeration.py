"""The dynamic programme against the sum over every outcome, written apart in plain Python."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swarm.plan.objectives import evaluate, row_chances
from tests.helpers.flown_as_aimed import plan_data
from tests.helpers.plain_evaluator import PlainEvaluator
from tests.helpers.small_cases import make_opportunities, make_study, make_targets

TAXONOMY = ["", "C", "S", "", "B", "Q", "", "X", "", "S"]


def study_with(rng: np.random.Generator, count: int):
    rows = [
        {
            "name": name,
            "where": where,
            "quality_min": float(rng.choice([0.0, 0.4, 0.8])),
            "baseline": int(baseline),
            "threshold": int(rng.integers(0, baseline + 1)),
            "weight": float(rng.uniform(0.2, 3.0)),
        }
        for name, where, baseline in zip(
            "abc",
            ({"taxonomy": ["C", "B"]}, {"taxonomy": ["S", "C"]}, {"diameter_km_min": 2.0}),
            rng.integers(1, 5, 3),
            strict=True,
        )
    ]
    survival = {"success": float(rng.uniform(0.2, 0.95)), "shared_fraction": float(rng.uniform(0.0, 0.6))}
    return make_study(rows, probe={"count": count}, survival=survival, constraints={"pairs": True})


@pytest.mark.parametrize("seed", range(12))
def test_every_outcome_of_up_to_eight_probes(seed: int) -> None:
    """Three rows, uncertain classes, some targets visited twice: equal within 1e-12."""
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 9))
    study = study_with(rng, count)
    table = make_opportunities(rng.integers(0, len(TAXONOMY), 30), seed=seed)
    targets = make_targets(TAXONOMY)
    plan = [int(o) for o in rng.choice(30, size=count, replace=False)]
    assert evaluate([plan], plan_data(study, table, targets))[0] == pytest.approx(
        PlainEvaluator(study, table, targets)(plan), abs=1e-12
    )


@pytest.mark.parametrize("seed", range(4))
def test_probes_of_different_reliability(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    study = study_with(rng, 6)
    table = make_opportunities(rng.integers(0, len(TAXONOMY), 12), seed=seed)
    targets = make_targets(TAXONOMY)
    works = rng.uniform(0.1, 1.0, 12)
    data = plan_data(study, table, targets)._replace(hardware=works)
    plan = [int(o) for o in rng.choice(12, size=6, replace=False)]
    expected = PlainEvaluator(study, table, targets)(plan, success=dict(enumerate(works)))
    assert evaluate([plan], data)[0] == pytest.approx(expected, abs=1e-12)


def test_chance_of_each_row_is_the_expected_count_of_one_probe() -> None:
    study = study_with(np.random.default_rng(3), 1)
    table = make_opportunities(range(len(TAXONOMY)))
    targets = make_targets(TAXONOMY)
    plain = PlainEvaluator(study, table, targets)
    chances = row_chances(plan_data(study, table, targets))
    for o in range(len(TAXONOMY)):
        works = {o: study.survival.success}
        common = study.survival.shared_fraction * (1 - study.survival.success)
        expected = sum(chance * np.array(counts) for chance, counts in plain.outcomes([o], works, common))
        assert chances[o] == pytest.approx(expected, abs=1e-12)
    assert 0.0 < chances.max() < 1.0


# --- properties -----------------------------------------------------------------------------------------------

RNG = np.random.default_rng(8)
STUDY = study_with(RNG, 8)
TABLE = make_opportunities(
    RNG.integers(0, len(TAXONOMY), 40), sun_earth_probe_deg=RNG.uniform(6.0, 150.0, 40)
)
DATA = plan_data(STUDY, TABLE, make_targets(TAXONOMY))
plans = st.lists(st.integers(0, 39), min_size=1, max_size=8, unique=True)


def padded(plan: list[int]) -> list[int]:
    return plan + [-1] * (8 - len(plan))


@settings(deadline=None)
@given(plan=plans)
def test_one_more_probe_never_lowers_science_nor_raises_risk(plan: list[int]) -> None:
    without, with_it = evaluate([padded(plan[:-1]), padded(plan)], DATA)
    assert with_it[0] >= without[0] - 1e-12
    assert with_it[1] > without[1]
    assert with_it[2] <= without[2] + 1e-12


@settings(deadline=None)
@given(plan=plans, seed=st.integers(0, 1000))
def test_order_of_probes_does_not_matter(plan: list[int], seed: int) -> None:
    shuffled = np.random.default_rng(seed).permutation(padded(plan))
    assert evaluate([shuffled], DATA)[0] == pytest.approx(evaluate([padded(plan)], DATA)[0], abs=1e-12)


@settings(deadline=None)
@given(plan=plans)
def test_nothing_works_nothing_gained(plan: list[int]) -> None:
    science, _, risk = evaluate([padded(plan)], DATA._replace(hardware=np.zeros(40)))[0]
    assert science == 0.0
    assert risk == pytest.approx(float(any(row.threshold for row in STUDY.science.rows)), abs=1e-12)


@settings(deadline=None)
@given(success=st.floats(0.05, 0.95), shared=st.floats(0.0, 0.5), baseline=st.integers(1, 6))
def test_science_is_concave_in_the_count_of_a_row(success: float, shared: float, baseline: int) -> None:
    study = make_study(
        [{"name": "all", "baseline": baseline}],
        probe={"count": 8},
        survival={"success": success, "shared_fraction": shared},
    )
    table = make_opportunities(range(8), sun_earth_probe_deg=np.full(8, 90.0))
    data = plan_data(study, table, make_targets([""] * 8))
    growing = [padded(list(range(k))) for k in range(9)]
    gains = np.diff(evaluate(growing, data)[:, 0])
    assert np.all(np.diff(gains) <= 1e-12)
    assert gains[0] == pytest.approx(success / baseline, abs=1e-12)
