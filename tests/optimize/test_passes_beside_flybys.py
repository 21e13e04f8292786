"""Low passes and flybys in one drawn problem: search, bound and checker against a full enumeration written apart.

Designs, the most probes of an approach, limits on impacts of a body: the rules are written again here, and the science
of a plan is counted over every outcome of its probes.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from swarm.optimize.search import Optimised, optimize
from swarm.plan.data import Chances, PlanData, plan_data, row_qualities
from swarm.plan.objectives import evaluate
from swarm.study.schema import study_from
from targets.catalogue.places import with_places
from tests.helpers.enumerated_front import front_of
from tests.helpers.plan_checker import problems_of
from tests.helpers.serial_pool import Serial
from tests.helpers.small_cases import START_JD_TDB, make_opportunities, make_study, make_targets

PLACES = ("Europa", "Io")
ROWS = [
    {"name": "bodies", "baseline": 2, "threshold": 1, "quality_min": 0.0, "weight": 2.0},
    {"name": "low and lit", "where": {"kind": "low-pass", "altitude_km_max": 120, "sun_elevation_deg": [5, 90]},
     "baseline": 2, "quality_min": 0.3, "weight": 3.0},
    {"name": "north of Europa", "where": {"kind": "low-pass", "body": "Europa", "latitude_deg": [0, 90],
                                         "longitude_deg": [300, 60]}, "baseline": 1, "quality_min": 0.0},
]  # fmt: skip
LIMIT = 1e-4


def question(*, probes_max: int | None = 2, limit: float = LIMIT) -> Any:
    """A small probe for flybys, a large one for both; no more than so many at Europa."""
    plain = make_study(constraints={"release_spacing_days": 5.0, "sun_earth_probe_min_deg": 0.0}).model_dump(
        mode="json", by_alias=True, exclude_unset=True
    )
    del plain["probe"]
    plain["science"], plain["survival"] = {"rows": ROWS}, {"success": 0.8, "shared_fraction": 0.0}
    plain["designs"] = [
        {"name": "small", "count": 1, "wet_mass_kg": 8.0, "burn_limit_m_s": 150.0},
        {
            "name": "large",
            "count": 3,
            "wet_mass_kg": 20.0,
            "burn_limit_m_s": 150.0,
            "takes": ["flyby", "low-pass"],
        },
    ]
    plain["protection"] = {"impact_chance_max": {"Europa": limit}}
    plain["approach"] = [
        {"name": "skim", "body": "Europa"} | ({} if probes_max is None else {"probes_max": probes_max}),
        {"name": "plume", "body": "Io"},
    ]
    plain["optimize"] = {
        "islands": 2, "population": 16, "epochs": 4, "generations_per_epoch": 6, "levels": 5,
        "constraint_costs": False,
    }  # fmt: skip
    return study_from(plain)


def drawn(seed: int, *, rows: int = 13) -> tuple[pa.Table, Any, Chances]:
    """Flybys of three bodies and passes of two moons, with chances."""
    rng = np.random.default_rng(seed)
    low = rng.random(rows) < 0.6
    place = rng.integers(0, 2, rows)
    target = np.where(low, 3 + place, rng.integers(0, 3, rows))
    gaps = np.where(low, 1.0, np.nan)
    names = [PLACES[p] if passes else f"X{t}" for passes, p, t in zip(low, place, target, strict=True)]
    table = make_opportunities(
        target, seed=seed, target=names, kind=["low-pass" if passes else "flyby" for passes in low],
        release_jd_tdb=START_JD_TDB + 3.0 * rng.integers(0, 12, rows),
        burn_jd_tdb=np.full(rows, START_JD_TDB + 70.0), encounter_jd_tdb=np.full(rows, START_JD_TDB + 300.0),
        design=["large" if passes or k % 2 else "small" for k, passes in enumerate(low)],
        impact_chance=np.where(low, 10.0 ** rng.uniform(-5.5, -4.1, rows), 0.0),
        approach=[("skim", "plume")[p] if passes else None for passes, p in zip(low, place, strict=True)],
        altitude_km=gaps * rng.uniform(30.0, 200.0, rows), latitude_deg=gaps * rng.uniform(-80.0, 80.0, rows),
        longitude_e_deg=gaps * rng.uniform(0.0, 360.0, rows), sun_elevation_deg=gaps * rng.uniform(-20.0, 80.0, rows),
        pixel_m=gaps, dwell_s=gaps,
        **{f"ship_{part}": gaps * 1e8 for part in ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")},
        **{f"ship_release_{axis}_km": gaps * 1e8 for axis in "xyz"},
    )  # fmt: skip
    quality = rng.uniform(0.2, 1.0, rows)
    chances = Chances(
        chance_returned=rng.uniform(0.5, 1.0, rows),
        chance_quality=np.column_stack([np.ones(rows), quality]),
        dv99_m_s=rng.uniform(0.0, 5.0, rows), home_days=np.zeros(rows), relayed=np.zeros(rows, dtype=bool),
    )  # fmt: skip
    return table, with_places(make_targets(["C", "S", "X"]), PLACES), chances


def keeps(study: Any, chosen: list[dict[str, Any]]) -> bool:
    """The rules as the study states them, written with nothing of what is tested."""
    if any(sum(o["design"] == d.name for o in chosen) > d.count for d in study.designs):
        return False
    bodies = [o["target"] for o in chosen if o["kind"] == "flyby"]
    if len(set(bodies)) < len(bodies):
        return False
    for ask in study.approach:
        if ask.probes_max is not None and sum(o["approach"] == ask.name for o in chosen) > ask.probes_max:
            return False
    hits = sum(o["impact_chance"] for o in chosen if o["target"] == "Europa")
    releases = sorted(o["release_jd_tdb"] for o in chosen)
    spaced = all(b - a >= 5.0 for a, b in itertools.pairwise(releases))
    return spaced and hits <= study.protection.impact_chance_max["Europa"]


def serves(o: dict[str, Any]) -> list[bool]:
    """Which of ROWS an encounter serves if it is good enough."""
    if o["kind"] == "flyby":
        return [True, False, False]
    lit = o["altitude_km"] <= 120.0 and 5.0 <= o["sun_elevation_deg"] <= 90.0
    east = o["longitude_e_deg"] % 360.0
    north = o["target"] == "Europa" and 0.0 <= o["latitude_deg"] <= 90.0 and (east >= 300.0 or east <= 60.0)
    return [False, lit, north]


def science_of(
    study: Any, plan: list[int], rows: list[dict[str, Any]], chances: Chances, works: np.ndarray
) -> float:
    """Expected share of the baselines, over every outcome of every probe: nothing, shown, good enough."""
    total, weights = 0.0, sum(row.get("weight", 1.0) for row in ROWS)
    for outcome in itertools.product((0, 1, 2), repeat=len(plan)):
        chance, counts = 1.0, [0, 0, 0]
        for o, got in zip(plan, outcome, strict=True):
            home = works[o] * chances.chance_returned[o]
            good = chances.chance_quality[o, 1]
            chance *= (1.0 - home, home * (1.0 - good), home * good)[got]
            for k, served in enumerate(serves(rows[o])):
                counts[k] += served and got >= (2 if ROWS[k]["quality_min"] > 0.0 else 1)
        shares = [
            row.get("weight", 1.0) / weights * min(n, row["baseline"]) / row["baseline"]
            for row, n in zip(ROWS, counts, strict=True)
        ]
        total += chance * math.fsum(shares)
    return total


def every_plan(study: Any, table: pa.Table) -> list[list[int]]:
    rows = table.to_pylist()
    usable = [k for k, o in enumerate(rows) if o["burn_m_s"] <= 150.0 and keeps(study, [o])]
    return [
        list(plan)
        for size in range(study.probe.count + 1)
        for plan in itertools.combinations(usable, size)
        if keeps(study, [rows[k] for k in plan])
    ]


def values_of(study: Any, plans: list[list[int]], data: PlanData) -> np.ndarray:
    """Science, propellant and risk of plans of any length, (n, 3)."""
    return evaluate(np.array([[*plan, *[-1] * (study.probe.count - len(plan))] for plan in plans]), data)


def searched(study: Any, table: pa.Table, targets: Any, chances: Chances, **more: Any) -> Optimised:
    return optimize(study, table, targets, pool=Serial(), judged=chances, mothership=None, **more)


@pytest.mark.parametrize("seed", range(5))
def test_a_mixed_case_is_its_full_enumeration(seed: int) -> None:
    study, (table, targets, chances) = question(), drawn(seed)
    data = plan_data(study, table, targets, judged=chances)
    plans = every_plan(study, table)
    values = values_of(study, plans, data)
    rows = table.to_pylist()
    by_hand = [science_of(study, plan, rows, chances, data.hardware) for plan in plans]
    np.testing.assert_allclose(values[:, 0], by_hand, rtol=0.0, atol=1e-12)
    best, out = front_of(values), searched(study, table, targets, chances)
    assert out.exact
    found = np.column_stack([-out.front["science"].to_numpy(), out.front["propellant_kg"], out.front["risk"]])
    found = np.unique(np.round(found, 13), axis=0)
    assert found.shape == best.shape
    np.testing.assert_allclose(found, best, rtol=0.0, atol=1e-12)
    assert problems_of(study, table, out.front, out.plans) == []


@pytest.mark.parametrize("seed", range(3))
def test_the_search_finds_the_best_and_breaks_no_rule(seed: int) -> None:
    study, (table, targets, chances) = question(), drawn(seed)
    data = plan_data(study, table, targets, judged=chances)
    most = values_of(study, every_plan(study, table), data)[:, 0].max()
    out = searched(study, table, targets, chances, exact_plans=0)
    assert max(out.front["science"].to_pylist()) == pytest.approx(most, abs=1e-9)
    known = {row["opportunity"]: row for row in table.to_pylist()}
    for plan in range(out.front.num_rows):
        own = [known[row["opportunity"]] for row in out.plans.to_pylist() if row["plan"] == plan]
        assert keeps(study, own)


@pytest.mark.parametrize("seed", range(5))
def test_the_bound_is_never_below_the_best(seed: int) -> None:
    study, (table, targets, chances) = question(), drawn(seed)
    data = plan_data(study, table, targets, judged=chances)
    values = values_of(study, every_plan(study, table), data)
    bound = searched(study, table, targets, chances).bound
    for level, most in zip(
        bound["propellant_kg"].to_pylist(), bound["science_upper"].to_pylist(), strict=True
    ):
        reached = values[values[:, 1] <= level, 0].max()
        assert most >= reached - 1e-9


def test_each_rule_bars_plans_that_all_others_let_pass() -> None:
    barred = {"approach": 0, "protection": 0, "place": 0}
    for seed in range(5):
        table, _, _ = drawn(seed)
        whole = len(every_plan(question(), table))
        barred["approach"] += len(every_plan(question(probes_max=None), table)) - whole
        barred["protection"] += len(every_plan(question(limit=1.0), table)) - whole
        rows = table.to_pylist()
        barred["place"] += sum(
            [rows[o]["target"] for o in plan].count("Europa") > 1 for plan in every_plan(question(), table)
        )
    assert min(barred.values()) > 0, barred


def test_the_checker_finds_planted_plans() -> None:
    """Two passes of one moon stand; a third over the approach's own number, or over its own limit, is told."""
    asked, many = question(probes_max=1), question(probes_max=None, limit=1.0)
    for seed in range(20):
        table, targets, chances = drawn(seed)
        out = searched(many, table, targets, chances)
        assert problems_of(many, table, out.front, out.plans) == []
        known = {row["opportunity"]: row["approach"] for row in table.to_pylist()}
        flown = [(row["plan"], known[row["opportunity"]]) for row in out.plans.to_pylist()]
        if max(flown.count((plan, "skim")) for plan, _ in flown) >= 2:
            break
    told = " ".join(problems_of(asked, table, out.front, out.plans))
    assert "approach.probes_max of skim: " in told
    assert " probes, 1 allowed" in told
    strict = asked.model_dump(mode="json", by_alias=True, exclude_unset=True)
    strict["approach"][0]["impact_chance_max"] = 1e-9
    assert "approach.impact_chance_max" in " ".join(
        problems_of(study_from(strict), table, out.front, out.plans)
    )
    unknown = asked.model_dump(mode="json", by_alias=True, exclude_unset=True)
    unknown["approach"][0]["name"] = "other"
    assert "no approach of Europa is called skim" in " ".join(
        problems_of(study_from(unknown), table, out.front, out.plans)
    )
    assert row_qualities(asked).tolist() == [0.0, 0.3]
