"""Hours of ground stations, by hand: from the release on, once, in whatever pieces they are counted."""

import numpy as np
import pytest

from swarm.plan.tracking import plan_hours, week_hours, weekly_hours
from tests.helpers.small_cases import START_JD_TDB, make_opportunities, make_study

RATES = {
    "tracking_cruise_hours_per_week": 4.0,
    "tracking_encounter_hours_per_day": 8.0,
    "tracking_encounter_days": 7.0,
}


def flights(days):
    release = START_JD_TDB + np.array([30.0, 41.5, 100.25])
    return make_opportunities([0, 1, 2], release_jd_tdb=release, encounter_jd_tdb=release + np.array(days))


def test_nothing_is_counted_before_the_release_where_tracking_is_longer_than_the_flight():
    """Three days of flight and seven after: ten days of eight hours, not fourteen."""
    study = make_study(constraints=RATES)
    assert plan_hours(study, flights([3.0] * 3), np.array([0])) == pytest.approx(80.0)
    before = week_hours(study, np.array([-7.0]), np.array([0.0]), np.array([3.0]))
    first = week_hours(study, np.array([0.0]), np.array([0.0]), np.array([3.0]))
    second = week_hours(study, np.array([7.0]), np.array([0.0]), np.array([3.0]))
    assert [float(hours[0]) for hours in (before, first, second)] == pytest.approx([0.0, 56.0, 24.0])


@pytest.mark.parametrize("days", [[3.0, 6.9, 7.0], [7.1, 20.0, 200.0], [14.0, 90.0, 365.25]])
def test_the_weeks_add_up_to_the_plan(days):
    study, table = make_study(constraints=RATES), flights(days)
    _, hours = weekly_hours(study, table)
    for k in range(3):
        assert hours[k].sum() == pytest.approx(plan_hours(study, table, np.array([k])), rel=1e-9)
