"""Orbits as the search takes them: rows, judged; what cannot be flown, with what would do; who asks for what."""

import re

import numpy as np
import pyarrow as pa
import pytest

from swarm.encounter.orbit.orbit_histories import altitudes_of
from swarm.encounter.orbit.orbit_judge import judge_orbits_of_table
from swarm.encounter.orbit.orbit_screen import bands_asked, none_of_orbits, screen_orbits
from swarm.encounter.propellant import planned_m_s, propellant_kg
from swarm.plan.budgets import mass_budget
from swarm.plan.constraints import allowed
from swarm.plan.data import plan_data
from swarm.plan.flight import Flight
from swarm.plan.judged import chances_of, judge_all
from swarm.plan.protection import alone_over_the_limit
from swarm.run.tables import parquet_tables
from swarm.run.tables.declaration import problems_of
from swarm.study.schema import study_from
from swarm.study.toml_file import read_toml
from targets.base.errors import InputError
from targets.catalogue.reading import read_catalogue
from tests.helpers.places import ROOT
from tests.helpers.serial_pool import Serial

FOLDER = ROOT / "runs" / "yarrow"
SPIRAL, STOP = 0, 1


def asked(*kept, approach=None, design=None, **sections):
    """The demonstration with some of its approaches, few rows each."""
    data = read_toml(FOLDER / "study.toml", what="the study")
    for each in data["approach"]:
        each["release_days_before"] = [10]
    data["approach"][SPIRAL] |= {
        "periapsis_km": [30],
        "apoapsis_km": [300],
        "inclination_deg": [90],
        "clock_step_deg": 180,
    }
    data["approach"][STOP] |= {"periapsis_km": [30], "clock_step_deg": 120}
    for k in kept:
        data["approach"][k] |= approach or {}
        data["designs"][k] |= design or {}
    data["approach"] = [data["approach"][k] for k in kept]
    data["designs"] = [data["designs"][k] for k in kept]
    del data["compare"]
    data["science"]["rows"] = [row for row in data["science"]["rows"] if row["where"]["kind"] == "orbit"]
    study = study_from(data | sections)
    study._base = FOLDER
    return study


def screened(study):
    catalogue = read_catalogue(study.catalogue, study.base).catalogue
    return screen_orbits((study,), catalogue, pool=Serial())[0]


@pytest.fixture(scope="module")
def both():
    study = asked(SPIRAL, STOP)
    return study, screened(study)


def judged_by_design(study, table, targets, name):
    return judge_orbits_of_table(study.by_design[name], table, targets, qualities=(0.1,))


def test_rows_are_as_the_tables_are_declared(both):
    _, found = both
    table = found.opportunities
    assert set(table["design"].to_pylist()) == {"spiral", "stop"}
    for name in ("passes", "orbits"):
        own = table.select([column.name for column in parquet_tables()[name].columns])
        assert problems_of(parquet_tables()[name], own) == []
    assert set(table["kind"].to_pylist()) == {"orbit"}
    assert set(table["impact_chance"].to_pylist()) == {1.0}
    assert any("orbits left" in note for note in found.notes)
    # a spiral burns little: it comes near where the mothership passes
    burns = table["burn_m_s"].to_numpy()[np.array(table["design"].to_pylist()) == "spiral"]
    assert 0.1 < burns.max() < 1.0


def test_the_way_in_is_paid_from_the_tank(both):
    """The plan's propellant is the rocket equation of burn, insertion, upkeep and corrections together."""
    study, found = both
    table = found.opportunities
    judged = judge_all(study, table, found.targets, pool=Serial())
    data = plan_data(study, table, found.targets, judged=chances_of(judged))
    later = table["later_m_s"].to_numpy()
    arrival = (
        table["insertion_m_s"].to_numpy()
        + table["finite_loss_m_s"].to_numpy()
        + table["spiral_m_s"].to_numpy()
    )
    assert later == pytest.approx(arrival + table["maintain_m_s"].to_numpy())
    assert (planned_m_s(table) == table["burn_m_s"].to_numpy() + later).all()
    for k, name in enumerate(table["design"].to_pylist()):
        own = study.by_design[name]
        whole = propellant_kg(planned_m_s(table)[k], own, dv99_m_s=judged.dv99_m_s[k])
        assert data.propellant_kg[k] == pytest.approx(float(whole), rel=1e-12)
        assert data.propellant_kg[k] > 5.0 * float(propellant_kg(table["burn_m_s"][k].as_py(), own))


def test_a_tank_that_is_smaller_bars_the_row_and_the_checker_sees_it(both):
    study, found = both
    table = found.opportunities.slice(0, 1)
    (name,) = table["design"].to_pylist()
    short = float(planned_m_s(table)[0]) - 1.0
    designs = [
        design.model_copy(update={"burn_limit_m_s": short}) if design.name == name else design
        for design in study.designs
    ]
    tight = study.model_copy(update={"designs": tuple(designs)})
    assert allowed(study, table, flight=Flight(table, found.path)).mask.tolist() == [True]
    assert allowed(tight, table, flight=Flight(table, found.path)).mask.tolist() == [False]


