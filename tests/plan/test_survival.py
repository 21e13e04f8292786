"""Weibull closed forms, phases, life limits, and who shares failures with whom."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarm.plan.objectives import evaluate
from swarm.plan.survival import (
    group_failures,
    hardware_chances,
    own_chances,
    phase_chances,
    shared_groups,
    state_chance,
    weibull_survival,
)
from swarm.study.schema import study_from, study_rows
from targets.base.errors import InputError
from tests.helpers.flown_as_aimed import plan_data, without_errors
from tests.helpers.small_cases import START_JD_TDB, make_opportunities, make_study, make_targets

# Three probes of the only design.
ONE = np.array(["probe"] * 3, dtype=object)
WEIBULL = {
    "model": "weibull",
    "dead_on_arrival": 0.1,
    "weibull_shape": 0.5,
    "weibull_scale_days": 2000.0,
    "dormancy": 0.2,
    "release_success": 0.97,
    "encounter_success": 0.9,
}


def survival(**changes):
    return make_study(survival={**WEIBULL, **changes}).survival


# --- closed forms ---------------------------------------------------------------------------------------------


def test_shape_one_is_the_exponential_law() -> None:
    ages = np.array([0.0, 10.0, 500.0])
    assert weibull_survival(ages, shape=1.0, scale_days=250.0) == pytest.approx(np.exp(-ages / 250.0))


@pytest.mark.parametrize("shape", [0.4, 1.0, 3.0])
def test_at_the_scale_one_in_e_is_left_whatever_the_shape(shape: float) -> None:
    assert float(weibull_survival(730.0, shape=shape, scale_days=730.0)) == pytest.approx(math.exp(-1.0))


def test_mean_life_is_scale_times_gamma() -> None:
    """The integral of R is scale * Gamma(1 + 1/shape) (textbook)."""
    ages = np.linspace(0.0, 400.0, 400_001)
    mean = np.trapezoid(weibull_survival(ages, shape=2.0, scale_days=50.0), ages)
    assert mean == pytest.approx(50.0 * math.gamma(1.5), rel=1e-6)


def test_default_scale_leaves_three_of_four_after_an_active_year() -> None:
    """R(1 yr) / R(0) = 0.75 with shape 0.4 (the practice the default is taken from; from memory)."""
    default = make_study(survival={"model": "weibull"}).survival
    alive = phase_chances(default, 0.0, 365.25).flight
    assert float(alive) == pytest.approx(0.75, abs=1e-5)
    assert (default.weibull_shape, default.dead_on_arrival) == (0.4, 0.10)


@given(shape=st.floats(0.3, 3.0), age=st.floats(0.0, 5000.0), more=st.floats(0.1, 5000.0))
def test_survival_falls_with_age(shape: float, age: float, more: float) -> None:
    young, old = weibull_survival([age, age + more], shape=shape, scale_days=1000.0)
    assert 0.0 <= old <= young <= 1.0


# --- phases ---------------------------------------------------------------------------------------------------


def test_hardware_is_the_product_of_the_phases_worked_by_hand() -> None:
    """500 d stored at 0.2 and 220 d active are 320 d: exp(-sqrt(320/2000)) = exp(-0.4) = 0.67032.

    .97 (released) * .9 (alive) * .67032 * .9 (encounter) = 0.526670.
    """
    chances = hardware_chances(survival(), [500.0], [220.0])
    assert chances == pytest.approx([0.97 * 0.9 * math.exp(-0.4) * 0.9], rel=1e-12)
    assert chances == pytest.approx([0.526670], abs=5e-7)


def test_a_stored_day_ages_by_the_dormancy_of_an_active_one() -> None:
    stored = phase_chances(survival(), 1000.0, 0.0).flight
    active = phase_chances(survival(), 0.0, 200.0).flight
    assert stored == pytest.approx(active)
    assert phase_chances(survival(dormancy=0.0), 1000.0, 50.0).flight == pytest.approx(
        phase_chances(survival(), 0.0, 50.0).flight
    )
    before = phase_chances(survival(stored_before_days=300.0), 700.0, 0.0).flight
    assert before == pytest.approx(stored)


def test_no_credit_beyond_the_life_a_probe_is_built_for() -> None:
    limits = {"storage_life_days": 400.0, "life_days": 365.0}
    chances = hardware_chances(survival(), [400.0, 401.0, 10.0], [365.0, 10.0, 366.0], **limits)
    assert (chances > 0.0).tolist() == [True, False, False]
    earlier = hardware_chances(survival(stored_before_days=1.0), [400.0], [10.0], **limits)
    assert earlier.tolist() == [0.0]


def test_the_simple_model_is_one_chance_whatever_the_dates() -> None:
    simple = make_study(survival={"success": 0.6}).survival
    assert hardware_chances(simple, [0.0, 3000.0], [10.0, 900.0]).tolist() == [0.6, 0.6]


def test_later_releases_and_longer_arcs_are_worth_less() -> None:
    study = make_study(survival=WEIBULL)
    table = make_opportunities(
        [0, 0, 0],
        sun_earth_probe_deg=[90.0] * 3,
        release_jd_tdb=START_JD_TDB + np.array([0.0, 1000.0, 0.0]),
        encounter_jd_tdb=START_JD_TDB + np.array([100.0, 1100.0, 300.0]),
    )
    data = plan_data(study, table, make_targets(["C"]))
    ages = np.array([100.0, 300.0, 300.0])  # 1000 d stored are 200 active ones
    expected = 0.97 * 0.9 * np.exp(-np.sqrt(ages / 2000.0)) * 0.9
    assert data.hardware == pytest.approx(expected, rel=1e-12)


def test_the_downlink_keeps_the_probe_alive_longer() -> None:
    study, table, targets = make_study(survival=WEIBULL), make_opportunities([0]), make_targets(["C"])
    judged = without_errors(study, table, targets)
    short, long = (
        plan_data(study, table, targets, judged=judged._replace(home_days=np.array([days]))).hardware[0]
        for days in (0.0, 20.0)
    )
    assert long < short
    days = table["encounter_jd_tdb"][0].as_py() - table["release_jd_tdb"][0].as_py() + 20.0
    stored = table["release_jd_tdb"][0].as_py() - START_JD_TDB
    assert long == pytest.approx(float(phase_chances(study.survival, stored, days).hardware), rel=1e-12)


# --- groups ---------------------------------------------------------------------------------------------------


def test_two_groups_by_hand() -> None:
    """q = .2, .3, .4; all share .1 of the smallest, .02; the lot of the last two shares .5 of .3, .15.

    Own chances .8/.98, .7/(.98 * .85), .6/(.98 * .85); P(none) =
    .02 + .98 (.15 * q1 + .85 * q1 q2 q3) with q_i own failures.
    """
    hardware, mask = np.array([0.8, 0.7, 0.6]), np.array([1, 3, 3])
    plan, fraction = np.array([0, 1, 2]), np.array([0.1, 0.5])
    common = group_failures(plan, hardware, mask, fraction)
    assert common == pytest.approx([0.02, 0.15])
    own = own_chances(plan, hardware, mask, common)
    assert own == pytest.approx([0.8 / 0.98, 0.7 / (0.98 * 0.85), 0.6 / (0.98 * 0.85)])
    lots = [{"name": "lot", "kind": "build-lot", "shared_fraction": 0.5}]
    study = make_study(
        [{"name": "any", "threshold": 1, "baseline": 1}], survival={"shared_fraction": 0.1, "groups": lots}
    )
    table = make_opportunities([0, 1, 2], sun_earth_probe_deg=np.full(3, 90.0))
    data = plan_data(study, table, make_targets(["C"] * 3))._replace(hardware=hardware, group_mask=mask)
    lost = 1.0 - own
    by_hand = 0.02 + 0.98 * (0.15 * lost[0] + 0.85 * lost.prod())
    assert evaluate([[0, 1, 2]], data)[0, 2] == pytest.approx(by_hand, abs=1e-12)


def test_one_group_is_the_simple_law() -> None:
    """q_common = shared_fraction * the smallest q; (1 - q) = (1 - q_common)(1 - q_own)."""
    hardware, plan = np.array([0.9, 0.6]), np.array([0, 1, -1])
    common = group_failures(plan, hardware, np.array([1, 1]), np.array([0.5]))
    assert common == pytest.approx([0.05])
    assert own_chances(plan, hardware, np.array([1, 1]), common) == pytest.approx(
        [0.9 / 0.95, 0.6 / 0.95, 0.0]
    )


def test_a_group_nobody_flies_in_never_fails() -> None:
    common = group_failures(np.array([0, -1]), np.array([0.5]), np.array([1]), np.array([0.3, 0.6]))
    assert common.tolist() == [0.15, 0.0]


@given(st.lists(st.floats(0.0, 1.0), min_size=0, max_size=5))
def test_states_of_the_groups_are_a_distribution(common: list[float]) -> None:
    chances = [state_chance(state, np.array(common, dtype=float)) for state in range(2 ** len(common))]
    assert sum(chances) == pytest.approx(1.0, abs=1e-12)
    assert chances[0] == pytest.approx(np.prod([1.0 - c for c in common]))


@given(
    hardware=st.lists(st.floats(0.0, 1.0), min_size=1, max_size=6),
    first=st.floats(0.0, 1.0),
    second=st.floats(0.0, 1.0),
)
def test_marginal_chances_stay_what_they_are(hardware: list[float], first: float, second: float) -> None:
    """The product of what the groups leave and of the own chance is the probe's chance, groups or not."""
    fraction = np.array([first, (1.0 - first) * second])
    works, plan = np.array(hardware), np.arange(len(hardware))
    mask = np.array([3 if k % 2 else 1 for k in range(len(hardware))])
    common = group_failures(plan, works, mask, fraction)
    own = own_chances(plan, works, mask, common)
    spared = np.where(mask == 3, np.prod(1.0 - common), 1.0 - common[0])
    assert own * spared == pytest.approx(works, abs=1e-12)
    assert np.all(own <= 1.0)


