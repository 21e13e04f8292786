"""A search that starts from the front for fewer probes: never worse for the same effort, on any workers."""

import numpy as np
import pytest

from swarm.optimize import search
from tests.helpers.flown_as_aimed import compare, optimize
from tests.helpers.serial_pool import Backwards, Serial
from tests.helpers.small_cases import ROWS, make_opportunities, make_study, make_targets

EFFORT = {"islands": 2, "population": 16, "epochs": 2, "generations_per_epoch": 3, "levels": 4}


def case(seed):
    rng = np.random.default_rng(seed)
    study = make_study(
        [*ROWS, {"name": "any", "threshold": 3, "baseline": 6, "quality_min": 0.2}],
        study={"seed": seed}, probe={"count": 8}, optimize=EFFORT,
        constraints={"release_spacing_days": 12.0, "sun_earth_probe_min_deg": 0.0},
    )  # fmt: skip
    targets = make_targets(list(rng.choice(["", "C", "S", "X", "Q"], 60)))
    return study, make_opportunities(rng.integers(0, 60, 400), seed=seed), targets


def costs(front):
    return np.column_stack(
        [-front["science"].to_numpy(), front["propellant_kg"].to_numpy(), front["risk"].to_numpy()]
    )


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5, 6])
def test_never_worse_for_the_same_effort(seed):
    asked = case(seed)
    fewer = optimize(*asked, pool=Serial(), probes=6)
    cold = optimize(*asked, pool=Serial(), probes=8)
    warm = optimize(*asked, pool=Serial(), probes=8, starts=fewer.plans)
    assert not cold.exact
    assert len(cold.hypervolume) == len(warm.hypervolume)  # as many epochs
    assert warm.hypervolume[0] > cold.hypervolume[0]
    assert warm.hypervolume[-1] >= cold.hypervolume[-1]
    # what it started from is not lost: something on the front is as good as each plan
    below, above = costs(fewer.front), costs(warm.front)
    assert (above[None, :, :] <= below[:, None, :] + 1e-12).all(axis=2).any(axis=1).all()


def test_any_order_of_the_work_gives_the_same_tables():
    asked = case(1)
    fewer = optimize(*asked, pool=Serial(), probes=6).plans
    alone = optimize(*asked, pool=Serial(), probes=8, starts=fewer)
    shared = optimize(*asked, pool=Backwards(), probes=8, starts=fewer)
    for name in ("front", "plans", "progress"):
        assert getattr(shared, name).equals(getattr(alone, name))


def test_what_may_not_be_used_of_a_start_is_left_out():
    study, table, targets = case(1)
    fewer = optimize(study, table, targets, pool=Serial(), probes=6).plans
    used = set(fewer["opportunity"].to_pylist())
    dropped = table.filter(np.array([number not in used for number in table["opportunity"].to_pylist()]))
    front = optimize(study, dropped, targets, pool=Serial(), probes=8, starts=fewer).front
    assert front.equals(optimize(study, dropped, targets, pool=Serial(), probes=8).front)


def test_the_bound_of_a_count_is_proven_once_for_all_seeds(monkeypatch):
    study, table, targets = case(1)
    settings = study.compare.model_copy(update={"counts": (0, 3, 6), "seeds": 3})
    proven = search.science_bounds
    asked = []

    def counted(tables, *, pool):
        asked.append([one.data.probes for one in tables])
        return proven(tables, pool=pool)

    monkeypatch.setattr(search, "science_bounds", counted)
    found = compare(study.model_copy(update={"compare": settings}), table, targets, pool=Serial())
    assert asked == [[3, 6]]
    assert found.counts["probes"].to_pylist() == [0, 3, 6]
