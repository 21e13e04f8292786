"""Two designs and a limit of impact chances in drawn problems: search, bound and checker against full enumeration."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from swarm.optimize.bound import science_bound
from swarm.plan import verify_tables
from swarm.plan.objectives import evaluate
from swarm.plan.protection import PARTS, impact_parts
from swarm.plan.rules import decode, feasible
from swarm.study.schema import study_from
from targets.base.errors import NothingFeasible
from tests.helpers.enumerated_front import front_of
from tests.helpers.flown_as_aimed import allowed, optimize, plan_data, plan_rules
from tests.helpers.plan_checker import problems_of
from tests.helpers.serial_pool import Serial
from tests.helpers.small_cases import ROWS, START_JD_TDB, make_opportunities, make_study, make_targets

NAMES = ("small", "large")
PLACES = ("Europa", "Io", "Ganymede", "Callisto", "Titan", "Rhea")
LIMITS = {"Europa": 1e-4, "Io": 3e-5}
# Where targets are shared, so that more than one pass of a protected body fits into a plan.
PAIRS = {"pairs": True, "release_spacing_days": 5.0}


def two_designs(
    *, counts: tuple[int, int] = (2, 1), limits: dict[str, float] | None = None, **more: Any
) -> Any:
    """A study with a small and a large probe, and limits of impact."""
    plain = make_study(
        ROWS, constraints={**PAIRS, "sun_earth_probe_min_deg": 0.0},
        optimize={"islands": 2, "population": 16, "epochs": 4, "generations_per_epoch": 6, "levels": 5}, **more,
    ).model_dump(mode="json", by_alias=True, exclude_unset=True)  # fmt: skip
    del plain["probe"]
    plain["designs"] = [
        {"name": "small", "count": counts[0], "wet_mass_kg": 8.0, "burn_limit_m_s": 110.0, "isp_s": 200.0},
        {"name": "large", "count": counts[1], "wet_mass_kg": 20.0, "burn_limit_m_s": 150.0,
         "camera_ifov_urad": 10.0, "cruise_life_days": 500.0},
    ]  # fmt: skip
    plain["protection"] = {"impact_chance_max": LIMITS if limits is None else limits}
    return study_from(plain)


def drawn(seed: int, *, rows: int = 14) -> tuple[pa.Table, Any]:
    """Opportunities of both designs, some with an impact chance, and their targets."""
    rng = np.random.default_rng(seed)
    target = rng.choice(len(PLACES), rows, p=[0.4, 0.2, 0.1, 0.1, 0.1, 0.1])
    chance = np.where(rng.random(rows) < 0.8, 10.0 ** rng.uniform(-5.5, -3.9, rows), np.nan)
    table = make_opportunities(
        target, seed=seed, release_jd_tdb=START_JD_TDB + 5.0 * rng.integers(0, 12, rows),
        burn_jd_tdb=np.full(rows, START_JD_TDB + 70.0), target=[PLACES[k] for k in target],
        encounter_jd_tdb=np.full(rows, START_JD_TDB + 300.0),
        design=[NAMES[k] for k in rng.integers(0, 2, rows)], impact_chance=chance,
        carrier_impact_chance=np.where(rng.random(rows) < 0.4, 4e-5, 0.0),
        later_impact_chance=np.where(rng.random(rows) < 0.3, 3e-5, 0.0),
    )  # fmt: skip
    return table, make_targets(list(rng.choice(["", "C", "S"], len(PLACES))))


def keeps(study: Any, chosen: list[dict[str, Any]]) -> bool:
    """The rules as the study states them, written with nothing of what is tested."""
    if any(sum(o["design"] == d.name for o in chosen) > d.count for d in study.designs):
        return False
    for body, limit in study.protection.impact_chance_max.items():
        own = [o for o in chosen if o["target"] == body]
        total = sum(o["impact_chance"] for o in own if not math.isnan(o["impact_chance"]))
        total += sum(o["later_impact_chance"] for o in own)
        if study.protection.carrier_included:
            total += sum(o["carrier_impact_chance"] for o in own)
        if total > limit:
            return False
    releases = sorted(o["release_jd_tdb"] for o in chosen)
    spaced = all(b - a >= study.constraints.release_spacing_days for a, b in itertools.pairwise(releases))
    names = [o["target"] for o in chosen]
    return spaced and all(names.count(name) <= 2 for name in names)


def every_plan(study: Any, table: pa.Table) -> np.ndarray:
    """All feasible plans, (n, probes)."""
    rows, most = table.to_pylist(), study.probe.count
    limit = {design.name: design.burn_limit_m_s for design in study.designs}
    usable = [k for k, o in enumerate(rows) if o["burn_m_s"] <= limit[o["design"]]]
    plans = [
        [*plan, *[-1] * (most - size)]
        for size in range(most + 1)
        for plan in itertools.combinations(usable, size)
        if keeps(study, [rows[k] for k in plan])
    ]
    return np.array(plans)


@pytest.mark.parametrize("seed", range(6))
def test_a_mixed_case_is_its_full_enumeration(seed: int) -> None:
    study, (table, targets) = two_designs(), drawn(seed)
    best = front_of(evaluate(every_plan(study, table), plan_data(study, table, targets)))
    out = optimize(study, table, targets, pool=Serial())
    assert out.exact
    found = np.column_stack([-out.front["science"].to_numpy(), out.front["propellant_kg"], out.front["risk"]])
    found = np.unique(np.round(found, 13), axis=0)
    assert found.shape == best.shape
    np.testing.assert_allclose(found, best, rtol=0.0, atol=1e-12)
    assert problems_of(study, table, out.front, out.plans) == []


@pytest.mark.parametrize("seed", range(3))
def test_the_search_reports_no_plan_that_breaks_them(seed: int) -> None:
    """Islands, exchanges and repairs instead of enumeration: all of the front's science, and nothing barred."""
    study, (table, targets) = two_designs(), drawn(seed)
    best = front_of(evaluate(every_plan(study, table), plan_data(study, table, targets)))
    out = optimize(study, table, targets, pool=Serial(), exact_plans=0)
    assert max(out.front["science"].to_pylist()) == pytest.approx(-best[:, 0].min(), abs=1e-9)
    rows = {row["opportunity"]: row for row in table.to_pylist()}
    for plan in range(out.front.num_rows):
        own = [rows[row["opportunity"]] for row in out.plans.to_pylist() if row["plan"] == plan]
        assert keeps(study, own)


