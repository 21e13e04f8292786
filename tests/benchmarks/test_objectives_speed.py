"""One 12-probe plan, all three objectives, compiled and in batches: what the search pays for each plan."""

from __future__ import annotations

import numpy as np
import pytest

from swarm.plan.data import Chances, PlanData, row_qualities
from swarm.plan.measures import measures
from swarm.plan.objectives import evaluate
from tests.benchmarks.report import best_of, print_table
from tests.helpers.flown_as_aimed import plan_data
from tests.helpers.small_cases import START_JD_TDB, make_opportunities, make_study, make_targets

pytestmark = pytest.mark.benchmark

PROBES, BODIES, PLANS = 12, 400, 4000
WHERES = (
    {"taxonomy": ["C", "B"], "diameter_km_min": 1.5},
    {"taxonomy": ["S", "Q"]},
    {"diameter_km_min": 2.0},
    {"taxonomy": ["X", "V", "D"]},
    {},
)


def instance(rows: int, groups: int) -> tuple[np.ndarray, PlanData]:
    """Bodies mostly of unknown class, three quality levels, overlapping lots, thresholds of 2, baselines of 4."""
    rng = np.random.default_rng(1)
    lots = [
        {
            "name": f"lot {g}", "kind": "build-lot", "shared_fraction": 0.1,
            "release_from": START_JD_TDB + 200.0 * g, "release_until": START_JD_TDB + 200.0 * g + 400.0,
        }
        for g in range(groups - 1)
    ]  # fmt: skip
    study = make_study(
        [
            {"name": f"{k}", "where": WHERES[k], "quality_min": 0.2 * (k % 3), "threshold": 2, "baseline": 4}
            for k in range(rows)
        ],
        probe={"count": PROBES},
        mothership={"mass_kg": 1000.0},
        survival={"success": 0.75, "groups": lots},
    )
    table = make_opportunities(np.arange(BODIES), seed=2)
    taxonomy = list(rng.choice(["", "", "", "C", "S", "X"], BODIES))
    levels = len(row_qualities(study))
    judged = Chances(
        chance_returned=np.full(BODIES, 0.9),
        chance_quality=-np.sort(-rng.uniform(0.1, 1.0, (BODIES, levels)), axis=1),
        dv99_m_s=np.full(BODIES, 10.0),
        home_days=np.full(BODIES, 10.0 / 24.0),
        relayed=np.zeros(BODIES, dtype=bool),
    )
    data = plan_data(study, table, make_targets(taxonomy), judged=judged)
    plans = np.stack([rng.choice(BODIES, PROBES, replace=False) for _ in range(PLANS)])
    return plans.astype(np.int64), data


def test_plans_per_second() -> None:
    lines = []
    for rows, groups, allowed_us in ((3, 1, 20.0), (5, 6, 1000.0)):
        plans, data = instance(rows, groups)
        some = plans if groups == 1 else plans[:400]
        us = 1e6 * best_of(lambda some=some, data=data: evaluate(some, data), 5) / len(some)
        name = f"{rows} rows, {2**groups} group states, science + propellant + risk"
        lines.append((name, f"{us:.1f} us", f"{us / allowed_us:.2f} of {allowed_us:.0f} us"))
        us = 1e6 * best_of(lambda some=some[:100], data=data: measures(some, data), 3) / 100
        lines.append((f"{rows} rows, {2**groups} group states, all measures", f"{us:.1f} us", "-"))
    print_table("One 12-probe plan, one core", lines)