def test_members_are_told_by_release_date_and_by_the_relay() -> None:
    middle = START_JD_TDB + 100.0
    groups = [
        {"name": "lot 1", "kind": "build-lot", "shared_fraction": 0.1, "release_until": middle},
        {"name": "lot 2", "kind": "build-lot", "shared_fraction": 0.2, "release_from": middle},
        {"name": "ears", "kind": "relay", "shared_fraction": 0.3},
    ]
    settings = make_study(survival={"groups": groups}).survival
    release = START_JD_TDB + np.array([0.0, 99.0, 100.0])
    found = shared_groups(settings, release, np.array([False, True, True]), designs=ONE[:3])
    assert found.names == ("all probes", "lot 1", "lot 2", "ears")
    assert found.fraction == pytest.approx([0.1, 0.1, 0.2, 0.3])
    members = [[bool(bits >> g & 1) for bits in found.mask] for g in range(4)]
    assert members == [[True] * 3, [True, True, False], [False, False, True], [False, True, True]]


def test_a_design_is_a_group_by_its_name() -> None:
    study = make_study()
    data = study.model_dump(mode="json", by_alias=True, exclude_unset=True)
    probe = data.pop("probe")
    designs = [{**probe, "name": name} for name in ("small", "large")]
    groups = [
        {"name": name, "kind": "design", "design": name, "shared_fraction": 0.6}
        for name in ("small", "large")
    ]
    both = study_from({**data, "designs": designs, "survival": {"groups": groups}})
    names = np.array(["large", "small", "large"], dtype=object)
    found = shared_groups(both.survival, np.zeros(3), np.zeros(3, dtype=bool), designs=names)
    members = [[bool(bits >> g & 1) for bits in found.mask] for g in range(3)]
    assert members == [[True] * 3, [False, True, False], [True, False, True]]
    for change, told in (
        ({**groups[0], "design": "medium"}, "a design"),
        ({**groups[0], "kind": "build-lot"}, "no such key"),
        ({**groups[0], "shared_fraction": 0.95}, "add up to at most 1"),
    ):
        with pytest.raises(InputError, match=told):
            study_from({**data, "designs": designs, "survival": {"groups": [change]}})


