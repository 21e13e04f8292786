"""A front for each probe count: nested, by the contract at zero, and equal to full enumerations on small cases."""

import itertools

import numpy as np
import pytest

from swarm.decide.counts import descope_order
from swarm.decide.summary import select_plan
from swarm.plan.objectives import evaluate
from swarm.run.workers import Pool
from tests.helpers.flown_as_aimed import allowed, compare, plan_data
from tests.helpers.small_cases import ROWS, make_opportunities, make_study, make_targets

EFFORT = {"islands": 2, "population": 16, "epochs": 2, "generations_per_epoch": 3, "levels": 4}
TAXONOMY = ["C", "S", "", "X", "B", "S", "C", ""]


def compared(counts, *, rows=14, seed=5, targets=8, **settings):
    study = make_study(
        probe={"count": 3}, optimize=EFFORT, compare={"counts": counts, "seeds": 2, **settings},
        constraints={"release_spacing_days": 5.0, "sun_earth_probe_min_deg": 0.0},
    )  # fmt: skip
    bodies = make_targets(TAXONOMY[:targets])
    table = make_opportunities([k % targets for k in range(rows)], seed=seed)
    return study, table, bodies, compare(study, table, bodies, pool=Pool())


def front_of(found, count):
    rows = [row for row in found.fronts.to_pylist() if row["count"] == count]
    return np.array([[-row["science"], row["propellant_kg"], row["risk"]] for row in rows])


def every_plan(study, table, count):
    """All feasible plans by the rules as the contract states them, written again."""
    usable = [row for row, kept in enumerate(allowed(study, table).mask) if kept]
    release, target = table["release_jd_tdb"].to_numpy(), table["target_index"].to_numpy()
    spacing = study.constraints.release_spacing_days
    for size in range(count + 1):
        for plan in itertools.combinations(usable, size):
            pairs = list(itertools.combinations(plan, 2))
            if all(abs(release[a] - release[b]) >= spacing and target[a] != target[b] for a, b in pairs):
                yield list(plan) + [-1] * (count - size)


@pytest.mark.parametrize("seed", [5, 6])
def test_the_front_for_more_probes_is_nowhere_worse(seed):
    # 60 opportunities, 6 probes: far beyond what is enumerated, with next to no effort
    counts = [0, 1, 2, 4, 5, 6]
    _, _, _, found = compared(counts, rows=60, seed=seed)
    for fewer, more in itertools.pairwise(counts):
        below, above = front_of(found, fewer), front_of(found, more)
        matched = (above[None, :, :] <= below[:, None, :] + 1e-12).all(axis=2).any(axis=1)
        assert matched.all()
    volumes = found.counts["hypervolume"].to_numpy()
    assert (np.diff(volumes) >= -1e-12).all()
    assert volumes[-1] > volumes[1] > volumes[0]


def test_plans_keep_their_count():
    _, _, _, found = compared([0, 2, 4], rows=40)
    assert all(row["probes"] <= row["count"] for row in found.fronts.to_pylist())
    assert found.counts["probes_flown"].to_pylist() <= found.counts["probes"].to_pylist()


def test_without_probes_there_is_nothing_but_risk():
    _, _, _, found = compared([0, 2])
    first = found.counts.to_pylist()[0]
    assert [
        first[name] for name in ("probes", "science", "propellant_kg", "swarm_mass_kg", "tracking_hours")
    ] == [0] * 5
    assert first["risk"] == 1.0
    assert first["p_threshold"] == 0.0
    rows = [{**row, "threshold": 0} for row in ROWS]
    study = make_study(rows, compare={"counts": [0], "seeds": 1})
    found = compare(study, make_opportunities([0, 1]), make_targets(["C", "S"]), pool=Pool())
    assert found.counts["risk"].to_pylist() == [0.0]


def test_the_next_probe_is_worth_the_difference_of_two_full_enumerations():
    counts = [0, 1, 2, 3, 4]
    study, table, bodies, found = compared(counts, rows=12, targets=6)
    data = plan_data(study, table, bodies, probes=4)
    best = [
        evaluate(list(every_plan(study, table, count)) if count else [[-1]], data)[:, 0].max()
        for count in counts
    ]
    np.testing.assert_allclose(found.counts["science_best"].to_numpy(), best, rtol=0, atol=1e-12)
    np.testing.assert_allclose(
        found.counts["next_probe_science"].to_numpy()[1:], np.diff(best), rtol=0, atol=1e-12
    )
    # every plan was evaluated, whatever the seed
    assert np.nanmax(found.counts["next_probe_science_sd"].to_numpy()) == 0.0
    assert best[1] > best[0]


