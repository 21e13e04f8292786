"""Science, risk and measures with shared-failure groups and delivered quality against every outcome added up."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swarm.plan.data import Chances, row_qualities
from swarm.plan.measures import measures
from swarm.plan.objectives import evaluate, row_counts
from tests.helpers.flown_as_aimed import plan_data
from tests.helpers.plain_swarm import PlainSwarm
from tests.helpers.small_cases import START_JD_TDB, make_opportunities, make_study, make_targets

CLASSES = ("C", "S", "X", "V")
MIDDLE = START_JD_TDB + 600.0
LOTS = [
    {"name": "lot 1", "kind": "build-lot", "shared_fraction": 0.25, "release_until": MIDDLE},
    {"name": "dispenser", "kind": "dispenser", "shared_fraction": 0.3, "release_from": MIDDLE - 300.0},
]


def rows_of(rng: np.random.Generator) -> list[dict[str, Any]]:
    """Four rows that overlap in classes, sizes and quality."""
    wheres: list[dict[str, Any]] = [
        {"taxonomy": ["C", "B"]},
        {"taxonomy": ["S", "C"]},
        {"diameter_km_min": 2.0},
        {},
    ]
    baselines = rng.integers(1, 4, 4)
    return [
        {
            "name": f"row {k}",
            "where": where,
            "quality_min": float(quality),
            "baseline": int(baseline),
            "threshold": int(rng.integers(0, baseline + 1)),
            "weight": float(rng.uniform(0.2, 3.0)),
        }
        for k, (where, quality, baseline) in enumerate(
            zip(wheres, rng.choice([0.0, 0.3, 0.6], 4), baselines, strict=True)
        )
    ]


def judged_for(study, count: int, rng: np.random.Generator, *, relayed: bool = False) -> Chances:
    levels = len(row_qualities(study))
    quality = -np.sort(-rng.uniform(0.0, 1.0, (count, levels)), axis=1)
    return Chances(
        chance_returned=rng.choice([0.0, 0.4, 0.9, 1.0], count, p=[0.1, 0.3, 0.3, 0.3]),
        chance_quality=quality,
        dv99_m_s=rng.uniform(1.0, 20.0, count),
        home_days=np.full(count, 10.0 / 24.0),
        relayed=np.full(count, relayed),
    )


class Case:
    """A small swarm problem, the tool's data and the plain evaluator over the same numbers."""

    def __init__(self, seed: int, probes: int, *, taxonomy: list[str], groups: list, shared: float) -> None:
        rng = np.random.default_rng(seed)
        self.study = make_study(
            rows_of(rng),
            probe={"count": probes},
            mothership={"mass_kg": 1000.0},
            constraints={"pairs": True},
            survival={"shared_fraction": shared, "groups": groups},
        )
        n = len(taxonomy)
        self.table = make_opportunities(np.arange(n) if probes > 8 else rng.integers(0, n, n), seed=seed)
        self.targets = make_targets(taxonomy)
        self.judged = judged_for(self.study, n, rng)
        self.works = rng.uniform(0.3, 0.98, n)
        self.data = plan_data(self.study, self.table, self.targets, judged=self.judged)._replace(
            hardware=self.works
        )
        release = self.table["release_jd_tdb"].to_numpy()
        members = [(shared, set(range(n)))] if shared > 0 else []
        for group in groups:
            begin, until = group.get("release_from", 0.0), group.get("release_until", np.inf)
            inside = np.flatnonzero((release >= begin) & (release < until))
            members.append((group["shared_fraction"], {int(o) for o in inside}))
        self.plain = PlainSwarm(
            self.study, self.table, self.targets, judged=self.judged, works=self.works, groups=members
        )
        self.plan = [int(o) for o in rng.choice(n, size=min(probes, n), replace=False)]


