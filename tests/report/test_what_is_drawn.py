"""Tables made for drawing, against closed forms, other libraries and the tables they must agree with."""

from itertools import product
from types import SimpleNamespace

import numpy as np
import pyarrow as pa
import pytest
from scipy.integrate import solve_ivp

from swarm.app.pipeline import Options, run_one, run_screen
from swarm.reach.expected import LAW_PERIODS, LAW_RADIUS_AU
from swarm.report.drawn import ARC_POINTS, _principal, arc_points, density
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.catalogue.invented import invented_belt
from targets.catalogue.reading import Catalogue
from tests.helpers.command_line import TINY


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """A small study as far as its front."""
    folder = tmp_path_factory.mktemp("drawn")
    (folder / "study.toml").write_text(TINY, encoding="utf-8")
    run_screen(folder / "study.toml", folder / "run", Options(workers=1))
    return run_one("optimize", folder / "run", Options(workers=1))


def used_in_plans(run):
    return sorted(set(run.read_table("plans")["opportunity"].to_pylist()))


def test_arcs_start_at_the_mothership_and_end_at_the_target(found):
    arcs, ship = found.read_table("arcs").to_pylist(), found.read_table("mothership")
    rows = {row["opportunity"]: row for row in found.read_table("opportunities").to_pylist()}
    assert sorted({point["opportunity"] for point in arcs}) == used_in_plans(found)
    for number in used_in_plans(found):
        mine = [point for point in arcs if point["opportunity"] == number]
        assert len(mine) == ARC_POINTS
        row = rows[number]
        assert mine[0]["t_jd_tdb"] == pytest.approx(row["burn_jd_tdb"], abs=1e-9)
        assert mine[-1]["t_jd_tdb"] == pytest.approx(row["encounter_jd_tdb"], abs=1e-9)
        for axis in "xyz":
            assert mine[-1][f"{axis}_km"] == pytest.approx(row[f"target_{axis}_km"], abs=1e-3)
            at_burn = np.interp(row["burn_jd_tdb"], ship["t_jd_tdb"], ship[f"{axis}_km"])
            assert mine[0][f"{axis}_km"] == pytest.approx(
                at_burn, abs=2e4
            )  # a straight line between daily nodes


