"""Bins at their ends by hand, and items from the run's own numbers."""

import numpy as np
import pytest

from swarm.decide.risk_table import FlownPlan, bins, risk_table
from swarm.decide.sensitivity import sensitivity
from swarm.run.workers import Pool
from tests.helpers.enumerated_plans import case, flown
from tests.helpers.flown_as_aimed import without_errors
from tests.helpers.plain_evaluator import PlainEvaluator

pytestmark = pytest.mark.usefixtures("judged_as_aimed")

ENDS = (0.0, 0.02, 0.15, 0.25, 0.5)


def test_bins_at_their_ends_by_hand():
    values = np.array([0.0, 0.0199, 0.02, 0.1499, 0.15, 0.2499, 0.25, 0.4999, 0.5, 1.0])
    assert bins(values, ENDS).tolist() == [1, 1, 2, 2, 3, 3, 4, 4, 5, 5]


def tables(study, run, plan):
    found = sensitivity(study, run, plan=plan, catalogue=None, pool=Pool())
    rows = flown(run, plan)
    table = run.opportunities.take(rows)
    return (
        rows,
        found,
        risk_table(study, FlownPlan(table, run.targets, without_errors(study, table, run.targets)), found),
    )


def by_item(table, beginning):
    (row,) = [row for row in table.to_pylist() if row["item"].startswith(beginning)]
    return row


def test_likelihoods_and_consequences_by_hand():
    study, run, plan = case(seed=3, likelihood_target_lost=0.2)
    rows, _, table = tables(study, run, plan)
    evaluate = PlainEvaluator(study, run.opportunities, run.targets)
    whole = evaluate(rows)[0]
    lost = max(1.0 - evaluate([o for o in rows if o != k])[0] / whole for k in rows)
    fails = by_item(table, "a probe fails")
    # success 0.75 of the simple model
    assert (fails["likelihood"], fails["consequence"]) == pytest.approx((0.25, lost), abs=1e-9)
    assert fails["likelihood_bin"] == 4
    shared = by_item(table, "a shared defect: all probes")
    # a tenth of 0.25, and nothing is left
    assert (shared["likelihood"], shared["consequence"]) == pytest.approx((0.025, 1.0), abs=1e-12)
    assert (shared["likelihood_bin"], shared["consequence_bin"]) == (2, 5)
    nothing = by_item(table, "no probe returns anything")
    # the common failure, or every probe for itself: 1 - q_own = 0.75 / 0.975
    alone = 1.0 - 0.75 / 0.975
    assert nothing["likelihood"] == pytest.approx(0.025 + 0.975 * alone ** len(rows), abs=1e-9)
    target = by_item(table, "a target is not where it should be")
    assert (target["likelihood"], target["consequence"]) == pytest.approx((0.2, lost), abs=1e-9)
    assert "to be set by the project" in target["source"]


def test_the_phases_of_the_weibull_model_are_told_apart():
    study, run, plan = case(seed=3)
    aged = study.model_copy(update={"survival": study.survival.model_copy(update={"model": "weibull"})})
    _, _, table = tables(aged, run, plan)
    # release 0.98 and dead on arrival 0.10: 1 - 0.98 x 0.90
    assert by_item(table, "a probe is dead at check-out")["likelihood"] == pytest.approx(0.118, abs=1e-12)
    assert by_item(table, "a probe fails at its encounter")["likelihood"] == pytest.approx(0.05, abs=1e-12)
    assert 0.0 < by_item(table, "a probe fails in flight")["likelihood"] < 1.0


def test_bins_are_the_studys():
    study, run, plan = case(seed=3, likelihood_bins=[0.0, 0.001, 0.002, 0.01, 0.02])
    _, _, table = tables(study, run, plan)
    assert by_item(table, "a shared defect: all probes")["likelihood_bin"] == 5
    assert all(1 <= row["consequence_bin"] <= 5 for row in table.to_pylist())
