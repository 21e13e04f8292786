"""Whatever a study says of failures and thresholds, chances lie in [0, 1] and the checker takes the plans."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from swarm.optimize.short import EXACT_PLANS
from swarm.plan.objectives import chance_of_data, evaluate
from tests.helpers.flown_as_aimed import optimize, plan_data
from tests.helpers.plan_checker import problems_of
from tests.helpers.serial_pool import Serial
from tests.helpers.small_cases import make_opportunities, make_study, make_targets

CHANCES = st.sampled_from([0.0, 1e-9, 0.1, 0.3, 0.5, 0.7, 0.75, 0.9, 0.95, 0.99, 1.0])
TAXONOMY = ["C", "S", "", "X", "B", "S", "V", ""]


@st.composite
def plain_studies(draw):
    rows = [
        {
            "name": f"row {k}",
            "where": draw(
                st.sampled_from([{}, {"taxonomy": ["C", "B"]}, {"taxonomy": ["S"]}, {"diameter_km_min": 0.5}])
            ),
            "quality_min": draw(st.sampled_from([0.0, 0.2, 0.5])),
            "threshold": draw(st.integers(0, 3)),
            "baseline": draw(st.integers(3, 6)),
            "weight": draw(st.sampled_from([0.1, 1.0, 3.0])),
        }
        for k in range(draw(st.integers(1, 4)))
    ]
    return make_study(
        rows,
        probe={"count": draw(st.integers(0, 8))},
        survival={"success": draw(CHANCES), "shared_fraction": draw(CHANCES)},
        constraints={"pairs": draw(st.booleans()), "release_spacing_days": 0.0},
    )


@settings(max_examples=300, deadline=None)
@given(plain_studies(), st.integers(0, 2**32 - 1))
def test_science_risk_and_success_are_chances(study, seed):
    random = np.random.default_rng(seed)
    table, targets = make_opportunities(random.integers(0, 8, 40), seed=seed), make_targets(TAXONOMY)
    data = plan_data(study, table, targets)
    plans = random.integers(-1, 40, (50, study.probe.count))
    values = evaluate(plans, data)
    assert np.all((values[:, 0] >= 0.0) & (values[:, 0] <= 1.0))
    assert np.all((values[:, 2] >= 0.0) & (values[:, 2] <= 1.0))
    success = chance_of_data(plans, data)
    success = success[plans >= 0]
    assert np.all((success >= 0.0) & (success <= 1.0))


@settings(max_examples=15, deadline=None)
@given(plain_studies(), st.integers(0, 2**32 - 1))
def test_the_checker_takes_the_plans_of_plain_studies(study, seed):
    table = make_opportunities(np.random.default_rng(seed).integers(0, 8, 9), seed=seed)
    targets = make_targets(TAXONOMY)
    result = optimize(study, table, targets, pool=Serial(), exact_plans=EXACT_PLANS)
    assert problems_of(study, table, result.front, result.plans) == []
