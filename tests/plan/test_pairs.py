"""Two probes at one target: printed break-evens, and pairs give way where another target beats them."""

from __future__ import annotations

import numpy as np
import pytest

from swarm.plan.objectives import evaluate
from swarm.plan.pairs import break_even, pairs_of, second_probe_gain, without_losing_pairs
from tests.helpers.flown_as_aimed import plan_data, plan_rules
from tests.helpers.small_cases import START_JD_TDB, make_opportunities, make_study, make_targets


def test_break_even_of_equal_independent_probes() -> None:
    """Duplicate only if V1 p (1 - p) > V2 p: with p = 0.7 the target must be worth 3.33 times the other."""
    assert break_even(0.7, 0.7, 0.7, shared_fraction=0.0) == pytest.approx(1 / 0.3)
    assert break_even(0.7, 0.7, 0.35, shared_fraction=0.0) == pytest.approx(0.5 / 0.3)


def test_any_shared_failure_raises_the_bar() -> None:
    """q = .3, beta = .1: q_c = .03, q_i = .27/.97; gain = .97 (1 - q_i^2) - .7 = .194845 (by hand)."""
    own = 0.27 / 0.97
    assert second_probe_gain(0.7, 0.7, 0.1) == pytest.approx(0.97 * (1 - own**2) - 0.7)
    bars = [break_even(0.7, 0.7, 0.7, shared_fraction=beta) for beta in (0.0, 0.05, 0.1, 0.2, 0.5)]
    assert np.all(np.diff(bars) > 0)
    assert break_even(0.7, 0.7, 0.7, shared_fraction=1.0) == float("inf")


def test_the_gain_is_that_of_the_objectives() -> None:
    study = make_study(
        [{"name": "any", "baseline": 1}],
        constraints={"pairs": True},
        survival={"shared_fraction": 0.2},
    )
    table = make_opportunities([0, 0], sun_earth_probe_deg=[90.0] * 2)
    data = plan_data(study, table, make_targets(["C"]))._replace(hardware=np.array([0.8, 0.6]))
    one, two = evaluate([[0, -1, -1], [0, 1, -1]], data)[:, 0]
    assert two - one == pytest.approx(second_probe_gain(0.8, 0.6, 0.2), abs=1e-12)


def problem(weight: float):
    """Two visits of a C that a heavy row wants once, and a cheap visit of an S that a light row wants."""
    study = make_study(
        [
            {"name": "C", "where": {"taxonomy": ["C"]}, "baseline": 1, "weight": weight},
            {"name": "S", "where": {"taxonomy": ["S"]}, "baseline": 1, "weight": 1.0},
        ],
        constraints={"pairs": True},
        survival={"success": 0.7, "shared_fraction": 0.0},
    )
    table = make_opportunities(
        [0, 0, 1],
        sun_earth_probe_deg=[90.0] * 3,
        release_jd_tdb=START_JD_TDB + np.array([0.0, 20.0, 40.0]),
        burn_m_s=[50.0, 60.0, 55.0],
    )
    data = plan_data(study, table, make_targets(["C", "S"]))
    return data, plan_rules(study, table, data)


@pytest.mark.parametrize(("weight", "stands"), [(3.3, False), (3.4, True)])
def test_a_pair_stands_only_above_its_break_even(weight: float, stands: bool) -> None:
    data, rules = problem(weight)
    (pair,) = pairs_of(np.array([0, 1, -1]), data, rules)
    assert pair.break_even == pytest.approx(1 / 0.3)
    assert (pair.first, pair.second, pair.other) == (0, 1, 2)
    assert pair.stands is stands
    kept = without_losing_pairs(np.array([[0, 1, -1]]), data, rules)[0]
    assert kept.tolist() == ([0, 1, -1] if stands else [0, 2, -1])


def test_a_dearer_target_takes_no_place() -> None:
    data, rules = problem(1.0)
    dearer = data._replace(propellant_kg=np.array([0.3, 0.3, 0.4]))
    plan = np.array([[0, 1, -1]])
    assert without_losing_pairs(plan, dearer, rules).tolist() == plan.tolist()
    assert pairs_of(plan[0], dearer, rules)[0].other == 2


def test_plans_without_pairs_are_left_alone() -> None:
    data, rules = problem(1.0)
    plans = np.array([[0, 2, -1], [-1, -1, -1]])
    assert pairs_of(plans[0], data, rules) == []
    assert without_losing_pairs(plans, data, rules).tolist() == plans.tolist()
