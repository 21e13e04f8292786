"""Small cases with their answers by full enumeration, written with nothing of what is tested."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np

from swarm.decide.sensitivity import Inputs
from swarm.decide.summary import select_plan
from swarm.run.workers import Pool
from tests.helpers.flown_as_aimed import optimize, without_errors
from tests.helpers.plain_evaluator import PlainEvaluator
from tests.helpers.small_cases import make_opportunities, make_study, make_targets

TAXONOMY = ["C", "S", "", "X", "B", "S"]
EFFORT = {"islands": 2, "population": 16, "epochs": 2, "generations_per_epoch": 3, "levels": 3}
# No screen, and nothing judged again: what the changes of the other factors come to needs neither.
NO_SCREEN = {"burn_limit_fraction": 0.0, "defaults": []}


def case(*, seed: int, rows: int = 10, probes: int = 3, **asked: Any) -> tuple[Any, Inputs, int]:
    """A study with tables of a run of it, and the plan its rule chose."""
    study = make_study(
        probe={"count": probes}, optimize=EFFORT, sensitivity={**NO_SCREEN, **asked},
        constraints={"release_spacing_days": 5.0, "sun_earth_probe_min_deg": 0.0},
    )  # fmt: skip
    table = make_opportunities([k % len(TAXONOMY) for k in range(rows)], seed=seed)
    bodies = make_targets(TAXONOMY)
    found = optimize(study, table, bodies, pool=Pool())
    plan, _ = select_plan(found.front, study)
    return (
        study,
        Inputs(table, bodies, without_errors(study, table, bodies), None, found.front, found.plans),
        plan,
    )


def flown(run: Inputs, plan: int) -> list[int]:
    """Row numbers of the plan's opportunities."""
    numbers = run.opportunities["opportunity"].to_pylist()
    return [numbers.index(row["opportunity"]) for row in run.plans.to_pylist() if row["plan"] == plan]


def every_plan(study: Any, table: Any, *, without: str | None = None) -> list[list[int]]:
    """All plans that keep the burn limit, the spacing and one probe a target, by the rules as the study states them."""
    burn, names = table["burn_m_s"].to_numpy(), table["target"].to_pylist()
    release = table["release_jd_tdb"].to_numpy()
    usable = [
        k for k in range(table.num_rows) if burn[k] <= study.probe.burn_limit_m_s and names[k] != without
    ]
    plans = []
    for size in range(study.probe.count + 1):
        for plan in itertools.combinations(usable, size):
            pairs = list(itertools.combinations(plan, 2))
            spaced = all(
                abs(release[a] - release[b]) >= study.constraints.release_spacing_days for a, b in pairs
            )
            if spaced and all(names[a] != names[b] for a, b in pairs):
                plans.append(list(plan))
    return plans


def most_science(
    study: Any, table: Any, bodies: Any, *, limit_kg: float, without: str | None = None
) -> tuple[float, float, float]:
    """Science, propellant and risk of the best plan within a propellant: the most science, then the least risk."""
    evaluate = PlainEvaluator(study, table, bodies)
    values = np.array([evaluate(plan) for plan in every_plan(study, table, without=without)])
    values = values[values[:, 1] <= limit_kg + 1e-9]
    order = np.lexsort((values[:, 1], np.round(values[:, 2], 9), -np.round(values[:, 0], 9)))
    return tuple(values[order[0]])
