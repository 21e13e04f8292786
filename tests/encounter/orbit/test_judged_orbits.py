"""Rows of orbits: planes turned, tanks and thrust that are too small, quality and chances, tables as declared."""

import math
from types import SimpleNamespace

import numpy as np
import pyarrow as pa
import pytest

from swarm.encounter.orbit.insertion import Insertion
from swarm.encounter.orbit.mean_life import IMPACT, MeanOrbit
from swarm.encounter.orbit.orbit_judging import (
    Arrived,
    follow,
    judge_orbits,
    life_of,
    quality_of,
    seen_in_band,
    thruster_of,
)
from swarm.encounter.orbit.orbit_science import Seen
from swarm.encounter.orbit.orbit_tables import (
    OrbitRow,
    altitudes_table,
    mean_orbit_of,
    orbit_columns,
    orbit_fits,
)
from swarm.encounter.orbit.osculating import state_of
from swarm.encounter.orbit.spiral import Spiral
from swarm.run.tables import parquet_tables
from swarm.run.tables.declaration import problems_of
from swarm.study.sections.approach import ApproachSettings
from swarm.study.sections.science import Where
from targets.base.constants import AU_KM
from targets.gravity.harmonic_field import gravity_of
from targets.masses.rotation import body_axes
from tests.helpers.lunar_orbits import BEGIN, MOON, about_moon
from tests.helpers.small_cases import make_study

MU = gravity_of(MOON).gm_km3_s2


def study(**probe):
    given = {
        "count": 1,
        "wet_mass_kg": 14.0,
        "isp_s": 230.0,
        "thrust_n": 22.0,
        "burn_limit_m_s": 1100.0,
        **probe,
    }
    return make_study(probe=given)


def ask(**keys):
    given = {
        "name": "stop", "body": "Moon", "kind": "orbit", "periapsis_km": (30.0,), "apoapsis_km": (100.0,),
        "science_days": 10.0, "insertion_burns": 1, "maintain": False, **keys,
    }  # fmt: skip
    return ApproachSettings(**given)


def met(inclination_deg=80.0, argp_deg=-90.0, height_km=30.0, v_inf=0.8, sigma_km=2.0):
    """A hyperbola at its periapsis over the Moon."""
    axes = body_axes(MOON, np.array([BEGIN]))[0]
    i, w = np.radians([inclination_deg, argp_deg])
    node, pole = np.array([1.0, 0.0, 0.0]), np.array([0.0, -np.sin(i), np.cos(i)])
    along = np.cos(w) * node + np.sin(w) * np.cross(pole, node)
    state = state_of(MeanOrbit(1737.4 + height_km, axes.T @ pole, 1e-6 * (axes.T @ along)), 0.0, MU)
    state[3:] *= math.sqrt(v_inf**2 + 2.0 * MU / (1737.4 + height_km)) / np.linalg.norm(state[3:])
    return Arrived(state, BEGIN, v_inf, BEGIN - 8.64e5, 5.0, 3.0, sigma_km)


def judge(own, asked, arrivals, where=None, ground_km=8.0):
    return judge_orbits(own, asked, where, arrivals, MOON, about_moon(200, ground_km), sun_km=AU_KM)


def test_an_impulsive_row_is_where_it_came_in():
    (row,) = judge(study(), ask(), [met()])
    assert not row.refused
    assert isinstance(row.arrival, Insertion)
    assert row.inclination_deg == pytest.approx(80.0, abs=1e-3)
    assert row.argp_deg == pytest.approx(270.0, abs=1e-3)
    assert row.spent_m_s == pytest.approx(8.0 + row.arrival.total_m_s)
    assert row.life.lowest_km[0] == pytest.approx(30.0, abs=0.1)
    assert row.life.highest_km[0] == pytest.approx(100.0, abs=0.1)
    assert row.chance == pytest.approx(0.9, abs=1e-6)
    assert row.chance_quality(0.0) == row.chance
    assert row.chance_quality(1.1) == 0.0


