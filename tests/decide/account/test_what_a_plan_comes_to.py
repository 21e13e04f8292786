"""The distribution of a plan's science against a plain sum over every outcome, and against outcomes drawn."""

import numpy as np
import pytest

from swarm.decide.account.outcomes import SHARES, drawn_science, outcomes
from swarm.plan.data import plan_data
from swarm.plan.measures import science_outcomes
from swarm.plan.objectives import evaluate
from tests.helpers.flown_as_aimed import without_errors
from tests.helpers.plain_evaluator import PlainEvaluator
from tests.helpers.small_cases import make_opportunities, make_study, make_targets

TAXONOMY = ["C", "S", "", "B", ""]
SURVIVAL = {"success": 0.7, "shared_fraction": 0.2}


@pytest.fixture(params=[5, 11, 23])
def case(request):
    study = make_study(
        probe={"count": 4, "checkout_days": 3.0}, mothership={"mass_kg": 600.0}, survival=SURVIVAL,
        constraints={"sun_earth_probe_min_deg": 0.0, "pairs": True},
    )  # fmt: skip
    table = make_opportunities([0, 2, 2, 3, 4], seed=request.param)
    bodies = make_targets(TAXONOMY)
    data = plan_data(study, table, bodies, judged=without_errors(study, table, bodies))
    # two probes at the same body of unknown class: their outcomes hang together
    return study, table, bodies, data, np.array([0, 1, 2, 4])


def added_up(study, table, bodies, plan):
    """(science, chance) of every outcome, by the plain evaluator; equal sciences put together."""
    plain = PlainEvaluator(study, table, bodies)
    works = {int(o): 0.7 for o in plan}
    total = sum(row.weight for row in study.science.rows)
    found = {}
    for chance, counts in plain.outcomes([int(o) for o in plan], works, 0.2 * 0.3):
        science = sum(
            row.weight * min(n, row.baseline) / row.baseline / total
            for n, row in zip(counts, study.science.rows, strict=True)
        )
        found[round(science, 12)] = found.get(round(science, 12), 0.0) + chance
    return found


def test_every_outcome_has_the_chance_of_a_plain_sum(case):
    study, table, bodies, data, plan = case
    science, chance = science_outcomes(plan, data)
    plain = added_up(study, table, bodies, plan)
    for value, share in plain.items():
        assert chance[np.isclose(science, value, atol=1e-11)].sum() == pytest.approx(share, abs=1e-12)
    assert chance.sum() == pytest.approx(1.0, abs=1e-12)
    assert len([share for share in plain.values() if share > 0]) > 3


def test_the_shares_are_those_of_the_plain_sum_and_the_mean_is_the_science_of_the_plan(case):
    study, table, bodies, data, plan = case
    told = outcomes(plan, data, seed=1)
    values, chances = zip(*sorted(added_up(study, table, bodies, plan).items()), strict=True)
    for share, science in zip(told["share"].to_pylist(), told["science"].to_pylist(), strict=True):
        at = int(np.searchsorted(np.cumsum(chances), share - 1e-12))
        assert science == pytest.approx(values[at], abs=1e-11)
    assert told["share"].to_pylist() == list(SHARES)
    assert told["mean"][0].as_py() == pytest.approx(evaluate(plan[None], data)[0, 0], abs=1e-12)
    assert told["exact"].to_pylist() == [True] * len(SHARES)


def test_outcomes_that_are_drawn_have_the_same_distribution(case):
    *_, data, plan = case
    science, chance = science_outcomes(plan, data)
    draws = 200_000
    drawn = drawn_science(plan, data, draws=draws, rng=np.random.default_rng(7))
    for value in np.unique(np.round(science, 9)):
        expected = chance[np.isclose(science, value, atol=1e-9)].sum()
        seen = np.isclose(drawn, value, atol=1e-9).mean()
        # four sigma of a share of independent draws: 15 values and three cases stay below with 99.7 %
        assert abs(seen - expected) <= 4.0 * np.sqrt(expected * (1.0 - expected) / draws) + 1e-9


def test_too_many_joint_counts_are_drawn_and_that_is_said(case, monkeypatch):
    *_, data, plan = case
    from swarm.decide.account import outcomes as module

    exact = outcomes(plan, data, seed=1)
    monkeypatch.setattr(
        module, "science_outcomes", lambda plan, data: science_outcomes(plan, data, states_max=2)
    )
    drawn = outcomes(plan, data, seed=1)
    assert drawn["exact"].to_pylist() == [False] * len(SHARES)
    assert drawn["mean"][0].as_py() == pytest.approx(exact["mean"][0].as_py(), abs=5e-3)
    assert drawn.equals(outcomes(plan, data, seed=1))
