"""Held and planned again, against full enumerations with the plain evaluator of the optimiser's tests."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import swarm.decide.replan
from swarm.decide.grounds import joined
from swarm.decide.replan import Ground, World, answers
from swarm.decide.sensitivity import LEFT_OUT, NOTHING, SHARED, SUCCESS, sensitivity
from swarm.run.workers import Pool
from tests.helpers.enumerated_plans import case, flown, most_science
from tests.helpers.flown_as_aimed import without_errors
from tests.helpers.plain_evaluator import PlainEvaluator
from tests.helpers.small_cases import make_opportunities, make_study, make_targets

pytestmark = pytest.mark.usefixtures("judged_as_aimed")

TOL = 1e-9


def changed(study, section, **values):
    same = getattr(study, section).model_copy(update=values)
    return study.model_copy(update={section: same})


def with_weight(study, k, factor):
    rows = list(study.science.rows)
    rows[k] = rows[k].model_copy(update={"weight": rows[k].weight * factor})
    return changed(study, "science", rows=tuple(rows))


def the_studies(study):
    """(factor, side) of every change that needs no screen, with the study it means, written by hand."""
    simple = study.survival
    found = {(NOTHING, "out"): study}
    for side, sign in (("low", -1), ("high", 1)):
        found[SUCCESS, side] = changed(study, "survival", success=simple.success + 0.1 * sign)
        found[SHARED, side] = changed(
            study, "survival", shared_fraction=max(0.0, simple.shared_fraction + 0.1 * sign)
        )
        for k, row in enumerate(study.science.rows):
            found[f"weight of {row.name}", side] = with_weight(study, k, 1 + 0.3 * sign)
    return found


@pytest.mark.parametrize("seed", [3, 4])
@pytest.mark.parametrize("enumerated", [True, False])
def test_every_change_equals_its_enumeration(seed, enumerated, monkeypatch):
    if not enumerated:  # the short search itself, where the tool would look at every plan
        monkeypatch.setattr(swarm.decide.replan, "EXACT_PLANS", 0)
    study, run, plan = case(seed=seed)
    table, bodies = run.opportunities, run.targets
    found = sensitivity(study, run, plan=plan, catalogue=None, pool=Pool()).table.to_pylist()
    chosen = flown(run, plan)
    assert len(chosen) > 1
    limit_kg = PlainEvaluator(study, table, bodies)(chosen)[1]
    base = most_science(study, table, bodies, limit_kg=limit_kg)
    studies = the_studies(study)
    assert {(row["factor"], row["side"]) for row in found if row["factor"] != LEFT_OUT} == set(studies)
    for row in found:
        if row["factor"] == LEFT_OUT:
            continue
        other = studies[row["factor"], row["side"]]
        held = PlainEvaluator(other, table, bodies)(chosen)
        again = most_science(other, table, bodies, limit_kg=limit_kg)
        assert row["science_held"] == pytest.approx(held[0], abs=TOL)
        assert row["risk_held"] == pytest.approx(held[2], abs=TOL)
        assert (row["science"], row["risk"]) == pytest.approx((again[0], again[2]), abs=TOL)
        assert row["propellant_kg"] <= limit_kg + TOL
        assert row["science_change"] == pytest.approx(again[0] - base[0], abs=TOL)
        assert row["risk_change"] == pytest.approx(again[2] - base[2], abs=TOL)
    # a change that is none would pass all of this
    assert max(abs(row["science_change"]) for row in found) > 0.01


@pytest.mark.parametrize("seed", [3, 4])
@pytest.mark.parametrize("enumerated", [True, False])
def test_every_target_left_out_equals_its_enumeration(seed, enumerated, monkeypatch):
    if not enumerated:
        monkeypatch.setattr(swarm.decide.replan, "EXACT_PLANS", 0)
    study, run, plan = case(seed=seed)
    table, bodies = run.opportunities, run.targets
    found = sensitivity(study, run, plan=plan, catalogue=None, pool=Pool())
    chosen, names = flown(run, plan), table["target"].to_pylist()
    evaluate = PlainEvaluator(study, table, bodies)
    limit_kg = evaluate(chosen)[1]
    base = most_science(study, table, bodies, limit_kg=limit_kg)[0]
    rows = found.left_out.to_pylist()
    assert [row["target"] for row in rows] == [names[k] for k in chosen]
    for row, k in zip(rows, chosen, strict=True):
        assert row["science_held"] == pytest.approx(evaluate([o for o in chosen if o != k])[0], abs=TOL)
        best = most_science(study, table, bodies, limit_kg=limit_kg, without=row["target"])[0]
        assert row["science_replanned"] == pytest.approx(best, abs=TOL)
        assert row["science_change"] == pytest.approx(best - base, abs=TOL)
        assert row["science_change"] <= TOL
    (worst,) = [row for row in found.table.to_pylist() if row["factor"] == LEFT_OUT]
    assert worst["side"] == "out"
    assert worst["science"] == pytest.approx(min(row["science_replanned"] for row in rows), abs=TOL)


def test_targets_retained_are_counted_by_hand():
    study, run, plan = case(seed=3)
    found = sensitivity(study, run, plan=plan, catalogue=None, pool=Pool())
    rows = found.table.to_pylist()
    count = len(flown(run, plan))
    (out,) = [row for row in rows if row["factor"] == LEFT_OUT]
    # the target that is left out is not retained, the most that can be is all the others
    assert 0.0 <= out["targets_retained"] <= (count - 1) / count
    assert all(round(row["targets_retained"] * count, 9) % 1 == 0 for row in rows)


def test_the_widest_factor_comes_first_and_the_unchanged_last():
    study, run, plan = case(seed=4)
    rows = sensitivity(study, run, plan=plan, catalogue=None, pool=Pool()).table.to_pylist()
    order = list(dict.fromkeys(row["factor"] for row in rows))
    spans = []
    for factor in order:
        sciences = [row["science"] for row in rows if row["factor"] == factor] + [rows[-1]["science"]]
        spans.append(max(sciences) - min(sciences))
    assert order[-1] == NOTHING
    assert rows[-1]["science_change"] == 0.0
    assert all(a >= b - 1e-12 for a, b in itertools.pairwise(spans))
    assert spans[0] > spans[-2]


def test_a_weibull_chance_is_moved_but_none_beyond_the_probes_life():
    study, run, plan = case(seed=3, leave_one_out=False)
    aged = changed(study, "survival", model="weibull")
    found = sensitivity(aged, run, plan=plan, catalogue=None, pool=Pool()).table.to_pylist()
    low, high = (
        [row for row in found if row["factor"] == SUCCESS and row["side"] == side] for side in ("low", "high")
    )
    assert low[0]["science_held"] < found[-1]["science_held"] < high[0]["science_held"]
    short = aged.model_copy(update={"probe": aged.probe.model_copy(update={"cruise_life_days": 1.0})})
    dead = sensitivity(short, run, plan=plan, catalogue=None, pool=Pool()).table.to_pylist()
    assert {row["science"] for row in dead} == {0.0}


# --- the burn limit -------------------------------------------------------------------------------------------


def burn_case(seed, limit_m_s, rows=9):
    study = make_study(
        probe={"count": 3, "burn_limit_m_s": limit_m_s},
        constraints={"release_spacing_days": 5.0, "sun_earth_probe_min_deg": 0.0},
    )
    return study, make_opportunities([k % 5 for k in range(rows)], seed=seed)


@settings(max_examples=15, deadline=None)
@given(
    seed=st.integers(0, 1000),
    limit=st.floats(40.0, 120.0),
    more=st.floats(0.0, 0.6),
    spent_kg=st.floats(0.1, 2.0),
)
def test_a_higher_burn_limit_never_lowers_science_and_equals_enumeration(seed, limit, more, spent_kg):
    study, table = burn_case(seed, limit)
    higher, _ = burn_case(seed, limit * (1.0 + more))
    bodies = make_targets(["C", "S", "", "X", "B"])
    nowhere = np.full(3, -1)
    ground = Ground(table, bodies, without_errors(study, table, bodies), None, nowhere[None, :])
    worlds = [World(0, study, nowhere), World(0, higher, nowhere)]
    low, high = answers(worlds, [ground], spent_kg=spent_kg, effort=1, pool=Pool())
    for one, answer in ((study, low), (higher, high)):
        best = most_science(one, table, bodies, limit_kg=spent_kg)
        assert answer.again[0] == pytest.approx(best[0], abs=TOL)
    assert high.again[0] >= low.again[0] - TOL


def test_the_plan_left_as_it_is_loses_the_probes_that_a_lower_limit_grounds():
    study, table = burn_case(3, 150.0)
    burn = table["burn_m_s"].to_numpy()
    release = table["release_jd_tdb"].to_numpy()
    plan = np.array([*sorted([int(np.argmin(burn)), int(np.argmax(burn))], key=lambda k: release[k]), -1])
    limit = float(burn.max()) - 1e-6
    weaker = study.model_copy(update={"probe": study.probe.model_copy(update={"burn_limit_m_s": limit})})
    bodies = make_targets(["C", "S", "", "X", "B"])
    ground = Ground(table, bodies, without_errors(study, table, bodies), None, plan[None, :])
    (answer,) = answers([World(0, weaker, plan)], [ground], spent_kg=1.0, effort=1, pool=Pool())
    alone = PlainEvaluator(weaker, table, bodies)([int(np.argmin(burn))])
    assert answer.held == pytest.approx(alone, abs=TOL)


def test_stronger_burns_are_added_after_what_there_was():
    table = make_opportunities([0, 1, 2], burn_m_s=[10.0, 60.0, 90.0])
    bodies = make_targets(["C", "S", "", "X"])
    ground = Ground(
        table,
        bodies.take([0, 1, 2]),
        without_errors(make_study(), table, bodies.take([0, 1, 2])),
        None,
        np.full((1, 3), -1),
    )

    class Found:
        # the screen with a higher limit numbers its own targets: X1 and X3
        opportunities = make_opportunities([0, 1], burn_m_s=[60.0, 120.0]).set_column(
            1, "target", [["X1", "X3"]]
        )
        targets = bodies.take([1, 3])

    both, targets = joined(ground, Found, above_m_s=100.0)
    assert both.slice(0, 3).to_pylist() == table.to_pylist()
    assert both.num_rows == 4
    assert targets.target.tolist() == ["X0", "X1", "X2", "X3"]
    added = both.to_pylist()[-1]
    assert (added["target"], added["target_index"], added["burn_m_s"]) == ("X3", 3, 120.0)
    assert added["opportunity"] == 103


def test_nothing_usable_is_the_plan_without_probes():
    study, table = burn_case(3, 1.0)
    bodies = make_targets(["C", "S", "", "X", "B"])
    ground = Ground(table, bodies, without_errors(study, table, bodies), None, np.full((1, 3), -1))
    (answer,) = answers([World(0, study, np.full(3, -1))], [ground], spent_kg=1.0, effort=1, pool=Pool())
    assert answer.again.tolist() == [0.0, 0.0, 1.0]
    assert (answer.plan == -1).all()