def test_a_two_body_arc_is_that_of_a_general_integrator():
    """scipy's DOP853 from the burn; the target is put where that arc ends, so that nothing is to be bent."""
    radius, length_s = 2.0 * AU_KM, 200.0 * DAY_S
    speed = np.sqrt(GM_SUN_KM3_S2 / radius)
    days = np.arange(0.0, 301.0)
    angle = speed / radius * days * DAY_S
    zero = np.zeros_like(angle)
    ship = pa.table({
        "t_jd_tdb": 2462926.5 + days,
        "x_km": radius * np.cos(angle), "y_km": radius * np.sin(angle), "z_km": zero,
        "vx_km_s": -speed * np.sin(angle), "vy_km_s": speed * np.cos(angle), "vz_km_s": zero,
    })  # fmt: skip
    state = np.array([radius, 0.0, 0.0, 0.05, speed - 0.08, 0.11])

    def pull(_, y):
        return [*y[3:], *(-GM_SUN_KM3_S2 * y[:3] / np.linalg.norm(y[:3]) ** 3)]

    times = np.linspace(0.0, length_s, ARC_POINTS)
    exact = solve_ivp(pull, (0.0, length_s), state, "DOP853", times, rtol=1e-12, atol=1e-6).y[:3].T
    opportunity = pa.table({
        "opportunity": [5], "release_jd_tdb": [2462926.5], "burn_jd_tdb": [2462926.5], "encounter_jd_tdb": [2463126.5],
        "burn_x_m_s": [50.0], "burn_y_m_s": [-80.0], "burn_z_m_s": [110.0],
        "target_x_km": [exact[-1, 0]], "target_y_km": [exact[-1, 1]], "target_z_km": [exact[-1, 2]],
    })  # fmt: skip
    drawn = arc_points(opportunity, ship)
    points = np.column_stack([drawn[f"{axis}_km"].to_numpy() for axis in "xyz"])
    assert np.abs(points - exact).max() < 1.0
    # a target elsewhere bends the arc, by a quarter of the way at half time
    moved = opportunity.set_column(7, "target_x_km", pa.array([exact[-1, 0] + 4000.0]))
    bent = arc_points(moved, ship)["x_km"].to_numpy() - points[:, 0]
    assert bent[-1] == pytest.approx(4000.0, abs=1.0)
    assert bent[ARC_POINTS // 2] == pytest.approx(1000.0, abs=1.0)


def test_rings_hold_the_covariance(found):
    """Against numpy's eigenvalues: the ellipse put together again is the covariance of the judgement."""
    judged = {row["opportunity"]: row for row in found.read_table("judged").to_pylist()}
    speeds = {row["opportunity"]: row["v_rel_km_s"] for row in found.read_table("opportunities").to_pylist()}
    for ring in found.read_table("aims").to_pylist():
        one = judged[ring["opportunity"]]
        tt, rr, tr = (one[f"delivery_cov_{part}_km2"] for part in ("tt", "rr", "tr"))
        values = np.linalg.eigvalsh([[tt, tr], [tr, rr]])
        assert ring["sigma_larger_km"] ** 2 == pytest.approx(values[1], rel=1e-9)
        assert ring["sigma_smaller_km"] ** 2 == pytest.approx(values[0], rel=1e-6)
        turn = np.radians(ring["sigma_angle_deg"])
        axes = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        again = axes @ np.diag([ring["sigma_larger_km"] ** 2, ring["sigma_smaller_km"] ** 2]) @ axes.T
        assert again == pytest.approx(np.array([[tt, tr], [tr, rr]]), rel=1e-6, abs=1e-6 * values[1])
        limit = found.study.probe.slew_limit_deg_s
        assert np.degrees(speeds[ring["opportunity"]] / ring["slew_km"]) == pytest.approx(limit)
        assert ring["keepout_km"] == found.study.probe.keepout_km


def test_images_are_of_what_is_flown_and_no_more_than_come_home(found):
    flown = set(found.read_table("plans")["opportunity"].to_pylist())
    made = {row["opportunity"]: row for row in found.read_table("images").to_pylist()}
    assert set(made) == flown
    kept = found.study.probe.images_kept
    for plan in found.read_table("plans").to_pylist():  # success: the hardware works and data come home
        assert made[plan["opportunity"]]["images_expected"] <= kept * plan["success"] + 1e-9
    # rows of the science ask for a shape: most of what is flown is seen larger than a first one, ten pixels
    assert np.median([row["pixels_across"] for row in made.values()]) > 10.0
    assert all(row["pixels_across"] <= found.study.probe.camera_pixels for row in made.values())


def test_an_ellipse_by_hand():
    cov = pa.table({"x_cov_tt_km2": [5.0], "x_cov_rr_km2": [5.0], "x_cov_tr_km2": [4.0]})
    larger, smaller, angle = _principal(cov, "x")  # eigenvalues 9 and 1 along the diagonals
    assert (larger[0], smaller[0], np.degrees(angle[0])) == pytest.approx((3.0, 1.0, 45.0))


def test_dates_are_the_opportunity_s_and_as_many_corrections_as_were_judged(found):
    judged = {row["opportunity"]: row for row in found.read_table("judged").to_pylist()}
    rows = {row["opportunity"]: row for row in found.read_table("opportunities").to_pylist()}
    events = found.read_table("events").to_pylist()
    for number in used_in_plans(found):
        mine = [(event["event"], event["t_jd_tdb"]) for event in events if event["opportunity"] == number]
        assert [date for _, date in mine] == sorted(date for _, date in mine)
        dates = dict(mine)
        for event in ("release", "burn", "encounter"):
            assert dates[event] == rows[number][f"{event}_jd_tdb"]
        assert sum(event == "correction" for event, _ in mine) == judged[number]["corrections"]
        if "data home" in dates:
            days = judged[number]["home_days"]
            assert dates["data home"] == pytest.approx(dates["encounter"] + days, abs=1e-9)


def test_how_many_return_agrees_with_what_is_known_otherwise(found):
    """The mean is the sum of the probes' own chances, whatever failures they share; P(none) is the front's."""
    table, plans = found.read_table("successes").to_pylist(), found.read_table("plans").to_pylist()
    for row in found.read_table("front").to_pylist():
        mine = [one for one in table if one["plan"] == row["plan"]]
        assert [one["returned"] for one in mine] == list(range(row["probes"] + 1))
        assert sum(one["chance"] for one in mine) == pytest.approx(1.0, abs=1e-12)
        mean = sum(one["returned"] * one["chance"] for one in mine)
        assert mean == pytest.approx(
            sum(one["success"] for one in plans if one["plan"] == row["plan"]), abs=1e-9
        )
        assert mine[0]["chance"] == pytest.approx(row["p_none"], abs=1e-12)
        for k, one in enumerate(mine):
            assert one["chance_or_more"] == pytest.approx(
                sum(other["chance"] for other in mine[k:]), abs=1e-12
            )


def test_what_encounters_count_for_sums_up_to_the_science_of_a_plan_of_one_probe(found):
    """Science is the weighted expected share of the baselines: of one probe, sum of weight x chance / baseline."""
    study = found.study
    weight = {row.name: row.weight for row in study.science.rows}
    baseline = {row.name: row.baseline for row in study.science.rows}
    table, plans = found.read_table("serves").to_pylist(), found.read_table("plans").to_pylist()
    ones = [row for row in found.read_table("front").to_pylist() if row["probes"] == 1]
    assert ones
    for row in ones:
        (flown,) = (one["opportunity"] for one in plans if one["plan"] == row["plan"])
        mine = [one for one in table if one["opportunity"] == flown]
        assert mine
        share = sum(
            weight[one["science_row"]] * one["counts_chance"] / baseline[one["science_row"]] for one in mine
        )
        assert share / sum(weight.values()) == pytest.approx(row["science"], abs=1e-9)
    assert {one["opportunity"] for one in table} <= {one["opportunity"] for one in plans}


def test_how_many_return_by_enumeration(found):
    """Every outcome of a plan written out: a failure of all, else each probe by itself (contract, section 6)."""
    study, table = found.study, found.read_table("successes").to_pylist()
    judged = {row["opportunity"]: row for row in found.read_table("judged").to_pylist()}
    plans = found.read_table("plans").to_pylist()
    largest = max(found.read_table("front").to_pylist(), key=lambda row: row["probes"])
    flown = [judged[row["opportunity"]] for row in plans if row["plan"] == largest["plan"]]
    assert len(flown) >= 3
    common = study.survival.shared_fraction * min(1.0 - one["hardware"] for one in flown)
    own = [one["hardware"] / (1.0 - common) * one["chance_returned"] for one in flown]
    chance = np.zeros(len(flown) + 1)
    for outcome in product((0, 1), repeat=len(flown)):
        parts = [p if works else 1.0 - p for works, p in zip(outcome, own, strict=True)]
        chance[sum(outcome)] += (1.0 - common) * np.prod(parts)
    chance[0] += common
    mine = [one["chance"] for one in table if one["plan"] == largest["plan"]]
    assert mine == pytest.approx(chance.tolist(), abs=1e-12)


def test_the_law_by_hand():
    """Bodies that all ride close behind the mothership's circle: density, speed and area in one line each."""
    belt = invented_belt(50, 3)
    circle = {"a_au": 2.5, "e": 0.0, "i_deg": 0.0, "node_deg": 0.0, "argp_deg": 0.0, "mean_anomaly_deg": 0.0}
    columns = belt.to_table().to_pydict() | {key: [value] * 50 for key, value in circle.items()}
    bodies = Catalogue.from_table(pa.table(columns, schema=belt.to_table().schema))
    _, r, v = bodies.states()
    epoch = float(bodies.epoch_jd_tdb[0])
    # the mothership stands still beside them at the middle of one period, 0.1 au off
    span = 30.0 * LAW_PERIODS
    study = SimpleNamespace(
        study=SimpleNamespace(start_jd_tdb=epoch - 15.0, end_jd_tdb=epoch - 15.0 + span),
        probe=SimpleNamespace(checkout_days=0.0, burn_limit_m_s=100.0),
        search=SimpleNamespace(arc_min_days=10.0, arc_max_days=200.0),
    )
    study.by_design = {"probe": study}
    place = r[0] + np.array([0.1 * AU_KM, 0.0, 0.0])
    ship = pa.table({
        "t_jd_tdb": [epoch - 100.0, epoch + span],
        **{f"{axis}_km": [place[k]] * 2 for k, axis in enumerate("xyz")},
        **{f"v{axis}_km_s": [0.0, 0.0] for axis in "xyz"},
    })  # fmt: skip
    dates = [epoch, epoch + 1.0, epoch + 31.0]
    met = pa.table({"encounter_jd_tdb": dates, "target_index": [0, 0, 1], "kind": ["flyby"] * 3})
    first = density(study, bodies, met, ship).to_pylist()[0]
    per_au3 = 50 / (4.0 / 3.0 * np.pi * LAW_RADIUS_AU**3)
    assert first["found"] == 1
    assert first["bodies_per_au3"] == pytest.approx(per_au3)
    assert first["v_rel_km_s"] == pytest.approx(np.linalg.norm(v[0]))
    assert first["arc_days"] == 100.0
    reach_au = 0.1 * 100.0 * 86400.0 / AU_KM
    swept_au = np.linalg.norm(v[0]) * 30.0 * 86400.0 / AU_KM
    assert first["expected"] == pytest.approx(per_au3 * np.pi * reach_au**2 * swept_au)


def test_the_law_is_there_for_every_period(found):
    table = found.read_table("density")
    assert table.num_rows == LAW_PERIODS
    study = found.study.study
    assert table["from_jd_tdb"][0].as_py() == study.start_jd_tdb
    assert table["until_jd_tdb"][LAW_PERIODS - 1].as_py() == study.end_jd_tdb
    assert table["from_jd_tdb"].to_pylist()[1:] == table["until_jd_tdb"].to_pylist()[:-1]


def test_planets_of_the_map_are_where_an_analytic_theory_has_them(found):
    """ERFA's plan94 (Simon et al., A&A 282, 663, 1994): some arcsec, 1800 to 2050, by its notes."""
    erfa = pytest.importorskip("erfa")
    orbits = found.read_table("planets").to_pylist()
    numbers = {"Mercury": 1, "Venus": 2, "Earth and Moon": 3, "Mars": 4}
    assert {row["planet"] for row in orbits} <= set(numbers)
    assert {row["planet"] for row in orbits} >= {"Earth and Moon"}
    for row in orbits:
        state = erfa.plan94(2400000.5, row["t_jd_tdb"] - 2400000.5, numbers[row["planet"]])
        place_km = np.array([row[f"{axis}_km"] for axis in "xyz"])
        assert np.linalg.norm(state["p"] * AU_KM - place_km) < 1e-4 * AU_KM  # 20 arcsec at 1 au


def test_planets_beyond_the_map_are_not_on_it(found):
    farthest = max(
        np.linalg.norm([row[f"{axis}_km"] for axis in "xyz"])
        for row in found.read_table("mothership").to_pylist()
    )
    for row in found.read_table("planets").to_pylist():
        assert (
            np.linalg.norm([row[f"{axis}_km"] for axis in "xyz"]) < 1.6 * farthest
        )  # 1.3, and an orbit's eccentricity