def test_one_probe_more_adds_what_full_enumeration_says():
    """Also between the counts that were asked for, and beyond the last; a short search can only find less."""
    counts = [0, 2, 3]
    study, table, bodies, found = compared(counts, rows=12, targets=6)
    data = plan_data(study, table, bodies, probes=4)

    def best(count):
        plans = [plan + [-1] * (4 - count) for plan in every_plan(study, table, count)]
        return evaluate(plans, data)[:, 0].max()

    added = [best(count + 1) - best(count) for count in counts]
    assert min(added) > 0.0
    np.testing.assert_allclose(found.counts["one_more_science"].to_numpy(), added, rtol=0, atol=1e-12)


def test_one_reference_point_for_all_counts():
    _, _, _, few = compared([0, 2])
    _, _, _, more = compared([0, 2, 4])
    # another largest count is another reference point: tanks of four are larger than those of two
    assert few.counts["hypervolume"][0].as_py() == pytest.approx(
        more.counts["hypervolume"][0].as_py(), abs=1e-12
    )
    assert few.counts["hypervolume"][1].as_py() != more.counts["hypervolume"][1].as_py()


def test_the_same_question_has_the_same_answer():
    *_, one = compared([0, 2, 4], rows=40)
    *_, two = compared([4, 2, 0, 2], rows=40)
    assert one.counts.equals(two.counts) or str(one.counts) == str(two.counts)
    assert one.fronts.equals(two.fronts)


def test_descoping_leaves_out_the_cheapest_loss_first():
    study, table, bodies, found = compared([0, 4], rows=40)
    order = found.descope
    data = plan_data(study, table, bodies, probes=4)
    numbers = table["opportunity"].to_pylist()
    plan = [numbers.index(row["opportunity"]) for row in found.plans.to_pylist() if row["count"] == 4]
    assert order.num_rows == len(plan) > 1
    left = list(plan)
    for row in order.to_pylist():
        after = {o: evaluate([[p for p in left if p != o] or [-1]], data)[0] for o in left}
        gone = numbers.index(row["opportunity"])
        assert after[gone][0] == pytest.approx(max(value[0] for value in after.values()), abs=1e-12)
        assert row["science"] == pytest.approx(after[gone][0], abs=1e-12)
        left.remove(gone)
        assert row["probes_left"] == len(left)
    # nothing left: the contract's zeros
    assert (order["science"][-1].as_py(), order["propellant_kg"][-1].as_py(), order["risk"][-1].as_py()) == (
        0.0,
        0.0,
        1.0,
    )
    assert descope_order(np.array([-1, -1]), data, table).num_rows == 0


# --- the rules ----------------------------------------------------------------------------------------------


def test_least_propellant_at_a_required_chance():
    study, _, _, found = compared([3], rule="least-propellant", chance_min=0.3)
    front = found.fronts.filter(np.ones(found.fronts.num_rows, dtype=bool))
    rows = front.to_pylist()
    plan, met = select_plan(front, study)
    likely = [row for row in rows if row["risk"] <= 0.7]
    assert met
    assert rows[plan]["propellant_kg"] == min(row["propellant_kg"] for row in likely)
    assert rows[plan]["propellant_kg"] > min(row["propellant_kg"] for row in rows)


def test_a_chance_that_no_plan_reaches_is_said():
    _, _, _, found = compared([0, 3], rule="least-propellant", chance_min=1.0)
    assert found.counts["rule_met"].to_pylist() == [False, False]
    assert found.counts["risk"][1].as_py() == pytest.approx(front_of(found, 3)[:, 2].min(), abs=1e-12)


def test_most_science_under_a_mass_limit():
    # one probe with its dispenser: 12 kg x 1.1 x 1.2 + 6 kg x 1.05 x 1.2 = 23.4 kg
    _, _, _, found = compared([0, 1, 2, 3], rule="science-in-mass", swarm_mass_max_kg=47.0)
    rows = found.counts.to_pylist()
    assert [row["probes_flown"] <= 2 for row in rows] == [True] * 4
    assert max(row["swarm_mass_with_margins_kg"] for row in rows) <= 47.0
    assert rows[3]["science"] == pytest.approx(rows[2]["science_best"], abs=1e-12)
    assert rows[3]["science_best"] > rows[3]["science"]
