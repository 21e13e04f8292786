"""Where bodies stand on the sky against JPL Horizons; gains of better orbits and of colours worked by hand."""

from __future__ import annotations

import csv
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pytest

from swarm.decide.observing import (
    Sky,
    Uses,
    class_gains,
    observe,
    observing_dates,
    orbit_gains,
    sky,
    uncertainty_km,
    windows,
    with_better_orbits,
)
from swarm.plan.data import Chances, column, row_qualities
from swarm.plan.objectives import evaluate, set_prices
from targets.catalogue.reading import Catalogue
from tests.helpers.flown_as_aimed import plan_data, plan_rules, without_errors
from tests.helpers.places import AUTHORITIES
from tests.helpers.small_cases import (
    START_JD_TDB,
    make_opportunities,
    make_study,
    make_targets,
    mothership_table,
)


class HerePool:
    """Runs tasks in this process."""

    workers = 1

    def map(self, func, items, *, shared=None):
        return [func(item, shared) for item in items]


# --- the sky --------------------------------------------------------------------------------------------------


def horizons() -> tuple[Catalogue, list[dict[str, str]]]:
    """Bodies of Horizons' elements that also have rows of its ephemeris; see tests/authorities/README.md."""
    with (AUTHORITIES / "horizons_elements_sun_ec.csv").open(newline="") as file:
        elements = {row["targetname"]: row for row in csv.DictReader(file) if float(row["e"]) < 1.0}
    with (AUTHORITIES / "horizons_ephemeris.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["targetname"] in elements and row["elong"]]
    bodies = [elements[row["targetname"]] for row in rows]

    def of(key: str) -> np.ndarray:
        return np.array([float(body[key]) for body in bodies])

    template = make_targets([""] * len(bodies), diameter_km=[1.0] * len(bodies))
    catalogue = replace(
        template,
        epoch_jd_tdb=of("mjd_tdb") + 2400000.5,
        a_au=of("a"),
        e=of("e"),
        i_deg=of("incl"),
        node_deg=of("Omega"),
        argp_deg=of("w"),
        mean_anomaly_deg=of("M"),
        h_mag=np.array([float(row["H"]) for row in rows]),
        g_slope=np.array([float(row["G"]) for row in rows]),
    )
    return catalogue, rows


def test_elongation_and_magnitude_against_horizons() -> None:
    """Within 60 d of the elements' epoch: two-body motion, the Earth's centre and no light time allowed for.

    0.1 deg and 0.02 mag: the observer is one Earth radius off the centre, light takes minutes.
    """
    catalogue, rows = horizons()
    dates = np.array([float(row["datetime_jd"]) for row in rows])
    # of near bodies the observer's place on the Earth shows: one radius at 0.1 au is 0.02 deg
    far = np.array([float(row["delta"]) > 0.1 for row in rows])
    near_epoch = np.abs(dates - catalogue.epoch_jd_tdb) < 60.0
    chosen = np.flatnonzero(far & near_epoch & (np.array([float(row["alpha"]) for row in rows]) < 120.0))
    assert len(chosen) >= 15
    for k in chosen:
        seen = sky(catalogue.take([k]), np.array([dates[k]]))
        assert float(seen.elongation_deg[0, 0]) == pytest.approx(float(rows[k]["elong"]), abs=0.1)
        assert float(seen.magnitude[0, 0]) == pytest.approx(float(rows[k]["V"]), abs=0.02)


def test_windows_keep_magnitude_elongation_and_the_release() -> None:
    study = make_study(observing={"magnitude_limit": 20.0, "elongation_min_deg": 60.0, "step_days": 10.0})
    dates = START_JD_TDB + 10.0 * np.arange(5)
    seen = Sky(
        dates,
        magnitude=np.array([[19.0, 19.5, 18.0, 20.1, 17.0], [21.0] * 5]),
        elongation_deg=np.array([[50.0, 61.0, 100.0, 100.0, 100.0], [180.0] * 5]),
    )
    told = windows(study, seen, np.array([dates[4], dates[4]]))
    assert told["days_seen"].tolist() == [20.0, 0.0]
    assert told["first_seen_jd_tdb"][0] == dates[1]
    assert told["last_seen_jd_tdb"][0] == told["brightest_jd_tdb"][0] == dates[2]
    assert told["brightest_mag"][0] == 18.0
    assert all(np.isnan(told[name][1]) for name in told if name != "days_seen")


def test_dates_run_from_the_study_date_to_the_release() -> None:
    study = make_study(study={"date": START_JD_TDB - 100.0}, observing={"step_days": 30.0})
    dates = observing_dates(study, START_JD_TDB + 20.0)
    assert dates.tolist() == [START_JD_TDB - 100.0 + 30.0 * k for k in range(5)]
    assert observing_dates(study, START_JD_TDB - 200.0).tolist() == [START_JD_TDB - 200.0]


# --- a better orbit -------------------------------------------------------------------------------------------


def test_a_better_orbit_is_two_classes_of_u_and_never_below_zero() -> None:
    bodies = replace(make_targets([""] * 3), u_code=np.array([0, 1, 6], dtype=np.int8))
    assert with_better_orbits(bodies, 2).u_code.tolist() == [0, 0, 4]
    study = make_study()
    encounter = np.full(3, START_JD_TDB + 1500.0)
    before, after = (
        uncertainty_km(study, each, encounter) for each in (bodies, with_better_orbits(bodies, 2))
    )
    assert after[0] == before[0]
    # runoff bounds of U = 6 and 4 (Minor Planet Center): 7488 and 382 arcsec per decade
    assert before[2] / after[2] == pytest.approx(7488 / 382, rel=0.01)


def test_sigmas_shrink_with_the_runoff() -> None:
    bodies = replace(
        make_targets(["C"]), element_sigma=np.full((1, 6), 2.0), element_covariance=np.ones((1, 6, 6))
    )
    better = with_better_orbits(bodies, 2)
    assert better.element_sigma == pytest.approx(2.0 / 19.6)
    assert better.element_covariance == pytest.approx(1.0 / 19.6**2)


def judged_with(study, quality: np.ndarray) -> Chances:
    n = len(quality)
    return Chances(
        chance_returned=np.ones(n),
        chance_quality=np.repeat(quality[:, None], len(row_qualities(study)), axis=1),
        dv99_m_s=np.full(n, 5.0),
        home_days=np.zeros(n),
        relayed=np.zeros(n, dtype=bool),
    )


def test_the_gain_of_an_orbit_is_that_of_its_target_alone() -> None:
    """p = .5, one row, baseline 2: quality .4 -> .8 of the first target adds .5 * .4 / 2 = .1."""
    study = make_study(
        [{"name": "any", "quality_min": 0.5, "baseline": 2}],
        survival={"success": 0.5, "shared_fraction": 0.0},
    )
    table, targets = make_opportunities([0, 1]), make_targets(["C", "S"])
    now = plan_data(study, table, targets, judged=judged_with(study, np.array([0.4, 0.6])))
    better = plan_data(study, table, targets, judged=judged_with(study, np.array([0.8, 0.7])))
    matrix = np.array([[0, 1, -1], [-1, 1, -1], [-1, -1, -1]])
    uses = Uses(np.array([0, 0, 1]), np.array([0, 1, 1]))
    assert orbit_gains(matrix, uses, now, better) == pytest.approx([0.1, 0.025, 0.025], abs=1e-12)
    assert orbit_gains(matrix[2:], Uses(np.zeros(0, int), np.zeros(0, int)), now, better).tolist() == []


# --- colours --------------------------------------------------------------------------------------------------


def test_prices_are_linear_in_the_outcomes_of_a_probe() -> None:
    study = make_study(probe={"count": 5}, survival={"shared_fraction": 0.3})
    rng = np.random.default_rng(4)
    table, targets = make_opportunities(np.arange(9), seed=4), make_targets(["", "C", "S"] * 3)
    judged = judged_with(study, rng.uniform(0.1, 1.0, 9))
    data = plan_data(study, table, targets, judged=judged)._replace(hardware=rng.uniform(0.3, 0.9, 9))
    for plan in ([0, 1, 2, 3, 4], [8, 3, -1, -1, -1]):
        science = evaluate([plan], data)[0, 0]
        for place in range(2):
            o = plan[place]
            without, price = set_prices(np.array(plan), place, data)
            outcomes = slice(data.merged_start[o], data.merged_start[o + 1])
            added = data.merged_chance[outcomes] @ price[data.merged_set[outcomes]]
            assert without + added == pytest.approx(science, abs=1e-12)


def test_the_value_of_a_class_by_hand() -> None:
    """A body of unknown class, C with chance c, wanted as a C; or a sure S for the other row, weight w of 1 each.

    p = .8, baselines 1, weights 1 and 1/2: visiting gives .8 c 2/3, the other .8 / 3. Known before release:
    c * .8 * 2/3 + (1 - c) * .8 / 3.
    """
    study = make_study(
        [
            {"name": "C", "where": {"taxonomy": ["C"]}, "baseline": 1, "weight": 1.0},
            {"name": "S", "where": {"taxonomy": ["S"], "diameter_km_max": 3.5}, "baseline": 1, "weight": 0.5},
        ],
        probe={"count": 1},
        survival={"success": 0.8, "shared_fraction": 0.0},
    )
    table = make_opportunities([0, 1], sun_earth_probe_deg=[90.0] * 2, burn_m_s=[50.0, 40.0])
    targets = make_targets(["", "S"], diameter_km=[4.0, 3.0])
    data = plan_data(study, table, targets)
    c = data.class_chance[0, 0]
    known = c * 0.8 * 2 / 3 + (1 - c) * 0.8 / 3
    blind = max(0.8 * c * 2 / 3, 0.8 / 3)
    matrix, uses, unknown = np.array([[0]]), Uses(np.zeros(1, int), np.zeros(1, int)), np.array([True, False])
    rules = plan_rules(study, table, data)
    assert class_gains(matrix, uses, data, rules, unknown) == pytest.approx([known - blind], abs=1e-12)
    assert known - blind > 0.01
    # no other encounter: nothing to decide, nothing gained
    dear = data._replace(propellant_kg=np.array([0.1, 0.2]))
    assert class_gains(matrix, uses, dear, rules, unknown).tolist() == [0.0]
    # a class that is known already is worth nothing more
    assert class_gains(matrix, uses, data, rules, np.array([False, False])).tolist() == [0.0]


# --- the list -------------------------------------------------------------------------------------------------


def with_vectors(table: pa.Table) -> pa.Table:
    """The columns of a screened table that judging may read and the small cases leave out."""
    n = table.num_rows
    speed = column(table, "v_rel_km_s")
    added = {
        "earth_range_au": np.full(n, 1.5), "sun_range_au": np.full(n, 2.0),
        "mothership_range_km": np.full(n, 1e6),
        "burn_x_m_s": column(table, "burn_m_s"), "burn_y_m_s": np.zeros(n), "burn_z_m_s": np.zeros(n),
        "v_rel_x_km_s": speed, "v_rel_y_km_s": np.zeros(n), "v_rel_z_km_s": np.zeros(n),
        "target_x_km": np.full(n, -2.5e8), "target_y_km": np.full(n, 1.6e8), "target_z_km": np.zeros(n),
        # on a circle there
        "target_vx_km_s": np.full(n, -11.4), "target_vy_km_s": np.full(n, -17.8), "target_vz_km_s": np.zeros(n),
    }  # fmt: skip
    for name, values in added.items():
        table = table.append_column(name, pa.array(values))
    return table


def test_the_list_has_every_target_of_the_front_the_most_helpful_first() -> None:
    study = make_study(study={"date": START_JD_TDB - 800.0}, probe={"count": 2})
    table = with_vectors(make_opportunities([0, 1, 2, 3], sun_earth_probe_deg=np.full(4, 90.0)))
    targets = replace(make_targets(["C", "", "S", ""]), u_code=np.array([0, 5, 2, 3], dtype=np.int8))
    judged = without_errors(study, table, targets)
    front = pa.table({"plan": [0, 1, 2]})
    plans = pa.table({"plan": [1, 2, 2], "probe": [0, 0, 1], "opportunity": [101, 101, 103]})
    asked = observe(
        study, table, targets, front=front, plans=plans, judged=judged, mothership=None, pool=HerePool()
    )
    assert sorted(asked["target"].to_pylist()) == ["X1", "X3"]
    by_name = {row["target"]: row for row in asked.to_pylist()}
    assert (by_name["X1"]["plans"], by_name["X3"]["plans"]) == (2, 1)
    assert by_name["X1"]["u_code"] == 5
    assert by_name["X1"]["sigma_improved_km"] < 0.1 * by_name["X1"]["sigma_km"]
    gains = np.maximum(column(asked, "science_gained_orbit"), column(asked, "science_gained_class"))
    assert np.all(np.diff(gains) <= 0.0)
    for row in by_name.values():
        assert row["days_seen"] >= 0.0
        if row["days_seen"]:
            assert row["first_seen_jd_tdb"] <= row["brightest_jd_tdb"] <= row["last_seen_jd_tdb"]
            assert row["last_seen_jd_tdb"] < row["first_release_jd_tdb"]
            assert row["brightest_mag"] <= study.observing.magnitude_limit


@pytest.mark.parametrize(("recontact_km", "allowed"), [(0.0, True), (10.0, False)])
def test_no_gain_rests_on_an_encounter_that_is_forbidden(recontact_km: float, allowed: bool) -> None:
    """The only other encounter burns exactly as a probe of the plan does: both would ride one path."""
    study = make_study(
        [
            {"name": "C", "where": {"taxonomy": ["C"]}, "baseline": 1, "weight": 1.0},
            {"name": "S", "where": {"taxonomy": ["S"]}, "baseline": 1, "weight": 0.5},
            {"name": "X", "where": {"taxonomy": ["X"]}, "baseline": 1, "weight": 1.0},
        ],
        probe={"count": 2},
        constraints={"recontact_km": recontact_km, "release_spacing_days": 0.0},
        survival={"success": 0.8, "shared_fraction": 0.0},
    )
    table = with_vectors(
        make_opportunities(
            [0, 1, 2], sun_earth_probe_deg=[90.0] * 3, burn_m_s=[40.0, 60.0, 40.0],
            release_jd_tdb=np.full(3, START_JD_TDB + 100.0), burn_jd_tdb=np.full(3, START_JD_TDB + 103.0),
            encounter_jd_tdb=START_JD_TDB + np.array([300.0, 310.0, 320.0]),
        )
    )  # fmt: skip
    targets = make_targets(["X", "", "S"])
    asked = observe(
        study,
        table,
        targets,
        front=pa.table({"plan": [0]}),
        plans=pa.table({"plan": [0, 0], "probe": [0, 1], "opportunity": [100, 101]}),
        judged=without_errors(study, table, targets),
        mothership=mothership_table(),
        pool=HerePool(),
    )
    gained = {row["target"]: row["science_gained_class"] for row in asked.to_pylist()}
    assert (gained["X1"] > 1e-9) == allowed


def test_an_empty_front_asks_for_nothing() -> None:
    study, table, targets = make_study(), make_opportunities([0]), make_targets(["C"])
    asked = observe(
        study,
        table,
        targets,
        front=pa.table({"plan": [0]}),
        plans=pa.table({"plan": pa.array([], pa.int64()), "probe": pa.array([], pa.int64()),
                        "opportunity": pa.array([], pa.int64())}),
        judged=without_errors(study, table, targets),
        mothership=None,
        pool=HerePool(),
    )  # fmt: skip
    assert asked.num_rows == 0
