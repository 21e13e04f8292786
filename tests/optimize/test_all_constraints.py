"""Every constraint at once on small cases: the search against full enumeration, and what each constraint costs."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from swarm.encounter.propellant import probe_masses
from swarm.optimize.islands import hypervolume
from swarm.optimize.search import REFERENCE
from swarm.plan import verify
from swarm.plan.flight import Flight
from swarm.plan.objectives import evaluate
from targets.base.errors import NothingFeasible
from tests.helpers.flown_as_aimed import allowed, optimize, plan_data
from tests.helpers.plan_checker import problems_of
from tests.helpers.serial_pool import Serial
from tests.helpers.small_cases import (
    ROWS,
    START_JD_TDB,
    make_opportunities,
    make_study,
    make_targets,
    mothership_table,
)

PATH = mothership_table()
EVERYTHING: dict[str, Any] = {
    "release_spacing_days": 12.0, "releases_max": 2, "release_window_days": 60.0,
    "blackouts": [[START_JD_TDB + 95.0, START_JD_TDB + 105.0]], "sun_earth_probe_min_deg": 10.0,
    "downlink_clear_days": 4.0, "sun_range_min_au": 1.45, "sun_range_max_au": 2.63, "burn_share_max": 0.02,
    "release_sun_angle_min_deg": 25.0, "release_sun_angle_max_deg": 165.0, "recontact_km": 6e4,
    "recontact_after_days": 15.0,
    "relay_busy_days": 15.0, "tracking_hours_per_week": 67.0,
}  # fmt: skip


def crowded(seed: int, *, pairs: bool) -> tuple[Any, pa.Table, Any]:
    """20 opportunities at 11 targets, up to 4 probes, everything asked for. The recontact distance is huge, so that
    it matters among so few."""
    rng = np.random.default_rng(seed)
    study = make_study(
        ROWS, study={"seed": 100 + seed}, probe={"count": 4, "thrust_n": 0.01},
        constraints={**EVERYTHING, "pairs": pairs},
        optimize={"islands": 3, "population": 16, "epochs": 6, "generations_per_epoch": 8, "levels": 5},
    )  # fmt: skip
    n = 20
    release = START_JD_TDB + 10.0 * rng.integers(0, 16, n)
    directions = rng.normal(size=(3, 3))[rng.integers(0, 3, n)] + 0.3 * rng.normal(size=(n, 3))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    burns = directions * rng.uniform(20.0, 150.0, (n, 1))
    columns = {f"burn_{c}_m_s": burns[:, k] for k, c in enumerate("xyz")}
    table = make_opportunities(
        rng.integers(0, 11, n), seed=seed, release_jd_tdb=release, burn_jd_tdb=release + 3.0,
        encounter_jd_tdb=release + 3.0 + rng.uniform(40.0, 300.0, n),
        sun_earth_probe_deg=rng.uniform(10.0, 150.0, n), burn_m_s=np.linalg.norm(burns, axis=1), **columns,
    )  # fmt: skip
    return study, table, make_targets(list(rng.choice(["", "C", "S", "X"], 11)))


def feasible_plans(study: Any, table: pa.Table, mask: np.ndarray) -> list[tuple[int, ...]]:
    """Every plan that the checker, which shares no code with the search, lets pass."""
    rows = table.to_pylist()
    arcs = verify._Arcs(rows, PATH)
    near = verify._Recontact(study, arcs)
    near.least_km = study.constraints.recontact_km
    plans: list[tuple[int, ...]] = []
    for size in range(5):
        for plan in itertools.combinations(np.flatnonzero(mask).tolist(), size):
            chosen = [rows[o] for o in plan]
            problems = [*verify._together_problems(study, chosen), *verify._relay_problems(study, chosen, {})]
            if not problems and not near.problems(chosen):
                plans.append(plan)
    return plans


def alone_mask(study: Any, table: pa.Table) -> np.ndarray:
    rows = table.to_pylist()
    arcs = verify._Arcs(rows, PATH)
    near = verify._Recontact(study, arcs)
    near.least_km = study.constraints.recontact_km
    return np.array([not verify._alone_problems(study, o, arcs) and not near.problems([o]) for o in rows])


@pytest.mark.parametrize("seed", range(5))
def test_islands_find_the_front_of_every_plan_under_all_constraints(seed: int) -> None:
    """At least 0.999 of the hypervolume, at least 95 % of the points, no point that enumeration does not have."""
    study, table, targets = crowded(seed, pairs=seed % 2 == 1)
    mask = alone_mask(study, table)
    assert 5 <= mask.sum() < 20
    plans = feasible_plans(study, table, mask)
    data = plan_data(study, table, targets)
    values = evaluate([[*plan, *[-1] * (4 - len(plan))] for plan in plans], data)
    costs = np.unique(np.round(values * [-1.0, 1.0, 1.0], 10), axis=0)
    beaten = [bool(((costs <= c).all(axis=1) & (costs < c).any(axis=1)).any()) for c in costs]
    front = costs[~np.array(beaten)]
    out = optimize(study, table, targets, pool=Serial(), exact_plans=0, mothership=PATH)
    found = np.column_stack([-out.front["science"].to_numpy(), out.front["propellant_kg"], out.front["risk"]])
    full = np.array([1.0, 4.0 * probe_masses(study).usable_kg, 1.0])
    whole, reached = (hypervolume(c / full, REFERENCE) for c in (front, found))
    assert 0.999 * whole <= reached <= whole + 1e-9
    expected = {tuple(c) for c in front}
    same = {tuple(c) for c in np.round(found, 10)}
    assert len(expected & same) >= 0.95 * len(expected)
    assert same <= {tuple(c) for c in costs}
    assert problems_of(study, table, out.front, out.plans, mothership=PATH) == []


def test_every_constraint_matters_somewhere() -> None:
    """The cases above would notice if one were left out: each bars opportunities, or pairs, in one of the draws."""
    missing = set(EVERYTHING) - {"release_window_days", "recontact_after_days", "sun_earth_probe_min_deg"}
    for seed in range(5):
        study, table, _ = crowded(seed, pairs=False)
        mask = alone_mask(study, table)
        plans = set(feasible_plans(study, table, mask))
        for key in sorted(missing):
            lifted = {name: value for name, value in EVERYTHING.items() if name != key}
            off = {"recontact_km": 0.0, "release_spacing_days": 0.0, "burn_share_max": 1.0}
            free = make_study(
                ROWS, probe={"count": 4, "thrust_n": 0.01},
                constraints={**{k: v for k, v in off.items() if k == key}, **lifted},
            )  # fmt: skip
            if len(set(feasible_plans(free, table, alone_mask(free, table))) - plans):
                missing.discard(key)
    assert missing == set()


def test_costs_are_gains_that_are_really_there() -> None:
    study, table, targets = crowded(1, pairs=False)
    study = study.model_copy(
        update={"optimize": study.optimize.model_copy(update={"constraint_costs": True})}
    )
    out = optimize(study, table, targets, pool=Serial(), mothership=PATH)
    assert out.exact
    costs = {row["constraint"]: row for row in out.costs.to_pylist()}
    assert len(costs) >= 12
    full = np.array([1.0, 4.0 * probe_masses(study).usable_kg, 1.0])

    def volume(front: pa.Table) -> float:
        found = np.column_stack([-front["science"].to_numpy(), front["propellant_kg"], front["risk"]])
        return hypervolume(found / full, REFERENCE)

    best = max(out.front["science"].to_pylist())
    for name, key, off in (
        ("release spacing (release_spacing_days)", "release_spacing_days", 0.0),
        ("not too near the Sun (sun_range_min_au)", "sun_range_min_au", 0.0),
        ("recontact (recontact_km)", "recontact_km", 0.0),
        ("tracking (tracking_hours_per_week)", "tracking_hours_per_week", None),
        ("one probe per target (pairs)", "pairs", True),
    ):
        limits = study.constraints.model_copy(update={key: off})
        free = study.model_copy(
            update={
                "constraints": limits,
                "optimize": study.optimize.model_copy(update={"constraint_costs": False}),
            }
        )
        without = optimize(free, table, targets, pool=Serial(), mothership=PATH)
        more = without.allowed - out.allowed
        assert costs[name]["opportunities"] == more
        gain = volume(without.front) - volume(out.front)
        assert -1e-9 <= costs[name]["hypervolume"] <= gain + 1e-9
        assert costs[name]["hypervolume"] >= 0.95 * gain - 1e-6
        assert costs[name]["science"] == pytest.approx(
            max(without.front["science"].to_pylist()) - best, abs=1e-6
        )


def test_without_the_path_a_limit_along_the_arc_is_refused() -> None:
    study, table, targets = crowded(1, pairs=False)
    with pytest.raises(ValueError, match="recontact_km"):
        optimize(study, table, targets, pool=Serial())


def test_an_infeasible_study_names_what_alone_would_free_it() -> None:
    study, table, targets = crowded(1, pairs=False)
    limits = study.constraints.model_copy(
        update={
            "sun_range_min_au": 3.2,
            "release_sun_angle_min_deg": 179.9,
            "release_sun_angle_max_deg": 180.0,
        }
    )
    hopeless = study.model_copy(update={"constraints": limits})
    with pytest.raises(NothingFeasible, match="no single constraint"):
        optimize(hopeless, table, targets, pool=Serial(), mothership=PATH)
    limits = study.constraints.model_copy(update={"sun_range_min_au": 0.0, "sun_range_max_au": 0.4})
    narrow = study.model_copy(update={"constraints": limits})
    with pytest.raises(NothingFeasible, match=r"without not too far from the Sun \(sun_range_max_au\) alone"):
        optimize(narrow, table, targets, pool=Serial(), mothership=PATH)


def test_masks_of_search_and_checker_agree() -> None:
    for seed in range(5):
        study, table, _ = crowded(seed, pairs=False)
        assert (allowed(study, table, Flight(table, PATH)).mask == alone_mask(study, table)).all()
