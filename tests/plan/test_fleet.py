"""Chances of the levels and the tail against closed forms; shares that rest on assumptions worked by hand."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest
from scipy import stats

from swarm.plan.measures import assumed_shares, lower_tail_mean, measures, plans_matrix, with_measures
from swarm.plan.objectives import evaluate
from tests.helpers.flown_as_aimed import plan_data, without_errors
from tests.helpers.small_cases import make_opportunities, make_study, make_targets


def alike(count: int, *, success: float, shared_fraction: float, **row: int):
    study = make_study(
        [{"name": "any", **row}],
        probe={"count": count},
        mothership={"mass_kg": 1000.0},
        survival={"success": success, "shared_fraction": shared_fraction},
    )
    table = make_opportunities(range(count), sun_earth_probe_deg=np.full(count, 90.0))
    return plan_data(study, table, make_targets(["C"] * count))


def test_twelve_probes_a_tenth_of_the_failures_shared() -> None:
    """p = .8: P(>= 4) = .980, P(>= 6) = .978, P(0) = .020; independent 1.000, .996, 4e-9 (computed apart)."""
    plan = [list(range(12))]
    for baseline, shared, independent in ((4, 0.980, 1.000), (6, 0.978, 0.996)):
        together = measures(plan, alike(12, success=0.8, shared_fraction=0.1, baseline=baseline))
        apart = measures(plan, alike(12, success=0.8, shared_fraction=0.0, baseline=baseline))
        assert together.p_baseline[0] == pytest.approx(shared, abs=5e-4)
        assert apart.p_baseline[0] == pytest.approx(independent, abs=5e-4)
        assert together.p_none[0] == pytest.approx(0.020, abs=5e-4)
        assert apart.p_none[0] == pytest.approx(0.2**12, rel=1e-9)


def test_tail_of_a_binomial_count() -> None:
    """Mean of the worst tenth of Bin(6, 0.7)/6, from scipy's distribution by its quantile function."""
    data = alike(6, success=0.7, shared_fraction=0.0, baseline=6)
    levels = (np.arange(100_000) + 0.5) / 1e6  # the lowest tenth, finely cut
    expected = stats.binom(6, 0.7).ppf(levels).mean() / 6.0
    assert measures([list(range(6))], data).cvar_science[0] == pytest.approx(expected, abs=1e-5)


def test_the_tail_of_a_sure_thing_is_the_thing_itself() -> None:
    data = alike(3, success=1.0, shared_fraction=0.0, baseline=3)
    assert measures([[0, 1, -1]], data).cvar_science == pytest.approx([2 / 3])


def test_lower_tail_mean_splits_the_value_it_ends_on() -> None:
    """Values 0, 1, 2 with .04, .5, .46: (.04 * 0 + .06 * 1) / .1 = .6."""
    values, chances = np.array([1.0, 0.0, 2.0]), np.array([0.5, 0.04, 0.46])
    assert lower_tail_mean(values, chances, np.argsort(values), 0.1) == pytest.approx(0.6)


def test_the_tail_never_exceeds_the_mean() -> None:
    data = alike(5, success=0.6, shared_fraction=0.2, baseline=4, threshold=2)
    for plan in ([[0, 1, 2, 3, 4]], [[0, -1, -1, -1, -1]], [[-1] * 5]):
        found = measures(plan, data)
        science, _, risk = evaluate(plan, data)[0]
        assert found.cvar_science[0] <= science + 1e-12
        assert found.p_threshold[0] == 1.0 - risk
        assert found.p_baseline[0] <= found.p_threshold[0] + 1e-12


def test_an_unreachable_baseline_is_never_reached() -> None:
    data = alike(3, success=0.9, shared_fraction=0.0, baseline=4)
    assert measures([[0, 1, 2]], data).p_baseline.tolist() == [0.0]


# --- assumptions ----------------------------------------------------------------------------------------------


def test_share_of_science_resting_on_assumptions_by_hand() -> None:
    """Two encounters, p = .8: a measured C and a body of unknown class and size.

    Row "C, baseline 2": (.8 + .8 c)/2, of which .8 c / 2 rests on the class. Row "any, baseline 2": 0.8, of
    which nothing rests on anything. Weights 1 and 1; with c the chance of a C.
    """
    rows = [{"name": "C", "where": {"taxonomy": ["C"]}, "baseline": 2}, {"name": "any", "baseline": 2}]
    study = make_study(rows, probe={"count": 2}, survival={"success": 0.8, "shared_fraction": 0.0})
    table = make_opportunities([0, 1], sun_earth_probe_deg=[90.0, 90.0])
    targets = make_targets(["C", ""], diameter_km=[2.0, 3.0])
    shares = assumed_shares([[0, 1]], study, table, targets, judged=without_errors(study, table, targets))
    data = plan_data(study, table, targets)
    c = data.class_chance[1, 0]
    science = (0.4 + 0.4 * c + 0.8) / 2
    assert evaluate([[0, 1]], data)[0, 0] == pytest.approx(science, abs=1e-12)
    assert shares["taxonomy"] == pytest.approx([0.4 * c / 2 / science], abs=1e-12)
    assert shares["any"] == pytest.approx(shares["taxonomy"])
    assert shares["albedo"].tolist() == shares["h_mag"].tolist() == shares["u_code"].tolist() == [0.0]


def test_graded_rows_rest_on_the_size_too() -> None:
    study = make_study([{"name": "graded", "quality_min": 0.1}], survival={"success": 0.5})
    table = make_opportunities([0], sun_earth_probe_deg=[90.0], v_rel_km_s=[3.0], phase_in_deg=[60.0])
    known = make_targets(["C"], diameter_km=[4.0])
    bare = make_targets(["C"], diameter_km=[np.nan])
    # H is not a number without a diameter in this stand-in: give it one
    bare = type(bare)(**{**bare.__dict__, "h_mag": np.array([15.0])})

    def shares(plan, targets):
        return assumed_shares(plan, study, table, targets, judged=without_errors(study, table, targets))

    assert shares([[0]], known)["any"].tolist() == [0.0]
    assert shares([[0]], bare)["albedo"].tolist() == [1.0]
    assert shares([[-1]], bare)["any"].tolist() == [0.0]


# --- the front's table ----------------------------------------------------------------------------------------


def test_the_front_gets_its_measures_in_order_of_its_plans() -> None:
    study = make_study(probe={"count": 2})
    table = make_opportunities([0, 1, 2, 3], sun_earth_probe_deg=np.full(4, 90.0))
    targets = make_targets(["C", "S", "", "C"])
    plans = pa.table({"plan": [1, 2, 2], "probe": [0, 0, 1], "opportunity": [102, 101, 103]})
    matrix = plans_matrix(plans, table, 3, probes=2)
    assert matrix.tolist() == [[-1, -1], [2, -1], [1, 3]]
    front = pa.table({"plan": [0, 1, 2]})
    judged = without_errors(study, table, targets)
    told = with_measures(front, plans, study, table, targets=targets, judged=judged)
    data = plan_data(study, table, targets)
    found = measures(matrix, data)
    assert told["p_threshold"].to_pylist() == pytest.approx(1.0 - evaluate(matrix, data)[:, 2])
    assert told["cvar10_science"].to_pylist() == pytest.approx(found.cvar_science.tolist())
    assert told["p_none"].to_pylist()[0] == 1.0
    assert {"p_baseline", "measures_exact", "science_assumed", "science_assumed_taxonomy"} <= set(
        told.column_names
    )
