"""Counts of successes against printed Poisson-binomial values and a case worked by hand."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from swarm.plan.data import PlanData
from swarm.plan.objectives import chance_of_data, evaluate
from tests.helpers.flown_as_aimed import plan_data
from tests.helpers.small_cases import make_opportunities, make_study, make_targets


def dark_bodies(success: list[float], *, shared_fraction: float, **row: int) -> PlanData:
    """One row that every encounter satisfies; one probe per chance, each at a target of its own."""
    n = len(success)
    study = make_study(
        [{"name": "dark", "where": {"taxonomy": ["C"]}, **row}],
        probe={"count": n},
        mothership={"mass_kg": 1000.0},
        survival={"shared_fraction": shared_fraction},
    )
    table = make_opportunities(range(n), sun_earth_probe_deg=np.full(n, 90.0))
    return plan_data(study, table, make_targets(["C"] * n))._replace(hardware=np.array(success))


def fewer_than(count: int, success: list[float], shared_fraction: float) -> float:
    data = dark_bodies(success, shared_fraction=shared_fraction, threshold=count, baseline=count)
    return float(evaluate([list(range(len(success)))], data)[0, 2])


def test_poisson_binomial() -> None:
    """p = .9, .8, .7, .6: P(0..4) = .0024 .0404 .2144 .4404 .3024 (exact products, computed independently)."""
    success = [0.9, 0.8, 0.7, 0.6]
    cumulative = np.array([0.0] + [fewer_than(k, success, 0.0) for k in range(1, 5)] + [1.0])
    assert np.diff(cumulative) == pytest.approx([0.0024, 0.0404, 0.2144, 0.4404, 0.3024], abs=1e-12)


@pytest.mark.parametrize(
    ("count", "shared", "independent"),
    # 12 probes, p = 0.8, a tenth of the failures shared; computed independently, three digits printed.
    [(4, 0.980, 1.000), (6, 0.978, 0.996)],
)
def test_twelve_probes_with_shared_failures(count: int, shared: float, independent: float) -> None:
    assert 1.0 - fewer_than(count, [0.8] * 12, 0.1) == pytest.approx(shared, abs=5e-4)
    assert 1.0 - fewer_than(count, [0.8] * 12, 0.0) == pytest.approx(independent, abs=5e-4)


def test_none_of_twelve() -> None:
    """P(0) = .020 with shared failures, 4e-9 without."""
    assert fewer_than(1, [0.8] * 12, 0.1) == pytest.approx(0.020, abs=5e-4)
    assert fewer_than(1, [0.8] * 12, 0.0) == pytest.approx(0.2**12, rel=1e-12)


def test_correlation_can_help_the_middle_while_it_spoils_the_tail() -> None:
    """p = .5: P(>= 6) rises from .613 to .648 while P(0) goes from 2e-4 to .050 (computed independently)."""
    assert 1.0 - fewer_than(6, [0.5] * 12, 0.0) == pytest.approx(0.613, abs=5e-4)
    assert 1.0 - fewer_than(6, [0.5] * 12, 0.1) == pytest.approx(0.648, abs=5e-4)
    assert fewer_than(1, [0.5] * 12, 0.1) == pytest.approx(0.050, abs=5e-4)


def test_shared_failure_takes_the_smallest_chance_of_failure() -> None:
    """q = .1, .4, beta = .5: q_common = .05; P(0) = .05 + .95 (1 - .9/.95)(1 - .6/.95) by hand."""
    by_hand = 0.05 + 0.95 * (1 - 0.9 / 0.95) * (1 - 0.6 / 0.95)
    assert fewer_than(1, [0.9, 0.6], 0.5) == pytest.approx(by_hand, abs=1e-12)


def test_everything_shared_and_everything_lost() -> None:
    assert fewer_than(1, [0.0, 0.0], 1.0) == 1.0
    assert fewer_than(2, [0.7, 0.7], 1.0) == pytest.approx(0.3, abs=1e-12)


def test_marginal_success_includes_the_shared_failure_and_the_link() -> None:
    data = dark_bodies([0.9, 0.6], shared_fraction=0.5)._replace(data_return=np.array([1.0, 0.0]))
    assert chance_of_data([[1, 0], [0, -1]], data) == pytest.approx(
        np.array([[0, 0.9], [0.9, np.nan]]), nan_ok=True
    )


def test_three_targets_two_rows_worked_by_hand() -> None:
    """Targets C, S and C; rows "C, two wanted, one needed, weight 3" and "S, one wanted and needed, weight 1".

    p = .8 each, beta = .25: q_common = .05, own chance a = .8/.95. Given no shared failure
    E[min(N_C, 2)] = 2 a, E[min(N_S, 1)] = a; science = .95 (3/4 (2 a)/2 + 1/4 a) = .95 a = .8.
    P(both rows met) = .95 (1 - (1 - a)^2) a; risk is what is left of 1.
    Without the last probe science = .95 (3/4 a/2 + 1/4 a) = .5 and risk = 1 - .95 a^2.
    """
    rows = [
        {"name": "C", "where": {"taxonomy": ["C"]}, "threshold": 1, "baseline": 2, "weight": 3.0},
        {"name": "S", "where": {"taxonomy": ["S"]}, "threshold": 1, "baseline": 1, "weight": 1.0},
    ]
    study = make_study(rows, survival={"success": 0.8, "shared_fraction": 0.25})
    table = make_opportunities([0, 1, 2], sun_earth_probe_deg=np.full(3, 90.0))
    data = plan_data(study, table, make_targets(["C", "S", "C"]))
    values = evaluate([[0, 1, 2], [0, 1, -1], [-1, -1, -1]], data)
    own = 0.8 / 0.95
    assert values[:, 0] == pytest.approx([0.8, 0.5, 0.0], abs=1e-12)
    assert values[:, 2] == pytest.approx(
        [1 - 0.95 * (1 - (1 - own) ** 2) * own, 1 - 0.95 * own**2, 1.0], abs=1e-12
    )
    assert values[2, 1] == 0.0
    assert values[0, 1] == pytest.approx(sum(evaluate([[0], [1], [2]], data)[:, 1]), rel=1e-12)


def test_two_probes_at_one_target_share_its_class() -> None:
    """A body of unknown class: both probes meet a C or neither does, so P(none) is 1 - P(C)(1 - (1 - p)^2)."""
    study = make_study(
        [{"name": "C", "where": {"taxonomy": ["C"]}, "threshold": 1, "baseline": 2}],
        constraints={"pairs": True},
        survival={"success": 0.7, "shared_fraction": 0.0},
    )
    table = make_opportunities([0, 0], sun_earth_probe_deg=np.full(2, 90.0))
    data = plan_data(study, table, make_targets([""]))
    chance = data.class_chance[0, 0]
    assert 0.1 < chance < 0.9
    science, _, risk = evaluate([[0, 1, -1]], data)[0]
    assert science == pytest.approx(chance * 0.7, abs=1e-12)
    assert risk == pytest.approx(1.0 - chance * (1.0 - 0.3**2), abs=1e-12)


def test_no_threshold_no_risk() -> None:
    data = dark_bodies([0.5, 0.5], shared_fraction=0.3, threshold=0, baseline=2)
    assert evaluate([[-1, -1], [0, 1]], data)[:, 2].tolist() == [0.0, 0.0]


def test_thresholds_beyond_the_swarm_are_never_met() -> None:
    data = dark_bodies([0.9] * 4, shared_fraction=0.0, threshold=900, baseline=1000)
    science, _, risk = evaluate([[0, 1, 2, 3]], data)[0]
    assert risk == pytest.approx(1.0, abs=1e-12)
    assert science == pytest.approx(4 * 0.9 / 1000, abs=1e-12)


def test_counts_are_the_same_in_any_order_of_probes() -> None:
    data = dark_bodies([0.9, 0.8, 0.7, 0.6], shared_fraction=0.2, threshold=2, baseline=3)
    values = evaluate(list(itertools.permutations(range(4))), data)
    assert np.ptp(values, axis=0) == pytest.approx([0, 0, 0], abs=1e-12)
