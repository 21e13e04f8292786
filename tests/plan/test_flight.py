"""Arcs beside the mothership: against integration, and one probe that overtakes another."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import root

from swarm.plan import verify
from swarm.plan.flight import Flight
from swarm.plan.rules import feasible
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from tests.helpers.flown_as_aimed import allowed, plan_data, plan_rules
from tests.helpers.plan_checker import problems_of
from tests.helpers.small_cases import (
    START_JD_TDB,
    make_opportunities,
    make_study,
    make_targets,
    mothership_table,
)

PATH = mothership_table()


def with_burns(table: pa.Table, burns_m_s: np.ndarray) -> pa.Table:
    """The table with these burns, (n, 3), and their lengths."""
    columns = {f"burn_{c}_m_s": burns_m_s[:, k] for k, c in enumerate("xyz")}
    columns["burn_m_s"] = np.linalg.norm(burns_m_s, axis=1)
    plain = {name: table[name] for name in table.column_names if name not in columns}
    return pa.table({**plain, **columns})


def random_table(n: int = 12, seed: int = 3) -> pa.Table:
    rng = np.random.default_rng(seed)
    release = START_JD_TDB + 10.0 * rng.integers(0, 100, n)
    directions = rng.normal(size=(n, 3))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    table = make_opportunities(
        range(n), release_jd_tdb=release, burn_jd_tdb=release + 3.0,
        encounter_jd_tdb=release + 3.0 + rng.uniform(60.0, 400.0, n), sun_earth_probe_deg=np.full(n, 90.0),
    )  # fmt: skip
    return with_burns(table, directions * rng.uniform(20.0, 150.0, (n, 1)))


def integrated(state: np.ndarray, times_s: np.ndarray) -> np.ndarray:
    """(n, 6) by numerical integration, an independent library's."""

    def pull(_: float, y: np.ndarray) -> np.ndarray:
        return np.concatenate([y[3:], -GM_SUN_KM3_S2 * y[:3] / np.linalg.norm(y[:3]) ** 3])

    solved = solve_ivp(
        pull,
        (0.0, times_s[-1]),
        state,
        t_eval=times_s,
        method="DOP853",
        rtol=1e-12,
        atol=1e-6,
        max_step=DAY_S,
    )
    return solved.y.T


def test_the_checkers_arcs_agree_with_integration() -> None:
    flight = Flight(random_table(4), PATH)
    for state in flight.after:
        times = np.linspace(0.0, 300.0 * DAY_S, 7)
        # 1 km in 3e8 km: the integrator's own tolerance
        assert verify.kepler(state, times) == pytest.approx(integrated(state, times), abs=1.0, rel=1e-9)


def test_distance_from_the_sun_has_its_extremes_at_the_apsides() -> None:
    flight = Flight(random_table(12), PATH)
    low, high = flight.sun_range_au
    inner = outer = 0
    for n, state in enumerate(flight.after):
        times = np.linspace(0.0, flight.encounter_s[n] - flight.burn_s[n], 800)
        r = np.linalg.norm(integrated(state, times)[:, :3], axis=1) / AU_KM
        assert low[n] == pytest.approx(r.min(), abs=2e-6)
        assert high[n] == pytest.approx(r.max(), abs=2e-6)
        inner += 0 < r.argmin() < 799
        outer += 0 < r.argmax() < 799
    assert inner > 0
    assert outer > 0


def test_least_distances_agree_with_dense_samples() -> None:
    table = random_table(8)
    flight = Flight(table, PATH)
    distance = flight.mothership_distance_km(1.0)
    for n in range(8):
        times = np.linspace(DAY_S, flight.encounter_s[n] - flight.burn_s[n], 1500)
        apart = integrated(flight.after[n], times)[:, :3] - integrated(flight.before[n], times)[:, :3]
        assert distance[n] == pytest.approx(np.linalg.norm(apart, axis=1).min(), rel=2e-4)


def overtaking() -> tuple[Any, pa.Table, Any]:
    """Probe 0 leaves slowly; probe 1, 20 days later and faster, meets it after 120 days. Probe 2 leaves as fast,
    a few degrees aside."""
    burn0 = START_JD_TDB + np.array([3.0, 23.0, 23.0])
    table = make_opportunities(
        [0, 1, 2], release_jd_tdb=burn0 - 3.0, burn_jd_tdb=burn0,
        encounter_jd_tdb=np.full(3, START_JD_TDB + 250.0), sun_earth_probe_deg=np.full(3, 90.0),
    )  # fmt: skip
    burns = np.array([[30.0, 20.0, 5.0], [36.0, 24.0, 6.0], [36.0, 24.0, 6.0]])
    flight = Flight(with_burns(table, burns), PATH)
    first_s, second_s = 120.0 * DAY_S, 100.0 * DAY_S
    goal = verify.kepler(flight.after[0], np.array([first_s]))[0, :3]
    # seen from the mothership's own arcs: both are offsets from one path
    goal = goal - verify.kepler(flight.before[0], np.array([first_s]))[0, :3]

    def miss(burn: np.ndarray) -> np.ndarray:
        state = flight.before[1] + np.concatenate([np.zeros(3), 1e-3 * burn])
        own = verify.kepler(flight.before[1], np.array([second_s]))[0, :3]
        return verify.kepler(state, np.array([second_s]))[0, :3] - own - goal

    burns[1] = root(miss, burns[1], tol=1e-12).x
    burns[2] = burns[1] + np.array([-4.0, 3.0, 2.0])
    study = make_study(constraints={"recontact_km": 10.0})
    return study, with_burns(table, burns), make_targets(["C", "S", "X"])


