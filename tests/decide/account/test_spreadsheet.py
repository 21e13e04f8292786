"""Launch mass, cost, stations, releases and categories against sums worked by hand and a published curve."""

import math

import numpy as np
import pyarrow as pa
import pytest

from swarm.decide.account.launch_mass import launch_mass, left_kg
from swarm.decide.account.prices import carried_of, costs, units
from swarm.decide.account.protection_categories import protection_checklist
from swarm.decide.account.release_attitudes import emptied_in_order, release_attitudes
from swarm.decide.account.station_load import short_days, station_load
from tests.helpers.small_cases import (
    START_JD_TDB,
    make_opportunities,
    make_study,
    make_targets,
    mothership_table,
)

PROBE = {"count": 2, "wet_mass_kg": 12.0, "dispenser_kg": 1.5}
LAUNCH = {
    "capability_kg": 700.0, "mothership_dry_kg": 400.0, "mothership_propellant_kg": 100.0, "adapter_kg": 20.0,
    "mothership_maturity_fraction": 0.15,
}  # fmt: skip


def test_launch_mass_is_the_sum_worked_by_hand():
    study = make_study(probe=PROBE, mothership={"mass_kg": 600.0}, launch=LAUNCH)
    table = launch_mass(study)
    rows = {row["item"]: row for row in table.to_pylist()}
    # dry: 400 x 1.15 = 460, x 1.2 = 552; probes 2 x 12 x 1.1 = 26.4, dispensers 2 x 1.5 x 1.05 = 3.15: x 1.2 = 35.46
    assert rows["mothership, dry"]["maximum_kg"] == pytest.approx(552.0)
    assert rows["probes with dispensers"]["maximum_kg"] == pytest.approx(35.46)
    assert rows["total"]["best_kg"] == pytest.approx(400.0 + 100.0 + 27.0 + 20.0)
    assert rows["total"]["maximum_kg"] == pytest.approx(552.0 + 100.0 + 35.46 + 20.0)
    assert left_kg(table) == pytest.approx(700.0 - 707.46)
    for row in rows.values():
        assert row["best_kg"] + row["contingency_kg"] + row["margin_kg"] == pytest.approx(row["maximum_kg"])


def test_without_a_launcher_or_prices_nothing_is_invented():
    study = make_study(probe=PROBE, mothership={"mass_kg": 600.0})
    assert launch_mass(study) is None
    assert costs(study, [("plan 0", {"probe": 2}, 10.0, 5.0, 0.5)]) is None


def test_units_follow_the_learning_curve():
    # Wright 1936, the n-th unit n^(log2 b) of the first; at b = 0.9 textbooks' tables have 1, 0.9, 0.8462, 0.81 for
    # the first four units, 0.7830 the fifth, and 0.729 the eighth (b^3)
    own = [units(n, 0.9) - units(n - 1, 0.9) for n in range(1, 9)]
    assert own[:5] == pytest.approx([1.0, 0.9, 0.8462, 0.81, 0.7830], abs=5e-5)
    assert own[7] == pytest.approx(0.729, abs=1e-12)
    assert units(7, 1.0) == 7.0
    assert units(0, 0.9) == 0.0


def test_a_cost_is_the_sum_worked_by_hand():
    prices = {
        "unit": "M", "fixed": 40.0, "per_probe": 2.0, "of_design": {"shell": 5.0}, "learning": 0.9, "per_kg": 0.1,
        "per_tracking_hour": 0.002,
    }  # fmt: skip
    study = make_study(probe=PROBE, mothership={"mass_kg": 600.0}, cost=prices)
    table = costs(
        study, [("plan 3", {"camera": 2, "shell": 1}, 35.0, 500.0, 0.5), ("none", {}, 0.0, 0.0, 0.0)]
    )
    first, none = table.to_pylist()
    assert first["probes"] == pytest.approx(2.0 * 1.9 + 5.0)
    assert first["total"] == pytest.approx(40.0 + 8.8 + 3.5 + 1.0)
    assert first["per_science"] == pytest.approx(53.3 / 0.5)
    assert first["carried"] == 3
    assert first["unit"] == "M"
    assert math.isnan(none["per_science"])
    assert carried_of(study, 5) == {"probe": 5}


def encountering(release, encounter):
    return make_opportunities(
        range(len(release)), release_jd_tdb=START_JD_TDB + np.array(release),
        burn_jd_tdb=START_JD_TDB + np.array(release) + 3.0, encounter_jd_tdb=START_JD_TDB + np.array(encounter),
    )  # fmt: skip