def test_a_plane_is_turned_about_periapsis_as_far_as_asked():
    """Over the pole the plane may be turned freely; 5 deg of it cost 2 v sin(2.5 deg) across, as a vector."""
    (row,) = judge(study(burn_limit_m_s=2000.0), ask(inclination_deg=(85.0,)), [met(80.0, 0.0)])
    plain = judge(study(burn_limit_m_s=2000.0), ask(), [met(80.0, 0.0)])[0]
    before = math.sqrt(0.64 + 2.0 * MU / 1767.4)
    after = before - 1e-3 * plain.arrival.impulsive_m_s
    turned = math.sqrt(before**2 + after**2 - 2.0 * before * after * math.cos(math.radians(5.0)))
    assert row.inclination_deg == 85.0
    assert row.arrival.impulsive_m_s == pytest.approx(1e3 * turned, rel=1e-6)
    pole = row.life.elements[0, :3] / np.linalg.norm(row.life.elements[0, :3])
    north = body_axes(MOON, np.array([row.begin_tdb_s]))[0, 2]
    assert np.degrees(np.arccos(pole @ north)) == pytest.approx(85.0, abs=0.01)
    # what would be turned too far, or cannot be from there, is left to other arrivals
    assert judge(study(), ask(inclination_deg=(20.0,)), [met(80.0, 0.0)]) == []
    assert judge(study(), ask(inclination_deg=(20.0,)), [met(80.0, -90.0)]) == []


def test_too_little_thrust_and_too_small_a_tank_are_said():
    (weak,) = judge(study(thrust_n=0.5), ask(), [met()])
    assert "N would do in 1 burn" in weak.refused
    assert weak.life is None
    (poor,) = judge(study(burn_limit_m_s=500.0), ask(), [met()])
    assert "the tank holds 500 (burn_limit_m_s)" in poor.refused


ELECTRIC = {"propulsion": "electric", "isp_s": 1600.0, "thrust_n": 1.2e-3, "burn_limit_m_s": 2800.0}


def test_a_spiral_takes_its_days_and_its_own_plane():
    own, asked = study(**ELECTRIC), ask(capture="spiral", inclination_deg=(76.0,), argp_deg=(90.0,))
    (row,) = judge_orbits(own, asked, None, [met()], MOON, about_moon(500, 8.0), sun_km=AU_KM)
    assert isinstance(row.arrival, Spiral)
    assert 250.0 < row.arrival.days < 450.0
    assert (row.inclination_deg, round(row.argp_deg)) == (76.0, 91) or abs(row.argp_deg - 90.0) < 2.0
    assert row.begin_tdb_s == pytest.approx(BEGIN + row.arrival.days * 86_400.0)
    assert row.harmless == 1.0


def test_a_spiral_that_arrives_too_fast_is_told_so():
    own = study(**{**ELECTRIC, "burn_limit_m_s": 1500.0})
    (row,) = judge(own, ask(capture="spiral"), [met(v_inf=1.6)])
    assert "arrives with 1600 m/s of excess speed" in row.refused


def test_thrust_falls_with_the_power_of_the_panels():
    """0.12 m^2, 28 %, 75 %: 34.3 W at 1 au; 5 W go elsewhere, and 58.6 W are needed: half the thrust."""
    own = study(**ELECTRIC, thrust_power_w=58.6)
    assert thruster_of(own, AU_KM).thrust_n == pytest.approx(0.5 * 1.2e-3, rel=0.01)
    assert thruster_of(own, 0.5 * AU_KM).thrust_n == pytest.approx(1.2e-3)
    assert thruster_of(own, 3.0 * AU_KM).thrust_n == pytest.approx(1e-12)


def test_a_spread_of_heights_lowers_the_chance():
    """One sigma below the periapsis is the ground: 0.8413 of the arrivals are above it."""
    (row,) = judge(study(), ask(), [met(sigma_km=22.0)])
    assert row.harmless == pytest.approx(0.8413, abs=1e-4)
    assert row.chance == pytest.approx(0.9 * 0.8413, abs=1e-4)


