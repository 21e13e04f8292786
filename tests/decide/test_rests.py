"""What the answer rests on: against the evaluator of the tests, and by what must not move anything."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest

from swarm.decide.rests import TOLD, rests_on, rests_on_lines
from swarm.encounter.judging import judge
from swarm.plan.data import plan_data, row_qualities
from swarm.plan.judged import chances_of
from swarm.plan.objectives import evaluate
from swarm.run.workers import Pool
from tests.helpers.made_encounters import looking, make_opportunities, make_study, make_targets
from tests.helpers.serial_pool import Backwards

ROWS = [{"name": "any", "baseline": 2, "quality_min": 0.3}, {"name": "again", "baseline": 1}]


@pytest.fixture(scope="module")
def case():
    targets = make_targets([17.0, 18.0], [0, 0])
    table = make_opportunities(targets, [0, 1], burn=[20.0, 10.0, -15.0], v_rel=looking(targets, 100.0))
    table = table.append_column("kind", pa.array(["flyby", "flyby"]))
    return make_study(science={"rows": ROWS}, delivery={"samples": 300}), table, targets


@pytest.fixture(scope="module")
def rows(case):
    return {row["key"]: row for row in rests_on(*case, pool=Pool()).to_pylist()}


def science(study, table, targets):
    judged = chances_of(judge(study, table, targets, qualities=tuple(row_qualities(study))))
    data = plan_data(study, table, targets, judged=judged, probes=2)
    return evaluate(np.array([[0, 1]]), data)[0, 0]


def test_a_study_that_says_the_end_of_a_range_gets_the_same_science(case, rows) -> None:
    study, table, targets = case
    assert rows["survival.success"]["science"] == pytest.approx(science(study, table, targets), abs=1e-15)
    for key, name in (("probe.idle_w", "idle_w"), ("probe.camera_ifov_urad", "camera_ifov_urad")):
        for side in ("low", "high"):
            said = make_study(
                science={"rows": ROWS}, delivery={"samples": 300}, probe={name: rows[key][side]}
            )
            assert rows[key][f"science_{side}"] == pytest.approx(science(said, table, targets), abs=1e-15)


def test_success_moves_the_science_as_worked_out_by_hand(case, rows) -> None:
    """With no failures in common science is linear in the chance of each probe while no baseline is passed."""
    _, table, targets = case
    alone = make_study(
        science={"rows": [ROWS[0]]}, delivery={"samples": 300}, survival={"shared_fraction": 0.0}
    )
    row = next(
        r for r in rests_on(alone, table, targets, pool=Pool()).to_pylist() if r["key"] == "survival.success"
    )
    assert row["science_low"] / row["science"] == pytest.approx(row["low"] / 0.75, rel=1e-12)
    assert row["science_high"] / row["science"] == pytest.approx(row["high"] / 0.75, rel=1e-12)
    assert row["decisive"]


def test_what_matters_most_stands_first(case) -> None:
    table = rests_on(*case, pool=Pool())
    change = table["change"].to_numpy()
    assert np.all(np.diff(change) <= 1e-12)
    ends = np.column_stack([table[name].to_numpy() for name in ("science_low", "science_high")])
    assert change == pytest.approx(np.abs(ends - table["science"].to_numpy()[:, None]).max(axis=1))
    lines = rests_on_lines(table)
    assert len(lines) == TOLD + 1
    assert all(key in line for key, line in zip(table["key"].to_pylist()[:TOLD], lines[:TOLD], strict=True))
    assert (
        f"{table['decisive'].to_numpy(zero_copy_only=False).sum()} of {table.num_rows} defaults" in lines[-1]
    )


def test_what_the_study_sets_is_not_among_them(case, rows) -> None:
    assert "delivery.samples" not in rows
    assert "science.rows[0].quality_min" not in rows
    assert "science.rows[1].quality_min" in rows


def test_the_same_in_any_order_of_the_work(case) -> None:
    assert rests_on(*case, pool=Backwards()).equals(rests_on(*case, pool=Pool()))


def test_a_plan_without_probes_rests_on_nothing(case) -> None:
    study, table, targets = case
    assert rests_on(study, table.slice(0, 0), targets, pool=Pool()).num_rows == 0