def test_the_draws_notice_when_a_rule_is_left_out() -> None:
    """Each rule bars plans in one of the draws that all others let pass."""
    barred = {"designs": 0, "Europa": 0, "carrier": 0}
    for seed in range(6):
        table, _ = drawn(seed)
        whole = len(every_plan(two_designs(), table))
        lifted = two_designs(limits={"Io": 3e-5})
        alone = two_designs()
        without = alone.with_keys("protection", carrier_included=False)
        more = alone.with_designs(tuple(d.model_copy(update={"count": 3}) for d in alone.designs))
        for name, study in (("Europa", lifted), ("carrier", without), ("designs", more)):
            barred[name] += len(every_plan(study, table)) - whole
    assert all(count > 0 for count in barred.values()), barred


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(100, 10_000))
def test_no_plan_lies_above_the_bound(seed: int) -> None:
    study, (table, targets) = two_designs(), drawn(seed, rows=12)
    mask = allowed(study, table).mask
    usable = table.filter(pa.array(mask))
    if not usable.num_rows:
        return
    data = plan_data(study, usable, targets)
    rules = plan_rules(study, usable, data)
    none = np.full((1, data.probes), -1)
    proven = science_bound(data, rules, known=none, levels=6, pool=Serial())
    values = evaluate(every_plan(study, usable), data)
    for level, upper in zip(proven.propellant_kg, proven.science_upper, strict=True):
        within = values[values[:, 1] <= level * (1.0 + 1e-12)]
        assert within[:, 0].max(initial=0.0) <= upper + 1e-9


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_repaired_plans_keep_the_rules_and_stay_what_they_are(seed: int) -> None:
    study, (table, targets) = two_designs(), drawn(seed % 50)
    usable = table.filter(pa.array(allowed(study, table).mask))
    if not usable.num_rows:
        return
    rules = plan_rules(study, usable, plan_data(study, usable, targets))
    genes = np.random.default_rng(seed).integers(-2, usable.num_rows, size=(40, 3))
    plans = decode(genes, rules)
    assert feasible(plans, rules).all()
    assert (decode(plans, rules) == plans).all()
    rows = usable.to_pylist()
    assert all(keeps(study, [rows[k] for k in plan if k >= 0]) for plan in plans)


def test_what_is_charged_is_of_the_design_that_flies() -> None:
    """Propellant and chance of working hardware of each row as in a study of its design alone."""
    study, (table, targets) = two_designs(), drawn(3)
    data = plan_data(study, table, targets)
    for name, alone in study.by_design.items():
        own = np.array(table["design"].to_pylist()) == name
        single = plan_data(alone, table.filter(pa.array(own)), targets)
        np.testing.assert_array_equal(data.propellant_kg[own], single.propellant_kg)
        np.testing.assert_array_equal(data.hardware[own], single.hardware)


# --- the checker --------------------------------------------------------------------------------------------