def test_a_group_that_shares_nothing_is_left_out() -> None:
    settings = make_study(survival={"shared_fraction": 0.0}).survival
    assert shared_groups(settings, np.zeros(2), np.zeros(2, dtype=bool), designs=ONE[:2]).names == ()


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"dead_on_arrival": 0.2}, 'no such key with model = "simple"'),
        ({"model": "weibull", "success": 0.5}, 'no such key with model = "weibull"'),
        ({"model": "gamma"}, "weibull"),
        (
            {
                "shared_fraction": 0.6,
                "groups": [{"name": "lot", "kind": "build-lot", "shared_fraction": 0.5}],
            },
            "add up to at most 1",
        ),
        (
            {"groups": [{"name": "a", "kind": "relay", "shared_fraction": 0.1}] * 2},
            "a name that no other group has",
        ),
        (
            {
                "groups": [
                    {
                        "name": "a",
                        "kind": "dispenser",
                        "shared_fraction": 0.1,
                        "release_from": START_JD_TDB + 5.0,
                        "release_until": START_JD_TDB,
                    }
                ]
            },
            "a date after",
        ),
    ],
)
def test_what_survival_settings_refuse(changes: dict, message: str) -> None:
    with pytest.raises(InputError, match=message):
        make_study(survival=changes)


def test_groups_one_after_the_other_may_each_share_much() -> None:
    middle = START_JD_TDB + 100.0
    groups = [
        {"name": "first", "kind": "dispenser", "shared_fraction": 0.8, "release_until": middle},
        {"name": "second", "kind": "dispenser", "shared_fraction": 0.8, "release_from": middle},
    ]
    assert len(make_study(survival={"groups": groups}).survival.groups) == 2


def test_the_study_as_understood_shows_the_model_in_use_only() -> None:
    simple = {row[0] for row in study_rows(make_study())}
    phased = {row[0] for row in study_rows(make_study(survival={"model": "weibull"}))}
    assert "survival.success" in simple - phased
    assert {"survival.weibull_shape", "survival.dead_on_arrival"} <= phased - simple