def test_quality_is_the_product_of_shares():
    seen = Seen(10.0, 100.0, 12.0, 1.5, np.zeros(18))
    assert quality_of(Where(kind="orbit", hours_below_min=20.0), seen, 1.0) == 0.5
    assert quality_of(Where(kind="orbit", hours_below_min=5.0, count_sigma_min=3.0), seen, 1.0) == 0.5
    assert quality_of(Where(kind="orbit", resolution_m_max=2.0), seen, 1.0) == 1.0
    assert quality_of(Where(kind="orbit", resolution_m_max=0.1), seen, 1.0) == pytest.approx(0.5)
    assert quality_of(Where(kind="orbit"), seen, math.nan) == 0.0


def test_a_counter_of_the_design_counts():
    own = SimpleNamespace(**{name: getattr(study().probe, name) for name in type(study().probe).model_fields})
    own.instruments = (SimpleNamespace(kind="counter", radius_km=25.0, contrast=0.05, counts_per_s=60.0),)
    whole = SimpleNamespace(probe=own)
    (row,) = judge(whole, ask(), [met()])
    assert row.seen.count_sigma > 0.0
    assert judge(study(), ask(), [met()])[0].seen.count_sigma == 0.0


def rows_of(own, asked, arrivals, bands):
    around = about_moon(200, 8.0)
    return [
        OrbitRow(row, tuple(seen_in_band(own, asked, row.life, *band, around) for band in bands), 8.0, 0.9)
        for row in judge(own, asked, arrivals)
    ]


def table_of(rows):
    numbers = {"opportunity": pa.array(range(len(rows)), pa.int64())}
    return pa.table(numbers | orbit_columns(rows))


def test_tables_are_as_declared():
    asked = ask(periapsis_km=(12.0, 30.0))
    rows = rows_of(study(), asked, [met(height_km=12.0), met()], [(-90.0, 90.0)])
    table = table_of(rows)
    assert problems_of(parquet_tables()["orbits"], table) == []
    lives = {
        k: (row.judged.life,)
        if row.judged.life.end == IMPACT
        else (row.judged.life, follow(row.judged, 90.0, MOON, about_moon(200, 8.0)))
        for k, row in enumerate(rows)
    }
    flown = altitudes_table(lives)
    assert problems_of(parquet_tables()["altitudes"], flown) == []
    assert flown.num_rows == sum(len(life.tdb_s) for own in lives.values() for life in own)
    assert set(flown["phase"].to_pylist()) == {"science", "let-go"}
    # the lower one meets the ground while it works: that is its decay
    low = table.slice(0, 1).to_pylist()[0]
    assert low["clearance_km"] == pytest.approx(0.0, abs=0.01)
    assert low["decay_days"] == pytest.approx(low["science_days"])
    assert low["ended"] == "it meets the ground"


def test_the_life_of_a_row_can_be_lived_again_from_its_table():
    asked = ask()
    (row,) = rows_of(study(), asked, [met()], [])
    held = table_of([row]).to_pylist()[0]
    again = life_of(
        asked, mean_orbit_of(held), held["begin_tdb_s"], held["left_m_s"], MOON, about_moon(200, 8.0)
    )
    assert (again.lowest_km == row.judged.life.lowest_km).all()


def test_a_row_asks_in_its_own_band_of_latitudes():
    """Hours of the south alone are fewer than of all; what no band of the table covers is no answer."""
    bands = [(-90.0, 90.0), (-90.0, -60.0)]
    table = table_of(rows_of(study(), ask(), [met()], bands))
    table = table.append_column("target", pa.array(["Moon"]))
    (low, southern) = table["band_hours"].to_pylist()[0]
    assert 0.0 < southern < low

    def fits(**where):
        return bool(orbit_fits(Where(kind="orbit", **where), table, None)[0])

    assert fits(hours_below_min=0.9 * low)
    assert not fits(hours_below_min=1.1 * low)
    assert fits(hours_below_min=0.9 * southern, latitude_deg=(-90.0, -60.0))
    assert not fits(hours_below_min=0.9 * low, latitude_deg=(-90.0, -60.0))
    assert not fits(latitude_deg=(-90.0, -61.0))
    assert not fits(body="Mars")
    # without a counter nothing is counted
    assert not fits(count_sigma_min=0.1)
    assert fits(resolution_m_max=50.0)
    assert not fits(resolution_m_max=0.01)