def test_the_checker_finds_a_planted_plan_over_the_limit() -> None:
    study = two_designs(counts=(3, 1))
    o = {"opportunity": 1, "target": "Europa", "design": "small", "impact_chance": 6e-5}
    twice = [o, {**o, "opportunity": 2, "impact_chance": 4e-5}]
    assert verify_tables.protection_problems(study, twice) == []
    over = [*twice, {**o, "opportunity": 3, "impact_chance": 1e-9}]
    (told,) = verify_tables.protection_problems(study, over)
    assert told.startswith("protection.impact_chance_max.Europa")
    carrier = [{**twice[0], "carrier_impact_chance": 1e-9}, twice[1]]
    assert len(verify_tables.protection_problems(study, carrier)) == 1
    later = [{**twice[0], "later_impact_chance": 1e-9}, twice[1]]
    assert len(verify_tables.protection_problems(study, later)) == 1
    alone = study.with_keys("protection", carrier_included=False)
    assert len(verify_tables.protection_problems(alone, later)) == 1
    assert verify_tables.protection_problems(alone, carrier) == []


def test_the_checker_finds_a_front_made_with_a_rule_left_out() -> None:
    """A front of the same table without limit, and one with more probes of a design, do not pass."""
    found = {"designs": 0, "protection": 0}
    for seed in range(6):
        table, targets = drawn(seed)
        study = two_designs()
        free = study.with_keys("protection", impact_chance_max={})
        more = study.with_designs(tuple(d.model_copy(update={"count": 3}) for d in study.designs))
        for name, other in (("protection", free), ("designs", more)):
            out = optimize(other, table, targets, pool=Serial())
            found[name] += any(name in text for text in problems_of(study, table, out.front, out.plans))
    assert all(found.values())


def test_the_checker_finds_a_design_that_is_not_there() -> None:
    told = verify_tables.design_problems(two_designs(), [{"opportunity": 4, "design": "medium"}])
    assert told == ["opportunity 4 is of a design that is not there: medium"]


# --- limits and sums ----------------------------------------------------------------------------------------


def test_a_chance_is_rounded_up_in_parts_of_its_limit() -> None:
    table = pa.table({"target": ["Io", "Io", "Europa", "Rhea"], "impact_chance": [3e-5, 1.5e-5, np.nan, 0.5]})
    study = two_designs(limits={"Io": 3e-5, "Europa": 1e-4})
    assert impact_parts(study, table).tolist() == [[PARTS, PARTS // 2, 0, 0]]


def test_a_limit_that_no_row_keeps_names_the_least_chance_found() -> None:
    table, targets = drawn(2)
    table = table.set_column(
        table.column_names.index("target"), "target", pa.array(["Europa"] * table.num_rows)
    )
    table = table.set_column(
        table.column_names.index("impact_chance"),
        "impact_chance",
        pa.array(np.linspace(2e-3, 3e-3, table.num_rows)),
    )
    with pytest.raises(
        NothingFeasible, match=r"least impact chance found at Europa is 0\.002.*the limit 0"
    ) as told:
        optimize(two_designs(limits={"Europa": 0.0}), table, targets, pool=Serial())
    assert "without impact (protection.impact_chance_max) alone" in str(told.value)


def test_what_the_limit_costs_is_asked_like_any_constraint() -> None:
    gains = []
    for seed in range(6):
        table, targets = drawn(seed)
        asked = two_designs().with_keys("optimize", constraint_costs=True)
        out = optimize(asked, table, targets, pool=Serial())
        costs = {row["constraint"]: row for row in out.costs.to_pylist()}
        lifted = two_designs().with_keys("protection", impact_chance_max={})
        free = optimize(lifted, table, targets, pool=Serial())
        gains.append(max(free.front["science"].to_pylist()) - max(out.front["science"].to_pylist()))
        told = costs["impact (protection.impact_chance_max)"]["science"]
        assert told == pytest.approx(gains[-1], abs=1e-9)
    assert max(gains) > 0.0


def test_one_design_given_explicitly_is_the_study_with_probe() -> None:
    """The same front to the byte; only the name of the design stands beside."""
    rng = np.random.default_rng(8)
    table, targets = (
        make_opportunities(rng.integers(0, 6, 16), seed=8),
        make_targets(["C", "S", "", "X", "B", "S"]),
    )
    plain = make_study(ROWS)
    data = plain.model_dump(mode="json", by_alias=True, exclude_unset=True)
    explicit = study_from(
        {**{key: value for key, value in data.items() if key != "probe"},
         "designs": [{**data["probe"], "name": "probe"}]}
    )  # fmt: skip
    named = table.append_column("design", pa.array(["probe"] * 16))
    one = optimize(plain, table, targets, pool=Serial())
    other = optimize(explicit, named, targets, pool=Serial())
    assert other.plans.equals(one.plans)
    assert other.bound.equals(one.bound)
    assert other.front.drop_columns(["probes_of_probe"]).equals(one.front)
