"""Which opportunities may be used, alone and together."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_cases import END_JD_TDB, START_JD_TDB, make_opportunities, make_study, make_targets

from swarm.constraints import allowed, decode, feasible, plan_rules, require_some
from swarm.plan_data import plan_data
from targets.errors import NothingFeasible

CLEAR = {"sun_earth_probe_deg": np.full(4, 90.0)}


def removed(study, **columns) -> dict[str, int]:
    found = allowed(study, make_opportunities([0, 1, 2, 3], **{**CLEAR, **columns}))
    assert int((~found.mask).sum()) == sum(found.removed.values())
    return {limit: count for limit, count in found.removed.items() if count}


def test_nothing_is_removed_without_a_reason() -> None:
    assert removed(make_study()) == {}


@pytest.mark.parametrize(
    ("columns", "limit"),
    [
        ({"burn_m_s": [1.0, np.nan, 1.0, 1.0]}, "finite geometry"),
        ({"burn_m_s": [1.0, 150.0, 150.01, 1.0]}, "probe.burn_limit_m_s"),
        (
            {"encounter_jd_tdb": [START_JD_TDB, END_JD_TDB, END_JD_TDB + 0.1, START_JD_TDB]},
            "study.start and study.end",
        ),
        (
            {"sun_earth_probe_deg": [90.0, 5.0, 4.99, 90.0]},
            "constraints.sun_earth_probe_min_deg at encounter",
        ),
        (
            {"sun_earth_probe_deg": [90.0, 5.0, np.nan, 90.0]},
            "constraints.sun_earth_probe_min_deg at encounter",
        ),
        (
            {"sun_earth_probe_release_deg": [90.0, 5.0, 4.9, 9.0]},
            "constraints.sun_earth_probe_min_deg at release",
        ),
        ({"sun_earth_probe_burn_deg": [90.0, 5.0, 4.9, 9.0]}, "constraints.sun_earth_probe_min_deg at burn"),
    ],
)
def test_each_limit_removes_what_breaks_it(columns: dict, limit: str) -> None:
    assert removed(make_study(), **columns) == {limit: 1}


def test_blackouts_bar_release_and_burn() -> None:
    day = START_JD_TDB + 100.0
    study = make_study(constraints={"blackouts": [[day, day + 10.0]]})
    dates = {"release_jd_tdb": [day - 9.0, day - 2.0, day + 10.0, day + 10.5]}
    dates["burn_jd_tdb"] = [t + 3.0 for t in dates["release_jd_tdb"]]
    assert removed(study, **dates) == {"constraints.blackouts": 2}


def test_empty_list_names_the_limit_that_emptied_it() -> None:
    study = make_study()
    table = make_opportunities([0, 1, 2, 3], burn_m_s=[200.0, 1.0, 1.0, 1.0], sun_earth_probe_deg=np.zeros(4))
    with pytest.raises(NothingFeasible) as refused:
        require_some(allowed(study, table), study)
    limit = "constraints.sun_earth_probe_min_deg at encounter removed 3; before it, probe.burn_limit_m_s removed 1"
    assert refused.value.limit == limit


def test_empty_table_names_the_burn_limit() -> None:
    study = make_study()
    with pytest.raises(NothingFeasible, match="burn_limit_m_s = 150"):
        require_some(allowed(study, make_opportunities([0]).slice(1)), study)


# --- together -------------------------------------------------------------------------------------------------


def rules_for(target: list[int], days: list[float], **constraints):
    study = make_study(constraints=constraints)
    table = make_opportunities(target, release_jd_tdb=START_JD_TDB + np.array(days))
    data = plan_data(study, table, make_targets([""] * (max(target) + 1)))
    return plan_rules(study, table, data._replace(propellant_kg=np.arange(len(target), dtype=float)))


@pytest.mark.parametrize(("gap_days", "kept"), [(6.99, False), (7.0, True), (-7.0, True), (0.0, False)])
def test_release_spacing(gap_days: float, kept: bool) -> None:
    rules = rules_for([0, 1], [100.0, 100.0 + gap_days])
    assert feasible(np.array([[0, 1]]), rules).tolist() == [kept]


def test_spacing_holds_between_all_releases_not_only_neighbours_in_the_list() -> None:
    rules = rules_for([0, 1, 2], [0.0, 50.0, 3.0])
    assert feasible(np.array([[0, 1, 2], [0, 1, -1], [1, -1, 2]]), rules).tolist() == [False, True, True]


@pytest.mark.parametrize(("pairs", "kept"), [(False, [False, False]), (True, [True, False])])
def test_one_target_once_or_as_a_pair(pairs: bool, kept: list[bool]) -> None:
    rules = rules_for([0, 0, 0], [0.0, 50.0, 100.0], pairs=pairs)
    assert feasible(np.array([[0, 1, -1], [0, 1, 2]]), rules).tolist() == kept


def test_a_conflict_is_moved_to_the_cheapest_other_date_of_the_target() -> None:
    """Opportunity 2 collides with 0; its target also has 4, 3 (cheaper) and 1 (cheapest, but colliding too)."""
    rules = rules_for([0, 1, 1, 1, 1], [0.0, 5.0, 3.0, 60.0, 90.0])
    assert decode(np.array([[0, 2, -1]]), rules).tolist() == [[0, 3, -1]]


def test_a_conflict_without_another_date_is_dropped() -> None:
    rules = rules_for([0, 1, 2], [0.0, 5.0, 30.0])
    assert decode(np.array([[1, 0, 2]]), rules).tolist() == [[1, 2, -1]]


RNG = np.random.default_rng(2)
CROWDED = rules_for(list(RNG.integers(0, 8, 30)), list(RNG.uniform(0.0, 60.0, 30)))
PAIRED = rules_for(list(RNG.integers(0, 4, 30)), list(RNG.uniform(0.0, 60.0, 30)), pairs=True)


@settings(deadline=None)
@given(genes=st.lists(st.integers(-5, 29), min_size=6, max_size=6), paired=st.booleans())
def test_decoded_plans_are_feasible_sorted_and_stay_as_they_are(genes: list[int], paired: bool) -> None:
    rules = PAIRED if paired else CROWDED
    plan = decode(np.array([genes]), rules)
    assert feasible(plan, rules).all()
    assert decode(plan, rules).tolist() == plan.tolist()
    used = plan[plan >= 0]
    assert np.all(np.diff(rules.release_jd_tdb[used]) >= 0)
    assert np.all(plan[0, len(used) :] == -1)
    served = {rules.target[g] for g in genes if g >= 0}
    assert {rules.target[o] for o in used} <= served
