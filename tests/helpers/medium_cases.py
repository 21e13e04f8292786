"""A selection too large to enumerate and small enough to search in seconds."""

import numpy as np
import pyarrow as pa

from swarm.plan.constraints import allowed, plan_rules
from swarm.plan.data import plan_data
from tests.helpers.small_cases import ROWS, make_opportunities, make_study, make_targets

SMALL_SEARCH = {"islands": 3, "population": 16, "epochs": 4, "generations_per_epoch": 10}


def medium_case(seed: int = 9):
    rng = np.random.default_rng(seed)
    bodies = list(rng.choice(["", "C", "S", "X", "Q"], 60))
    study = make_study(
        [*ROWS, {"name": "any", "threshold": 3, "baseline": 6, "quality_min": 0.2}],
        probe={"count": 8},
        constraints={"blackouts": [[2463300.5, 2463350.5]], "release_spacing_days": 12.0},
        optimize={**SMALL_SEARCH, "population": 32},
    )
    targets = make_targets(bodies, diameter_km=list(10 ** rng.uniform(-0.5, 1.0, 60)))
    return study, make_opportunities(rng.integers(0, 60, 400), seed=seed), targets


def medium_parts():
    study, table, targets = medium_case()
    usable = table.filter(pa.array(allowed(study, table).mask))
    data = plan_data(study, usable, targets)
    return data, plan_rules(study, usable, data)
