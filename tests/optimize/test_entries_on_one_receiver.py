"""Entries beside flybys: no more are heard at one moment than the receiver has channels, in search, bound and checker.

The rule is written again here, and every plan is enumerated.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from swarm.optimize.search import Optimised, optimize
from swarm.plan.constraints import CONSTRAINTS, allowed, require_some
from swarm.plan.data import Chances, plan_data
from swarm.plan.live_relay import live_sets
from swarm.plan.objectives import evaluate
from swarm.study.schema import study_from
from targets.base.errors import NothingFeasible
from targets.catalogue.places import with_places
from tests.helpers.plan_checker import problems_of
from tests.helpers.serial_pool import Serial
from tests.helpers.small_cases import START_JD_TDB, make_opportunities, make_study, make_targets

ROWS = [
    {"name": "bodies", "baseline": 2, "threshold": 1, "quality_min": 0.0},
    {"name": "deep and dark", "where": {"kind": "entry", "bar_min": 1.0, "local_time_h": [18, 6]}, "baseline": 3,
     "quality_min": 0.0, "weight": 2.0},
    {"name": "any depth", "where": {"kind": "entry", "latitude_deg": [-60, 60]}, "baseline": 3, "quality_min": 0.0},
]  # fmt: skip


def question(channels: int) -> Any:
    plain = make_study(constraints={"release_spacing_days": 0.0, "sun_earth_probe_min_deg": 0.0,
                                    "relay_busy_days": 3.0}).model_dump(
        mode="json", by_alias=True, exclude_unset=True
    )  # fmt: skip
    del plain["probe"]
    plain["science"], plain["survival"] = {"rows": ROWS}, {"success": 0.9, "shared_fraction": 0.0}
    plain["mothership"]["relay_channels"] = channels
    shell = {"diameter_m": 0.5, "nose_radius_m": 0.1}
    plain["designs"] = [
        {"name": "scout", "count": 2, "wet_mass_kg": 8.0, "burn_limit_m_s": 150.0},
        {"name": "shell", "count": 4, "wet_mass_kg": 20.0, "burn_limit_m_s": 150.0, "takes": ["entry"], "entry": shell},
    ]  # fmt: skip
    plain["approach"] = [{"name": "descent", "body": "Venus", "kind": "entry"}]
    plain["optimize"] = {
        "islands": 2, "population": 16, "epochs": 4, "generations_per_epoch": 6, "levels": 5,
        "constraint_costs": False,
    }  # fmt: skip
    return study_from(plain)


def drawn(seed: int, *, rows: int = 12) -> tuple[pa.Table, Any, Chances]:
    """Flybys of three bodies, and entries of Venus within three hours, each heard for some half an hour, or not."""
    rng = np.random.default_rng(seed)
    down = np.arange(rows) >= 4
    target = np.where(down, 3, rng.integers(0, 3, rows))
    met = np.where(down, START_JD_TDB + 200.0 + rng.uniform(0.0, 0.12, rows), START_JD_TDB + 199.0)
    begin = np.where(down & (rng.random(rows) < 0.85), met, np.nan)
    gaps = np.where(down, 1.0, np.nan)
    table = make_opportunities(
        target, seed=seed, target=["Venus" if each else f"X{t}" for each, t in zip(down, target, strict=True)],
        kind=["entry" if each else "flyby" for each in down], design=["shell" if each else "scout" for each in down],
        release_jd_tdb=START_JD_TDB + 100.0 + 5.0 * rng.integers(0, 3, rows),
        burn_jd_tdb=np.full(rows, START_JD_TDB + 120.0), encounter_jd_tdb=met,
        approach=["descent" if each else None for each in down], arrival_offset_s=gaps * 0.0,
        reached_bar=gaps * 10.0 ** rng.uniform(-1.0, 1.0, rows), latitude_deg=gaps * rng.uniform(-80.0, 80.0, rows),
        longitude_e_deg=gaps * 10.0, local_solar_h=gaps * rng.uniform(0.0, 24.0, rows), sun_elevation_deg=gaps * 0.0,
        relay_begin_jd_tdb=begin, relay_end_jd_tdb=begin + rng.uniform(0.01, 0.05, rows),
        **{f"ship_{part}": gaps * 1e8 for part in ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")},
        **{f"ship_release_{axis}_km": gaps * 1e8 for axis in "xyz"},
    )  # fmt: skip
    chances = Chances(
        chance_returned=rng.uniform(0.5, 1.0, rows), chance_quality=np.ones((rows, 1)),
        dv99_m_s=rng.uniform(0.0, 5.0, rows), home_days=np.zeros(rows), relayed=~down | np.isfinite(begin),
    )  # fmt: skip
    return table, with_places(make_targets(["C", "S", "X"]), ("Venus",)), chances


def most_at_once(chosen: list[dict[str, Any]]) -> int:
    """By every begin of an interval: how many hold it."""
    spans = [
        (o["relay_begin_jd_tdb"], o["relay_end_jd_tdb"])
        for o in chosen
        if o["relay_begin_jd_tdb"] is not None
    ]
    spans = [span for span in spans if span[0] == span[0]]
    return max((sum(a <= begin < b for a, b in spans) for begin, _ in spans), default=0)


def keeps(study: Any, chosen: list[dict[str, Any]]) -> bool:
    if any(sum(o["design"] == d.name for o in chosen) > d.count for d in study.designs):
        return False
    flybys = [o for o in chosen if o["kind"] == "flyby"]
    # flybys of one day share the relay, which is busy for three
    if len(flybys) > 1:
        return False
    return most_at_once(chosen) <= study.mothership.relay_channels


def every_plan(study: Any, table: pa.Table) -> list[list[int]]:
    rows = table.to_pylist()
    usable = [k for k, o in enumerate(rows) if o["burn_m_s"] <= 150.0]
    return [
        list(plan)
        for size in range(study.probe.count + 1)
        for plan in itertools.combinations(usable, size)
        if keeps(study, [rows[k] for k in plan])
    ]


def values_of(study: Any, table: pa.Table, targets: Any, chances: Chances) -> np.ndarray:
    data = plan_data(study, table, targets, judged=chances)
    plans = every_plan(study, table)
    return evaluate(np.array([[*plan, *[-1] * (study.probe.count - len(plan))] for plan in plans]), data)


def searched(study: Any, table: pa.Table, targets: Any, chances: Chances, **more: Any) -> Optimised:
    return optimize(study, table, targets, pool=Serial(), judged=chances, mothership=None, **more)


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("seed", range(3))
def test_search_and_bound_are_the_enumeration(seed: int, channels: int) -> None:
    study, (table, targets, chances) = question(channels), drawn(seed)
    values = values_of(study, table, targets, chances)
    for exact in ({}, {"exact_plans": 0}):
        out = searched(study, table, targets, chances, **exact)
        assert max(out.front["science"].to_pylist()) == pytest.approx(values[:, 0].max(), abs=1e-9)
        assert problems_of(study, table, out.front, out.plans) == []
        known = {row["opportunity"]: row for row in table.to_pylist()}
        for plan in range(out.front.num_rows):
            own = [known[row["opportunity"]] for row in out.plans.to_pylist() if row["plan"] == plan]
            assert most_at_once(own) <= channels
    levels = zip(out.bound["propellant_kg"].to_pylist(), out.bound["science_upper"].to_pylist(), strict=True)
    for level, most in levels:
        assert most >= values[values[:, 1] <= level, 0].max() - 1e-9


def test_the_channels_matter_and_a_planted_plan_is_found() -> None:
    wide = question(100)
    for seed in range(3):
        table, targets, chances = drawn(seed)
        assert (
            len(every_plan(wide, table))
            > len(every_plan(question(2), table))
            > len(every_plan(question(1), table))
        )
        out = searched(wide, table, targets, chances)
        assert problems_of(wide, table, out.front, out.plans) == []
        told = " ".join(problems_of(question(1), table, out.front, out.plans))
        assert "mothership.relay_channels: " in told
        assert "probes heard at one moment, 1 can be" in told
    # an entry is not among what the relay serves over days
    assert "relay_busy_days" not in told


def test_a_channel_that_is_let_go_can_be_taken() -> None:
    """Half open: one ends as the next begins. The greatest sets share a moment, and hold no lesser ones."""
    live = np.array([[0.0, 1.0], [1.0, 2.0], [0.5, 1.5], [np.nan, np.nan], [0.6, 0.7], [3.0, 4.0]])
    assert [sorted(each.tolist()) for each in live_sets(live)] == [[0, 2, 4], [1, 2]]


def test_what_limits_nothing_is_not_asked_about() -> None:
    """The constraint concerns studies with entries alone: others are asked of it nothing, and cost as before."""
    heard = next(each for each in CONSTRAINTS if each.kind == "entry")
    assert heard.holds(question(1))
    assert not heard.holds(question(100))
    assert not heard.holds(make_study())
    assert heard.without(question(1)).mothership.relay_channels == 100


def test_a_body_that_must_not_be_hit_is_not_entered() -> None:
    """An entry is meant to hit: no limit on impacts lets it pass, and the message says by how much."""
    plain = question(1).model_dump(mode="json", by_alias=True, exclude_unset=True)
    study = study_from(plain | {"protection": {"impact_chance_max": {"Venus": 1e-4}}})
    table, _, _ = drawn(0)
    down = np.array(table["kind"].to_pylist()) == "entry"
    table = table.append_column("impact_chance", pa.array(down.astype(float)))
    left = allowed(study, table, None)
    assert left.mask.tolist() == (~down).tolist()
    with pytest.raises(NothingFeasible, match="none of the 8") as refusal:
        require_some(allowed(study, table.filter(pa.array(down)), None), study, table.filter(pa.array(down)))
    assert "the least impact chance found at Venus is 1" in refusal.value.limit
