"""A plan is flagged when its refined numbers put it elsewhere on the front, not for what all plans have in common."""

from dataclasses import replace

import numpy as np
import pytest

from swarm.app.stages.refining import tables_of
from swarm.refine import ranking
from swarm.refine.correct import NotRefined
from swarm.refine.ranking import ranking_changes
from swarm.run.folder import Run


@pytest.fixture(scope="module")
def held(plan):
    run = Run.open(plan.run)
    return run.study, tables_of(run), run.read_table("front")


def with_burn(one, more_m_s):
    """The same arc with a longer burn."""
    made = one.made
    size = np.linalg.norm(made.burn_km_s)
    return replace(one, made=replace(made, burn_km_s=made.burn_km_s * (1.0 + 1e-3 * more_m_s / size)))


def test_the_springs_gain_of_all_probes_flags_nothing(plan, held):
    # seen: -0.99 to -1.01 m/s for every probe
    changes = [
        1e3 * (np.linalg.norm(x.made.burn_km_s) - np.linalg.norm(x.made.arc.burn_km_s)) for x in plan.flown
    ]
    assert max(changes) < -0.9
    assert ranking_changes(*held, plan.flown) == []
    assert ranking_changes(*held, [with_burn(one, -40.0) for one in plan.flown]) == []


def test_one_probes_longer_burn_is_flagged(plan, held):
    # the third probe's arc is not in the next plans of the front, as the others' are
    spoilt = [*plan.flown[:2], with_burn(plan.flown[2], 600.0), plan.flown[3]]
    (said,) = ranking_changes(*held, spoilt)
    assert said.startswith(f"plan {plan.number}: science ")
    assert "changes places in propellant with plan" in said


def test_what_a_probe_can_no_longer_pay_is_flagged_in_science_and_risk(plan, held):
    one = plan.flown[0]
    spent = np.full_like(one.linear.spent_km_s, 1e3)
    poor = replace(one, linear=replace(one.linear, spent_km_s=spent, affordable=spent < 0.0))
    (said,) = ranking_changes(*held, [poor, *plan.flown[1:]])
    assert "in science with" in said
    before, after = said.split("science ")[1].split(",")[0].split(" -> ")
    assert float(after) < float(before) - 0.1
    before, after = said.split("risk ")[1].split(" when")[0].split(" -> ")
    assert float(after) >= float(before)


def test_a_probe_that_cannot_be_flown_is_left_out_of_every_plan(plan, held):
    gone = NotRefined(plan.flown[3].made.arc, "no burn was found")
    (said,) = ranking_changes(*held, plan.flown[:3], lost=[gone])
    before, after = said.split("propellant ")[1].split(" kg")[0].split(" -> ")
    assert float(after) < float(before) - 1.0


def test_what_was_flown_at_a_planet_stands_as_it_was_judged(plan, held, monkeypatch):
    """Not refined is not lost there: the plan keeps its place, and what all arcs have in common is not given to it."""
    arc = plan.flown[3].made.arc
    kept = NotRefined(arc, "flown in the field about its planet when it was screened")
    assert ranking_changes(*held, plan.flown[:3], lost=[kept]) != []
    monkeypatch.setattr(
        ranking, "at_places", lambda table: table["opportunity"].to_numpy() == arc.opportunity
    )
    assert ranking_changes(*held, plan.flown[:3], lost=[kept]) == []


def test_nothing_refined_says_nothing(held):
    assert ranking_changes(*held, []) == []
