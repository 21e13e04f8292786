"""Which opportunities may be used, alone and together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swarm.encounter.propellant import burn_seconds
from swarm.plan.constraints import CONSTRAINTS, require_some
from swarm.plan.rules import decode, feasible, linear_limits
from targets.base.errors import NothingFeasible
from tests.helpers.flown_as_aimed import allowed, plan_data, plan_rules
from tests.helpers.small_cases import END_JD_TDB, START_JD_TDB, make_opportunities, make_study, make_targets

CLEAR = {"sun_earth_probe_deg": np.full(4, 90.0), "encounter_jd_tdb": np.full(4, END_JD_TDB - 1.0)}


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
            {"encounter_jd_tdb": [END_JD_TDB - 1.0, END_JD_TDB, END_JD_TDB + 0.1, END_JD_TDB - 1.0]},
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


@pytest.mark.parametrize(
    ("constraints", "columns", "limit"),
    [
        ({"burn_share_max": 0.02}, {"burn_m_s": [1.0, 140.0, 1.0, 1.0]}, "constraints.burn_share_max"),
        (
            {"tracking_hours_per_week": 60.0, "tracking_encounter_hours_per_day": 24.0},
            {"encounter_jd_tdb": np.full(4, END_JD_TDB - 30.0)},
            "constraints.tracking_hours_per_week of one probe",
        ),
    ],
)
def test_each_declared_limit_removes_what_breaks_it(constraints: dict, columns: dict, limit: str) -> None:
    study = make_study(constraints=constraints, probe={"thrust_n": 0.0002})
    broken = removed(study, **columns)
    assert broken.get(limit, 0) >= 1
    lifted = {"burn_share_max": 1.0} if "burn" in limit else {"tracking_hours_per_week": None}
    free = study.model_copy(update={"constraints": study.constraints.model_copy(update=lifted)})
    assert limit not in removed(free, **columns)


def test_burn_time_is_mass_spent_over_mass_flow() -> None:
    """12 kg, 100 m/s, 1 N: 0.33 h, and 0.1 N: 3.3 h, as small thrusters are quoted (from memory)."""
    study = make_study(probe={"thrust_n": 1.0, "isp_s": 1e5})
    assert burn_seconds(study, np.array([100.0]))[0] / 3600.0 == pytest.approx(0.333, abs=0.001)
    real = make_study(probe={"thrust_n": 1.0, "isp_s": 220.0})
    assert burn_seconds(real, np.array([100.0]))[0] < 1200.0  # the probe gets lighter while it burns


def test_burn_before_the_end_of_the_check_out_is_barred() -> None:
    table = make_opportunities([0], release_jd_tdb=[START_JD_TDB], burn_jd_tdb=[START_JD_TDB + 2.9])
    assert allowed(make_study(), table).removed["probe.checkout_days"] == 1


def test_empty_list_names_the_limit_that_emptied_it() -> None:
    study = make_study()
    table = make_opportunities([0, 1, 2, 3], burn_m_s=[200.0, 1.0, 1.0, 1.0], sun_earth_probe_deg=np.zeros(4))
    with pytest.raises(NothingFeasible) as refused:
        require_some(allowed(study, table), study)
    limit = "constraints.sun_earth_probe_min_deg at encounter removed 3; before it, probe.burn_limit_m_s removed 1"
    assert refused.value.limit == limit


def test_each_single_constraint_that_would_restore_feasibility_is_named() -> None:
    day = START_JD_TDB + 100.0
    study = make_study(constraints={"blackouts": [[day, day + 10.0]]})
    columns = {"release_jd_tdb": [day, day + 2.0], "burn_jd_tdb": [day + 3.0, day + 5.0]}
    columns["encounter_jd_tdb"] = [day + 200.0] * 2
    one = make_opportunities([0, 1], sun_earth_probe_deg=[90.0, 2.0], **columns)
    with pytest.raises(NothingFeasible) as refused:
        require_some(allowed(study, one), study, one)
    assert "without blackouts alone, 1 could be used" in refused.value.limit
    assert "sun_earth_probe_min_deg) alone" not in refused.value.limit
    two = make_opportunities([0, 1], sun_earth_probe_deg=[3.0, 2.0], **columns)
    with pytest.raises(NothingFeasible, match="no single constraint's removal would let any be used"):
        require_some(allowed(study, two), study, two)


def test_every_constraint_can_be_lifted() -> None:
    """With all of them asked for, lifting one leaves the others."""
    asked = {
        "release_spacing_days": 7.0, "releases_max": 2, "blackouts": [[START_JD_TDB, START_JD_TDB + 1.0]],
        "event_clear_before_days": 7.0, "sun_earth_probe_min_deg": 5.0, "downlink_clear_days": 3.0,
        "sun_range_min_au": 0.5, "sun_range_max_au": 4.0, "burn_share_max": 0.02,
        "release_sun_angle_min_deg": 30.0, "release_sun_angle_max_deg": 150.0, "recontact_km": 10.0,
        "relay_busy_days": 7.0, "tracking_hours_per_week": 100.0, "pairs": False,
    }  # fmt: skip
    study = make_study(
        constraints=asked,
        protection={"impact_chance_max": {"Europa": 1e-4}},
        mothership={"propellant_kg": 20.0},
    )
    # of whatever kind: a study of flybys has no row of entries, which alone are heard live
    every = [replace(constraint, kind=None) for constraint in CONSTRAINTS]
    assert all(constraint.holds(study) for constraint in every)
    for constraint in every:
        free = constraint.without(study)
        assert [other for other in every if not other.holds(free)] == [constraint]


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


# --- rates, relay, tracking -----------------------------------------------------------------------------------


def test_no_window_holds_more_releases_than_allowed() -> None:
    rules = rules_for(
        [0, 1, 2, 3],
        [0.0, 14.0, 29.9, 43.9],
        release_spacing_days=1.0,
        releases_max=2,
        release_window_days=30.0,
    )
    plans = np.array([[0, 1, -1], [0, 1, 2], [1, 2, 3], [0, 1, 3], [3, 0, 1]])
    assert feasible(plans, rules).tolist() == [True, False, False, True, True]


def timed(encounter_days: list[float], **constraints):
    study = make_study(constraints=constraints)
    n = len(encounter_days)
    table = make_opportunities(
        range(n), release_jd_tdb=START_JD_TDB + 20.0 * np.arange(n),
        encounter_jd_tdb=START_JD_TDB + 200.0 + np.array(encounter_days),
    )  # fmt: skip
    return study, table, plan_data(study, table, make_targets([""] * n))


@pytest.mark.parametrize(("gap_days", "kept"), [(6.9, False), (7.0, True)])
def test_the_relay_serves_one_encounter_at_a_time(gap_days: float, kept: bool) -> None:
    study, table, data = timed([0.0, gap_days], relay_busy_days=7.0)
    assert feasible(np.array([[0, 1]]), plan_rules(study, table, data)).tolist() == [kept]
    alone = plan_rules(study, table, data, relayed=np.array([True, False]))
    assert feasible(np.array([[0, 1]]), alone).tolist() == [True]


def test_tracking_hours_of_clustered_encounters_add_up() -> None:
    """8 h a day about each encounter: 56 h in a full week, 112 for two at once."""
    study, table, data = timed([0.0, 0.5, 60.0], tracking_hours_per_week=100.0)
    rules = plan_rules(study, table, data)
    assert rules.week_hours.max() == pytest.approx(56.0)
    assert feasible(np.array([[0, 1], [0, 2], [1, 2]]), rules).tolist() == [False, True, True]
    total = rules.week_hours.sum(axis=1)
    cruise_days = [193.0 - 20.0 * k + extra for k, extra in enumerate([0.0, 0.5, 60.0])]
    assert total == pytest.approx([14.0 * 8.0 + days * 4.0 / 7.0 for days in cruise_days])


@settings(deadline=None, max_examples=40)
@given(seed=st.integers(0, 10_000))
def test_the_linear_limits_say_what_the_compiled_rules_say(seed: int) -> None:
    rng = np.random.default_rng(seed)
    study = make_study(
        probe={"count": 4},
        constraints={
            "release_spacing_days": 6.0, "releases_max": 2, "release_window_days": 40.0, "relay_busy_days": 5.0,
            "tracking_hours_per_week": 70.0, "pairs": bool(seed % 2),
        },
    )  # fmt: skip
    release = START_JD_TDB + rng.integers(0, 40, 12) * 3.0
    table = make_opportunities(
        rng.integers(0, 6, 12), release_jd_tdb=release, encounter_jd_tdb=release + rng.uniform(40.0, 60.0, 12)
    )
    data = plan_data(study, table, make_targets([""] * 6))
    rules = plan_rules(study, table, data)
    columns = np.arange(12)
    matrix, most = linear_limits(rules, columns, probes=4)
    for _ in range(30):
        plan = rng.choice(12, size=4, replace=False)
        plan[: int(rng.integers(0, 3))] = -1
        x = np.zeros(12)
        x[plan[plan >= 0]] = 1.0
        alone = rules.week_hours[plan[plan >= 0]].max(initial=0.0) <= 70.0
        assert alone
        assert bool(np.all(matrix @ x <= most + 1e-9)) == bool(feasible(plan[None], rules)[0])
