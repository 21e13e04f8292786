"""What the mothership burns to steer, in drawn problems: search, bound and checker against full enumeration."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from swarm.optimize.bound import science_bound
from swarm.plan import verify_tables
from swarm.plan.objectives import evaluate
from swarm.plan.protection import PARTS, tank_parts
from swarm.study.schema import study_from
from targets.base.errors import NothingFeasible
from tests.helpers.enumerated_front import front_of
from tests.helpers.flown_as_aimed import allowed, optimize, plan_data, plan_rules
from tests.helpers.plan_checker import problems_of
from tests.helpers.serial_pool import Serial
from tests.helpers.small_cases import ROWS, make_study
from tests.optimize.test_designs_and_protection import drawn, every_plan, two_designs

TANK_KG = 6.0


def asked(**ship: Any) -> Any:
    return two_designs().with_keys("mothership", **{"propellant_kg": TANK_KG, **ship})


def steered(seed: int) -> tuple[pa.Table, Any]:
    """Rows of which the mothership steers half, for up to the whole of its tank."""
    table, targets = drawn(seed)
    rng = np.random.default_rng(1000 + seed)
    burnt = np.where(rng.random(table.num_rows) < 0.6, rng.uniform(0.5, 7.0, table.num_rows), 0.0)
    return table.append_column("carrier_propellant_kg", pa.array(burnt)), targets


def in_tank(plans: np.ndarray, table: pa.Table, most: float) -> np.ndarray:
    """The plans for which the mothership burns no more than it may, added up one by one."""
    burnt = table["carrier_propellant_kg"].to_pylist()
    return plans[[math.fsum(burnt[k] for k in plan if k >= 0) <= most for plan in plans]]


@pytest.mark.parametrize("seed", range(5))
def test_a_front_is_its_full_enumeration_and_passes_the_checker(seed: int) -> None:
    study, (table, targets) = asked(), steered(seed)
    plans = in_tank(every_plan(study, table), table, TANK_KG)
    best = front_of(evaluate(plans, plan_data(study, table, targets)))
    out = optimize(study, table, targets, pool=Serial())
    found = np.column_stack([-out.front["science"].to_numpy(), out.front["propellant_kg"], out.front["risk"]])
    found = np.unique(np.round(found, 13), axis=0)
    assert found.shape == best.shape
    np.testing.assert_allclose(found, best, rtol=0.0, atol=1e-12)
    assert problems_of(study, table, out.front, out.plans) == []


def test_the_tank_bars_plans_that_every_other_rule_lets_pass() -> None:
    barred = 0
    for seed in range(5):
        plans = every_plan(asked(), steered(seed)[0])
        barred += len(plans) - len(in_tank(plans, steered(seed)[0], TANK_KG))
    assert barred > 0


@pytest.mark.parametrize("seed", range(3))
def test_the_search_and_its_bound_keep_the_tank(seed: int) -> None:
    study, (table, targets) = asked(), steered(seed)
    burnt = dict(
        zip(table["opportunity"].to_pylist(), table["carrier_propellant_kg"].to_pylist(), strict=True)
    )
    out = optimize(study, table, targets, pool=Serial(), exact_plans=0)
    for plan in range(out.front.num_rows):
        own = [burnt[row["opportunity"]] for row in out.plans.to_pylist() if row["plan"] == plan]
        assert math.fsum(own) <= TANK_KG
    usable = table.filter(pa.array(allowed(study, table).mask))
    data = plan_data(study, usable, targets)
    none = np.full((1, data.probes), -1)
    proven = science_bound(data, plan_rules(study, usable, data), known=none, levels=6, pool=Serial())
    values = evaluate(in_tank(every_plan(study, usable), usable, TANK_KG), data)
    for level, upper in zip(proven.propellant_kg, proven.science_upper, strict=True):
        within = values[values[:, 1] <= level * (1.0 + 1e-12)]
        assert within[:, 0].max(initial=0.0) <= upper + 1e-9


def test_what_it_burns_is_propellant_of_the_plan_only_if_it_counts() -> None:
    table, targets = steered(2)
    counted = plan_data(asked(), table, targets).propellant_kg
    apart = plan_data(asked(counts=False), table, targets).propellant_kg
    np.testing.assert_allclose(counted - apart, table["carrier_propellant_kg"].to_numpy(), atol=1e-12)


def test_a_share_of_the_tank_is_rounded_up() -> None:
    table = pa.table({"target": ["Io"] * 3, "carrier_propellant_kg": [TANK_KG, 0.5 * TANK_KG, 0.0]})
    assert tank_parts(asked(), table).tolist() == [[PARTS, PARTS // 2, 0]]
    assert tank_parts(asked(propellant_kg=None), table).shape == (0, 3)
    full = tank_parts(asked(propellant_kg=0.0), table)
    assert (full[0, :2] > PARTS).all()


def test_a_tank_too_small_for_any_row_is_named() -> None:
    table, targets = steered(1)
    burnt = pa.array(np.full(table.num_rows, 3.0))
    table = table.set_column(
        table.column_names.index("carrier_propellant_kg"), "carrier_propellant_kg", burnt
    )
    with pytest.raises(NothingFeasible, match=r"mothership\.propellant_kg for one probe removed") as told:
        optimize(asked(propellant_kg=2.0), table, targets, pool=Serial())
    assert "without the mothership's propellant (mothership.propellant_kg) alone" in str(told.value)


def of_one_probe() -> Any:
    """A study of [probe], which takes every kind, with an approach that the mothership steers."""
    plain = make_study(ROWS).model_dump(mode="json", by_alias=True, exclude_unset=True)
    plain["mothership"]["propellant_kg"] = TANK_KG
    return study_from(plain | {"approach": [{"name": "skim", "body": "Europa", "steer": "carrier"}]})


def made(**changed: Any) -> dict[str, Any]:
    """A row that the mothership steers, as the tables have it."""
    dv = 12.0
    row = {
        "opportunity": 3, "approach": "skim", "target": "Europa", "steer": "carrier", "burn_m_s": 0.0,
        "release_jd_tdb": 10.0, "encounter_jd_tdb": 30.0, "impact_course_days": 2.0, "carrier_out_m_s": 5.0,
        "carrier_back_m_s": dv - 5.0, "carrier_impact_chance": 1e-6, "impact_chance": 1e-6,
        "carrier_propellant_kg": 600.0 * math.expm1(dv / (9.80665 * 300.0)),
    }  # fmt: skip
    return row | changed


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, None),
        ({"steer": "probe"}, "approach.steer is carrier"),
        ({"burn_m_s": 3.0}, "the probe burns 3 m/s"),
        ({"impact_course_days": 0.0}, "divert_after_days"),
        ({"impact_course_days": 21.0}, "divert_after_days"),
        ({"carrier_propellant_kg": 1.0}, "two burns take 2.45"),
        ({"carrier_impact_chance": 2e-3}, "carrier_impact_chance is 0.002"),
    ],
)
def test_the_checker_looks_at_every_row_that_is_steered(changed: dict[str, Any], said: str | None) -> None:
    told = verify_tables.steering_problems(of_one_probe(), [made(**changed)])
    if said is None:
        assert told == []
    else:
        assert len(told) == 1
        assert said in told[0]


def test_the_checker_finds_a_planted_plan_over_the_tank() -> None:

    study = of_one_probe()
    two = [made(), made(opportunity=4)]
    assert verify_tables.steering_problems(study, two) == []
    (told,) = verify_tables.steering_problems(study, [*two, made(opportunity=5)])
    assert told.startswith("mothership.propellant_kg: 7.35")
    front = {"impact_chance": 4e-6, "carrier_propellant_kg": 2.0 * made()["carrier_propellant_kg"]}
    assert verify_tables.summed_problems(study, front, two) == []
    assert (
        len(verify_tables.summed_problems(study, {"impact_chance": 3e-6, "carrier_propellant_kg": 4.0}, two))
        == 2
    )