def agree(case: Case) -> None:
    expected = case.plain.values(case.plan)
    assert expected["sum"] == pytest.approx(1.0, abs=1e-12)
    science, _, risk = evaluate([case.plan], case.data)[0]
    found = measures([case.plan], case.data)
    assert found.exact.all()
    values = (science, risk, found.p_baseline[0], found.p_none[0], found.cvar_science[0])
    names = ("science", "risk", "p_baseline", "p_none", "cvar")
    assert values == pytest.approx(tuple(expected[name] for name in names), abs=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_ten_probes_four_rows_two_groups(seed: int) -> None:
    """Ten probes at ten bodies of known class, the group of all and a build lot."""
    rng = np.random.default_rng(seed)
    agree(Case(seed, 10, taxonomy=list(rng.choice(CLASSES, 12)), groups=LOTS[:1], shared=0.15))


@pytest.mark.parametrize("seed", range(8))
def test_unknown_classes_shared_targets_three_overlapping_groups(seed: int) -> None:
    taxonomy = ["", "C", "", "S", "B", "X", "", "C"]
    agree(Case(20 + seed, 5, taxonomy=taxonomy, groups=LOTS, shared=0.2))


@pytest.mark.parametrize("seed", range(4))
def test_two_groups_without_the_group_of_all(seed: int) -> None:
    agree(Case(40 + seed, 6, taxonomy=["C", "S", "", "B", "C", "S", "X", ""], groups=LOTS, shared=0.0))


def test_the_cases_are_not_trivial() -> None:
    case = Case(3, 10, taxonomy=["C", "S"] * 6, groups=LOTS, shared=0.15)
    values = case.plain.values(case.plan)
    assert 0.05 < values["science"] < 0.95
    assert len(set(case.data.group_mask.tolist())) > 2
    without = case.data._replace(group_fraction=np.zeros(3))
    assert abs(evaluate([case.plan], case.data)[0, 0] - evaluate([case.plan], without)[0, 0]) > 1e-3


def test_counts_of_the_rows_are_those_of_all_outcomes() -> None:
    case = Case(5, 6, taxonomy=["C", "S", "C", "B", "S", "C", "X", "S"], groups=LOTS, shared=0.1)
    chance, counts, _ = case.plain.outcomes(case.plan)
    found = row_counts(case.plan, case.data)
    for r in range(4):
        cap = int(case.data.count_cap[r])
        capped = np.minimum(counts[:, r], cap)
        expected = [chance[capped == c].sum() for c in range(cap + 1)]
        assert found[r, : cap + 1] == pytest.approx(expected, abs=1e-12)


def test_bounds_stand_in_where_the_joint_counts_are_too_many() -> None:
    for seed in range(12):
        case = Case(60 + seed, 7, taxonomy=["C", "S", "", "B"] * 2, groups=LOTS, shared=0.1)
        exact, bound = (measures([case.plan], case.data, states_max=limit) for limit in (10**6, 1))
        assert exact.exact.all()
        assert not bound.exact.any()
        assert bound.p_baseline[0] >= exact.p_baseline[0] - 1e-12
        assert bound.cvar_science[0] <= exact.cvar_science[0] + 1e-12
        assert bound.p_none[0] == pytest.approx(exact.p_none[0], abs=1e-12)
        assert bound.p_threshold[0] == exact.p_threshold[0]


# --- properties -----------------------------------------------------------------------------------------------

CASE = Case(77, 8, taxonomy=["", "C", "S", "", "B", "X", "C", "S"] * 3, groups=LOTS, shared=0.2)
COUNT = CASE.table.num_rows
plans = st.lists(st.integers(0, COUNT - 1), min_size=1, max_size=8, unique=True)


def padded(plan: list[int]) -> list[int]:
    return plan + [-1] * (8 - len(plan))


@settings(deadline=None, max_examples=200)
@given(plan=plans)
def test_science_is_never_lowered_by_another_probe(plan: list[int]) -> None:
    """Probes of different reliability, groups that overlap: a more reliable one even loosens its groups."""
    without, with_it = evaluate([padded(plan[:-1]), padded(plan)], CASE.data)
    assert with_it[0] >= without[0] - 1e-12


@settings(deadline=None, max_examples=50)
@given(plan=plans, seed=st.integers(0, 1000))
def test_order_of_probes_does_not_matter(plan: list[int], seed: int) -> None:
    shuffled = np.random.default_rng(seed).permutation(padded(plan))
    assert evaluate([shuffled], CASE.data)[0] == pytest.approx(
        evaluate([padded(plan)], CASE.data)[0], abs=1e-12
    )


@settings(deadline=None, max_examples=50)
@given(plan=plans)
def test_nothing_works_or_nothing_comes_home_nothing_gained(plan: list[int]) -> None:
    dead = CASE.data._replace(hardware=np.zeros(COUNT))
    mute = plan_data(
        CASE.study, CASE.table, CASE.targets, judged=CASE.judged._replace(chance_returned=np.zeros(COUNT))
    )
    for data in (dead, mute):
        science, _, risk = evaluate([padded(plan)], data)[0]
        assert science == 0.0
        assert risk == pytest.approx(float(any(row.threshold for row in CASE.study.science.rows)), abs=1e-12)


@settings(deadline=None, max_examples=50)
@given(
    success=st.floats(0.05, 0.95),
    shared=st.floats(0.0, 0.5),
    lot=st.floats(0.01, 0.5),
    baseline=st.integers(1, 6),
)
def test_science_is_concave_in_the_count_of_a_row(success, shared, lot, baseline) -> None:
    """Equal probes in one lot: each further one adds no more than the one before."""
    groups = [{"name": "lot", "kind": "build-lot", "shared_fraction": lot}]
    study = make_study(
        [{"name": "all", "baseline": baseline}],
        probe={"count": 8},
        survival={"success": success, "shared_fraction": shared, "groups": groups},
    )
    table = make_opportunities(range(8), sun_earth_probe_deg=np.full(8, 90.0))
    data = plan_data(study, table, make_targets([""] * 8))
    growing = [padded(list(range(k))) for k in range(9)]
    gains = np.diff(evaluate(growing, data)[:, 0])
    assert np.all(np.diff(gains) <= 1e-12)
    assert gains[0] == pytest.approx(success / baseline, abs=1e-12)