def test_the_chance_is_insertion_height_and_delivery(both):
    study, found = both
    for name in ("spiral", "stop"):
        rows = np.flatnonzero(np.array(found.opportunities["design"].to_pylist()) == name)
        table = found.opportunities.take(rows)
        judged = judged_by_design(study, table, found.targets, name)
        works = 0.9 * table["harmless_chance"].to_numpy() * judged.delivered_chance
        sharp = table["resolution_km"].to_numpy() <= 0.06
        assert judged.chance_quality[sharp, 0] == pytest.approx(works[sharp])
        # alive until its science is over, and data are sent before it meets the ground
        way = (table["begin_tdb_s"].to_numpy() - table["encounter_tdb_s"].to_numpy()) / 86_400.0
        assert (judged.home_days >= way + table["science_days"].to_numpy() - 1e-9).all()


def test_an_orbit_that_ends_before_its_data_are_sent_sends_none(both):
    study, found = both
    table = found.opportunities.filter(
        pa.array(np.array(found.opportunities["design"].to_pylist()) == "stop")
    )
    soon = {"science_days": 1e-4, "impact_jd_tdb": float(table["encounter_jd_tdb"][0].as_py())}
    for name, value in soon.items():
        place = table.column_names.index(name)
        table = table.set_column(place, name, pa.array([value] * table.num_rows, pa.float64()))
    judged = judged_by_design(study, table, found.targets, "stop")
    assert (judged.chance_returned == 0.0).all()


def test_bands_are_those_of_the_rows(both):
    study, found = both
    assert bands_asked(study, "Moon") == ((-90.0, 90.0), (-90.0, -84.0))
    assert found.opportunities["band_south_deg"][0].as_py() == [-90.0, -90.0]


def test_what_is_drawn_is_the_life_of_the_row(both):
    study, found = both
    flown = found.opportunities.slice(found.opportunities.num_rows - 2, 2)
    drawn = altitudes_of(study, flown)["altitudes"]
    assert problems_of(parquet_tables()["altitudes"], drawn) == []
    for row in flown.to_pylist():
        own = [each for each in drawn.to_pylist() if each["opportunity"] == row["opportunity"]]
        science = [each["lowest_km"] for each in own if each["phase"] == "science"]
        assert min(science) == pytest.approx(row["least_km"], abs=1e-6)


def refusal(study):
    found = screened(study)
    assert found.opportunities.num_rows == 0
    return none_of_orbits(study, found.by_kind["orbit"])


def test_too_little_thrust_says_what_would_do():
    told = refusal(asked(STOP, design={"thrust_n": 0.5}))
    assert told.what == "no orbit about Moon is left"
    assert re.search(r"finite burns of 0\.5 N lose .* of \d+ m/s in 1 burn", told.limit)
    assert re.search(r"[\d.]+ N would do in 1 burn", told.limit)


def test_a_spiral_that_takes_too_long_says_what_thrust_would_do():
    told = refusal(asked(SPIRAL, design={"thrust_n": 2e-4}))
    assert re.search(
        r"spirals down for \d+ d with 0\.0002 N, 800 are followed: 0\.00\d+ N would do", told.limit
    )


def test_an_arrival_that_is_too_fast_for_the_tank_is_told():
    told = refusal(asked(SPIRAL, design={"burn_limit_m_s": 700.0}))
    assert re.search(r"arrives with \d+ m/s of excess speed, the tank then holds \d+", told.limit)


def test_a_protected_body_has_no_orbits():
    study = asked(STOP, protection={"impact_chance_max": {"Moon": 0.01}})
    told = refusal(study)
    assert "the least of an orbit about Moon is 1: it comes down there" in told.limit


def test_impacts_of_orbits_count_in_the_limit_of_a_plan(both):
    """A limit that the search would meet with a row from elsewhere bars each of them alone."""
    study, found = both
    limited = study.model_copy(
        update={"protection": study.protection.model_copy(update={"impact_chance_max": {"Moon": 0.5}})}
    )
    assert alone_over_the_limit(limited, found.opportunities).all()
    assert not alone_over_the_limit(study, found.opportunities).any()


def test_the_gravity_of_another_body_is_refused(tmp_path):
    table = tmp_path / "mars.tab"
    table.write_text(
        "3396.0, 42828.37, 0.0, 2, 2, 1, 0.0, 0.0\n2, 0, -8.75e-4, 0.0, 0.0, 0.0\n", encoding="utf-8"
    )
    with pytest.raises(InputError, match="this is not the gravity of Moon"):
        screened(asked(STOP, massive={"gravity": {"Moon": str(table)}}))


def test_a_design_that_a_plan_leaves_at_home_has_no_mass_and_no_share_of_it():
    study = asked(SPIRAL, STOP)
    budget = mass_budget(study, np.array([2, 0]))
    assert not any(item.startswith("stop") for item in budget["item"].to_pylist())
    assert np.isfinite(budget["margin_of_expected"].to_numpy()).all()
    assert budget["expected_kg"].to_pylist()[-1] > 28.0


def test_an_approach_that_leaves_nothing_beside_another_is_said():
    """Thrust too weak to stop by impulses: the spirals are flown, and what would do is a caution of the screen."""
    weak = asked(SPIRAL, STOP)
    plain = weak.model_dump(mode="json", by_alias=True, exclude_unset=True)
    plain["designs"][STOP]["thrust_n"] = 0.5
    plain.pop("probe", None)
    study = study_from(plain)
    study._base = FOLDER
    found = screened(study)
    assert set(found.opportunities["design"].to_pylist()) == {"spiral"}
    (said,) = [each for each in found.cautions if "leaves nothing" in each]
    assert re.match(r"stop at once: no orbit about Moon is left: .* [\d.]+ N would do in 1 burn", said)