def test_a_later_faster_probe_must_not_overtake_an_earlier_one() -> None:
    study, table, targets = overtaking()
    flight = Flight(table, PATH)
    assert allowed(study, table, flight).mask.all()
    data = plan_data(study, table, targets)
    rules = plan_rules(study, table, data, flight=flight)
    plans = np.array([[0, 1, -1], [0, 2, -1], [1, -1, -1]])
    assert feasible(plans, rules).tolist() == [False, True, True]
    free = study.model_copy(
        update={"constraints": study.constraints.model_copy(update={"recontact_km": 0.0})}
    )
    assert feasible(plans, plan_rules(free, table, data, flight=flight)).tolist() == [True, True, True]


def plan_tables(table: pa.Table, members: list[int]) -> tuple[pa.Table, pa.Table]:
    kilograms = [0.1] * len(members)
    front = {
        "plan": [0, 1], "probes": [0, len(members)], "science": [0.0, 0.5], "propellant_kg": [0.0, sum(kilograms)],
        "risk": [1.0, 0.5],
    }  # fmt: skip
    plans = {
        "plan": [1] * len(members), "probe": list(range(len(members))),
        "opportunity": table["opportunity"].take(members), "success": [0.75] * len(members),
        "propellant_kg": kilograms,
    }  # fmt: skip
    return pa.table(front), pa.table(plans)


def found_by_the_checker(study: Any, table: pa.Table, members: list[int], path: pa.Table = PATH) -> list[str]:
    front, plans = plan_tables(table, members)
    return problems_of(study, table, front, plans, mothership=path)


def test_the_checker_sees_the_overtaking_too() -> None:
    study, table, _ = overtaking()
    assert found_by_the_checker(study, table, [0, 2]) == []
    assert any("recontact_km" in problem for problem in found_by_the_checker(study, table, [0, 1]))


@pytest.mark.parametrize(
    ("constraints", "limit"),
    [
        ({"sun_range_min_au": 1.3}, "sun_range_min_au"),
        ({"sun_range_max_au": 2.2}, "sun_range_max_au"),
        ({"release_sun_angle_min_deg": 80.0}, "release_sun_angle"),
        ({"release_sun_angle_max_deg": 80.0}, "release_sun_angle"),
        ({"downlink_clear_days": 30.0, "sun_earth_probe_min_deg": 60.0}, "downlink"),
    ],
)
def test_limits_along_the_arc_bar_what_the_checker_bars(constraints: dict, limit: str) -> None:
    """Search and checker, written apart, part the same opportunities the same way."""
    study = make_study(constraints=constraints)
    table = random_table(24, seed=5)
    found = allowed(study, table, Flight(table, PATH))
    assert 0 < found.mask.sum() < 24
    assert sum(count for name, count in found.removed.items() if limit in name) == 24 - found.mask.sum()
    for row in range(24):
        problems = [text for text in found_by_the_checker(study, table, [row]) if limit in text]
        assert (problems == []) == bool(found.mask[row])


def test_no_release_near_a_flyby_or_a_manoeuvre() -> None:
    """Two legs that part at day 400: barred from a week before until three days after, release or burn."""
    at = START_JD_TDB + 400.0
    leg = (PATH["t_jd_tdb"].to_numpy() > at).astype(np.int64)
    path = PATH.append_column("leg", pa.array(leg))
    release = at + np.array([-11.0, -9.9, -6.9, 0.0, 3.0, 4.1])
    table = make_opportunities(
        range(6), release_jd_tdb=release, burn_jd_tdb=release + 3.0, encounter_jd_tdb=release + 100.0,
        sun_earth_probe_deg=np.full(6, 90.0),
    )  # fmt: skip
    table = with_burns(table, np.full((6, 3), 30.0))
    clear = {"event_clear_before_days": 7.0, "event_clear_after_days": 3.0}
    study = make_study(probe={"count": 6}, constraints=clear)
    expected = [True, False, False, False, False, True]
    assert allowed(study, table, Flight(table, path)).mask.tolist() == expected
    for row in range(6):
        assert (found_by_the_checker(study, table, [row], path) == []) == expected[row]
    lifted = make_study(constraints={"event_clear_before_days": 0.0, "event_clear_after_days": 0.0})
    assert allowed(lifted, table, Flight(table, path)).mask.sum() >= 5