def test_stations_are_short_where_encounters_overlap():
    limits = {"tracking_encounter_days": 5.0, "tracking_encounter_hours_per_day": 8.0,
              "tracking_cruise_hours_per_week": 7.0}  # fmt: skip
    study = make_study(
        probe={"count": 3}, mothership={"mass_kg": 600.0}, constraints=limits,
        stations={"antennas": 1, "hours_per_day": 12.0},
    )  # fmt: skip
    table = encountering([0.0, 0.0, 0.0], [100.0, 104.0, 300.0])
    load = station_load(study, table, np.array([0, 1, 2]))
    # windows [95, 105] and [99, 109] overlap for six days, while the third cruises at an hour a day
    (row,) = load.to_pylist()
    assert row["from_jd_tdb"] == pytest.approx(START_JD_TDB + 99.0)
    assert row["until_jd_tdb"] == pytest.approx(START_JD_TDB + 105.0)
    assert (row["encounters"], row["cruising"]) == (2, 1)
    assert row["asked_h_d"] == pytest.approx(17.0)
    assert row["short_h_d"] == pytest.approx(5.0)
    assert short_days(load) == pytest.approx(6.0)
    apart = station_load(study, encountering([0.0, 0.0, 0.0], [100.0, 120.0, 300.0]), np.array([0, 1, 2]))
    assert apart.num_rows == 0


def test_nothing_is_asked_of_stations_before_a_release():
    study = make_study(
        probe={"count": 2}, mothership={"mass_kg": 600.0}, constraints={"tracking_encounter_days": 20.0}
    )
    load = station_load(study, encountering([90.0, 95.0], [100.0, 110.0]), np.array([0, 1]))
    assert load["from_jd_tdb"][0].as_py() == pytest.approx(START_JD_TDB + 95.0)


def test_opposite_places_are_emptied_one_after_the_other():
    order, off = emptied_in_order(4, 4)
    assert order[:2] == [1, 3]
    assert {*order[2:]} == {2, 4}
    assert off == pytest.approx([1.0 / 3.0, 0.0, 1.0, 0.0])
    assert emptied_in_order(12, 12)[1][1::2] == pytest.approx([0.0] * 6)
    assert sorted(emptied_in_order(5, 5)[0]) == [1, 2, 3, 4, 5]


def test_angles_of_a_release_are_those_of_its_axis():
    path = mothership_table()
    when = START_JD_TDB + np.array([50.0, 90.0])
    columns = {"probe": [1, 0], "opportunity": [7, 3], "release_jd_tdb": when}
    # along +z, then towards the vernal equinox: a right angle apart (ICRF)
    columns |= {f"probe_change_{axis}_m_s": column for axis, column in zip(
        "xyz", ([0.0, 2.0], [0.0, 0.0], [1.0, 0.0]), strict=True)}  # fmt: skip
    told = release_attitudes(path, pa.table(columns), pa.table({"opportunity": [3, 7]}), places=2)
    assert told["declination_deg"].to_pylist() == pytest.approx([90.0, 0.0])
    assert told["right_ascension_deg"][1].as_py() == pytest.approx(0.0)
    assert math.isnan(told["turn_deg"][0].as_py())
    assert told["turn_deg"][1].as_py() == pytest.approx(90.0)
    assert told["probe"].to_pylist() == [1, 0]
    place = [np.interp(when, path["t_jd_tdb"].to_numpy(), path[f"{axis}_km"].to_numpy()) for axis in "xyz"]
    to_sun = -np.array(place)[:, 1]
    expected = math.degrees(math.acos(to_sun[0] / np.linalg.norm(to_sun)))
    assert told["sun_angle_deg"][1].as_py() == pytest.approx(expected, abs=0.01)


def test_a_row_says_where_it_is_released_where_the_path_does_not():
    when = START_JD_TDB - 50.0  # before the path begins
    columns = {"probe": [0], "opportunity": [3], "release_jd_tdb": [when]}
    columns |= {
        f"probe_change_{axis}_m_s": [value] for axis, value in zip("xyz", (0.0, 1.0, 0.0), strict=True)
    }
    rows = {
        "opportunity": [3],
        "ship_release_x_km": [1e8],
        "ship_release_y_km": [0.0],
        "ship_release_z_km": [0.0],
    }
    told = release_attitudes(mothership_table(), pa.table(columns), pa.table(rows), places=1)
    assert told["sun_angle_deg"][0].as_py() == pytest.approx(90.0)
    unknown = release_attitudes(
        mothership_table(), pa.table(columns), pa.table({"opportunity": [3]}), places=1
    )
    assert math.isnan(unknown["sun_angle_deg"][0].as_py())


def test_categories_are_those_of_the_policy():
    targets = make_targets(["C", "S", ""])
    names = [str(name) for name in targets.target]
    met = [*((name, "flyby") for name in names), ("Europa", "low-pass"), ("Europa", "orbit"), ("Mars", "entry"),
           ("Io", "low-pass"), ("Venus", "entry")]  # fmt: skip
    rows = {(row["body"], row["encounter"]): row for row in
            protection_checklist(met, targets, ["Venus", "Mercury"]).to_pylist()}  # fmt: skip
    assert rows[names[0], "flyby"]["category"] == "II"
    assert rows[names[1], "flyby"]["category"] == "I or II"
    assert rows[names[2], "flyby"]["category"] == "II"
    assert "not known" in rows[names[2], "flyby"]["because"]
    assert rows["Europa", "low-pass"]["category"] == "III"
    assert rows["Mars", "entry"]["category"] == "IV"
    assert rows["Io", "low-pass"]["category"] == "I"
    assert rows["Venus", "mothership"]["category"] == "II"
    assert rows["Mercury", "mothership"]["category"] == "I"
    assert len(rows) == len(met) + 2
