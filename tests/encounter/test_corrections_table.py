"""Corrections are kept where they are decided: the table, and what is drawn from it."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest

from swarm.encounter.judging import judge
from swarm.plan.judged import corrections_table, low_quality_share
from swarm.report.drawn import event_dates
from targets.base.constants import DAY_S
from tests.helpers.made_encounters import MET_JD_TDB, looking, make_opportunities, make_study, make_targets


@pytest.fixture(scope="module")
def found():
    """A body met 200 days after the burn, seen more than a day and a half out, whose images are the better the nearer
    the pass; and a body seen too late."""
    targets = make_targets([17.0, 24.0], [0, 0])
    table = make_opportunities(
        targets,
        [0, 1],
        burn=[20.0, 10.0, -15.0],
        v_rel=looking(targets, 120.0),
        encounter_jd_tdb=np.full(2, MET_JD_TDB),
    )
    return table, judge(make_study(delivery={"samples": 500}), table, targets, qualities=(0.0,))


def test_dates_and_kinds_follow_the_rules_of_the_study(found) -> None:
    """Seven days after the burn, 60 and 14 days before the encounter, and what the sighting allows."""
    table, judged = found
    rows = corrections_table(table, judged).to_pylist()
    encounter = table["encounter_jd_tdb"].to_numpy()
    for k in (0, 1):
        own = [row for row in rows if row["opportunity"] == k]
        assert [row["correction"] for row in own] == list(range(judged.corrections[k]))
        before = [(row["kind"], round(encounter[k] - row["jd_tdb"], 6)) for row in own]
        assert before[:3] == [("after-burn", 193.0), ("before-encounter", 60.0), ("before-encounter", 14.0)]
        in_sight = [days for kind, days in before if kind == "in-sight"]
        assert in_sight == sorted(in_sight, reverse=True)
        assert bool(in_sight) is (k == 0)
        if in_sight:
            assert in_sight[-1] == 1.0
            assert in_sight[0] < judged.detect_h_before[k] / 24.0
    assert (judged.correction_before_s[0, : judged.corrections[0]] > 0.9 * DAY_S).all()


def test_what_is_drawn_has_the_same_dates(found) -> None:
    table, judged = found
    corrections = corrections_table(table, judged)
    some = pa.table({"home_days": judged.home_days, "data_mbit": judged.data_mbit})
    events = event_dates(table, some, corrections)
    drawn = [row["t_jd_tdb"] for row in events.to_pylist() if row["event"] == "correction"]
    np.testing.assert_array_equal(drawn, corrections["jd_tdb"].to_numpy())
    dates = [row["t_jd_tdb"] for row in events.to_pylist() if row["opportunity"] == 0]
    assert dates == sorted(dates)


def test_the_share_of_hardly_any_quality_of_a_plan() -> None:
    """Half of what the first probe shows is hardly worth anything; the second works half of the time; the third is not
    in the plan: (0.5 x 0.8 x 1 + 0.1 x 0.5) / (0.8 + 0.4 x 0.5)."""
    judged = pa.table(
        {
            "opportunity": [7, 8, 9],
            "hardware": [0.8, 0.5, 0.9],
            "chance_returned": [1.0, 1.0, 1.0],
            "shown_chance": [1.0, 0.4, 1.0],
            "chance_low_quality": [0.5, 0.1, 1.0],
        }
    )
    assert low_quality_share(judged, [7, 8]) == pytest.approx((0.4 + 0.05) / (0.8 + 0.2))
    assert low_quality_share(judged, []) == 0.0
