"""What holds of any plan's recourse, beyond what can be enumerated."""

import numpy as np
import pytest

from swarm.decide.recourse import recourse_lines
from swarm.plan.measures import plans_matrix
from swarm.plan.objectives import evaluate
from swarm.run.workers import Pool
from tests.helpers.flown_as_aimed import allowed, optimize, plan_data
from tests.helpers.flown_as_aimed import recourse_of as recourse
from tests.helpers.small_cases import ROWS, make_opportunities, make_study, make_targets, mothership_table

EFFORT = {"islands": 2, "population": 16, "epochs": 2, "generations_per_epoch": 3, "levels": 4}
CLASSES = ["C", "S", "", "X", "B", "S", "C", ""] * 5


def searched(seed=5, rows=150, probes=6, **constraints):
    study = make_study(
        [{**row, "baseline": 4} for row in ROWS],
        probe={"count": probes}, optimize=EFFORT,
        constraints={"release_spacing_days": 10.0, "sun_earth_probe_min_deg": 0.0, **constraints},
    )  # fmt: skip
    table = make_opportunities([k % 40 for k in range(rows)], seed=seed)
    bodies = make_targets(CLASSES)
    found = optimize(study, table, bodies, pool=Pool())
    plans = plans_matrix(found.plans, table, found.front.num_rows, probes=probes)
    return study, table, bodies, plans[int(np.argmax(found.front["science"].to_numpy()))]


@pytest.mark.parametrize("seed", [5, 6, 7])
def test_science_after_a_dead_check_out_lies_between(seed):
    study, table, bodies, plan = searched(seed)
    found = recourse(study, table, bodies, plan)
    science, without, again = (
        found.probes[name].to_numpy() for name in ("science", "science_without", "science_reassigned")
    )
    assert (without < science).all()
    assert (again >= without).all()
    assert (again[:-1] - without[:-1]).max() > 0.0
    # earlier news leaves more to decide: the first dead probe loses the least of its own share
    share = (again - without) / (science - without)
    assert share[0] > share[-1] == 0.0


def test_at_most_ten_alternates_are_listed_and_all_are_counted():
    study, table, bodies, plan = searched()
    found = recourse(study, table, bodies, plan)
    counted = found.probes["alternates"].to_numpy()
    listed = np.bincount(found.alternates["probe"].to_numpy(), minlength=len(counted))
    assert counted.max() > 10
    assert listed.tolist() == np.minimum(counted, 10).tolist()
    data = plan_data(study, table, bodies)
    numbers = table["opportunity"].to_pylist()
    for row in found.alternates.to_pylist():
        changed = plan.copy()
        changed[row["probe"]] = numbers.index(row["opportunity"])
        assert row["science"] == pytest.approx(evaluate(changed[None, :], data)[0, 0], abs=1e-12)


def test_a_blackout_takes_alternates_and_time_away():
    study, table, bodies, plan = searched()
    release = np.sort(table["release_jd_tdb"].to_numpy()[plan[plan >= 0]])
    late = study.model_copy(
        update={
            "constraints": study.constraints.model_copy(
                update={"blackouts": ((float(release[-1]) + 5.0, study.study.end),)}
            )
        }
    )
    free, barred = recourse(study, table, bodies, plan).probes, recourse(late, table, bodies, plan).probes
    assert (barred["alternates"].to_numpy() < free["alternates"].to_numpy()).all()
    assert (barred["decide_by_jd_tdb"].to_numpy() < free["decide_by_jd_tdb"].to_numpy()).any()
    assert barred["decide_by_jd_tdb"].to_numpy().max() <= release[-1] + 3.0
    assert allowed(late, table).mask.sum() < allowed(study, table).mask.sum()


def test_recontact_with_a_dead_probe_is_not_looked_at_but_with_the_living_is():
    study, table, bodies, plan = searched()
    path = mothership_table()
    apart = study.model_copy(
        update={"constraints": study.constraints.model_copy(update={"recontact_km": 1.0e5})}
    )
    velocity = {f"burn_{axis}_m_s": 0.6 * table["burn_m_s"].to_numpy() for axis in "xyz"}
    for name, values in velocity.items():
        table = table.append_column(name, [values])
    near = recourse(study, table, bodies, plan, mothership=path).probes
    far = recourse(apart, table, bodies, plan, mothership=path).probes
    assert (far["alternates"].to_numpy() < near["alternates"].to_numpy()).any()


def test_the_same_question_has_the_same_answer():
    asked = searched()
    one, two = recourse(*asked), recourse(*asked)
    assert one.probes.equals(two.probes)
    assert one.alternates.equals(two.alternates)


def test_without_probes_there_is_nothing_to_decide():
    study, table, bodies, plan = searched()
    found = recourse(study, table, bodies, np.full_like(plan, -1))
    assert (found.probes.num_rows, found.alternates.num_rows) == (0, 0)
    assert recourse_lines(found.probes) == ["the plan flies no probe: nothing to decide later"]
    some = recourse(study, table, bodies, plan)
    assert found.probes.schema == some.probes.schema
    assert found.alternates.schema == some.alternates.schema
    assert len(recourse_lines(some.probes)) == 4
