"""A mothership that steers: its burns against Newton's method in the field, its propellant, the chance that it hits."""

from types import SimpleNamespace

import numpy as np
import pytest

from swarm.encounter.pass_impact import impact_radius_km
from swarm.encounter.pass_worth import ship_chances
from swarm.encounter.steering import CARRIER, SPIN, SteeredBy, of_probes, steered
from swarm.reach.approach.about import index_of
from swarm.reach.approach.field import move_to, place_of, velocity_of
from swarm.reach.approach.passage import Passage
from swarm.reach.approach.rows import LowPasses
from swarm.reach.approach.shoot import shoot
from swarm.reach.arcs.bplane import periapsis_km
from targets.base.constants import DAY_S
from targets.masses.massive import mass_named
from tests.helpers.tours import MET_S, field_of, mothership_before

EUROPA = mass_named("Europa")
FIELD = field_of("Europa")
DAYS, DIVERT_DAYS, BESIDE_KM = 10.0, 2.0, 4000.0
CLOCKS = np.array([0.0, 120.0, 240.0])


def past_jupiter():
    """(3,) km/s relative to Europa of a mothership that falls past Jupiter at 20.3 km/s, a little inwards."""
    r, v = (np.array(of(index_of(EUROPA), MET_S, FIELD)) for of in (place_of, velocity_of))
    wanted = 20.3 * (-0.45 * r / np.linalg.norm(r) + np.sqrt(1.0 - 0.45**2) * v / np.linalg.norm(v))
    return wanted - v


def shots_from(states, begin_s, goals):
    n = len(goals)
    return shoot(
        np.tile(states, (n, 1)) if states.ndim == 1 else states, np.full(n, begin_s),
        targets=np.full(n, index_of(EUROPA)), gm_km3_s2=np.full(n, EUROPA.gm_km3_s2),
        windows_s=np.tile([MET_S - DAY_S, MET_S + DAY_S], (n, 1)), gates_km=np.full(n, EUROPA.influence_km),
        goals=goals, field=FIELD, covered_s=(MET_S - 20.0 * DAY_S, MET_S + 4.0 * DAY_S),
    )  # fmt: skip


@pytest.fixture(scope="module")
def rows():
    """Three passes at 100 km, aimed from a fast path 4000 km beside the centre, ten days before."""
    path, begin = (
        mothership_before("Europa", FIELD, days=DAYS, v_inf=past_jupiter(), away_km=(0.0, 0.0, BESIDE_KM)),
        MET_S - DAYS * DAY_S,
    )
    goals = np.column_stack([np.full(3, EUROPA.radius_km + 100.0), np.radians(CLOCKS)])
    shots = shots_from(path, begin, goals)
    assert (shots.status == 0).all()
    still = np.zeros(3)
    met = Passage(EUROPA, MET_S, np.array([0.0, 0.0, BESIDE_KM, 3.0, 0.0, 0.0]), still, still, still)
    dates = np.full(3, begin)
    return LowPasses(
        met, dates, dates, np.full(3, 100.0), CLOCKS, np.tile(path, (3, 1)), 0, 0, field=FIELD, shots=shots
    )


def by(steer, *, rim_km_s=0.0, mass_kg=900.0, divert_days=DIVERT_DAYS):
    return SteeredBy(steer, divert_days * DAY_S, rim_km_s, mass_kg, 300.0, 1e-3, np.inf, np.full(2, np.nan))


def test_the_way_back_is_what_newton_finds_in_the_field(rows):
    """Flown until it diverts, and shot from there at the mothership's own aim point: the linear burn is that to 2 %."""
    told = steered(rows, np.arange(3), by(CARRIER))
    np.testing.assert_allclose(told.out_m_s, 1e3 * np.linalg.norm(rows.shots.burn_km_s, axis=1), rtol=1e-12)
    np.testing.assert_array_equal(told.aimed_km_s, rows.shots.burn_km_s)
    np.testing.assert_array_equal(told.aim_km, rows.shots.b_km)
    begin = float(rows.burn_s[0])
    for k in range(3):
        y = rows.path[k].copy()
        y[3:] += rows.shots.burn_km_s[k]
        assert move_to(y, begin, begin + DIVERT_DAYS * DAY_S, FIELD) == 0
        own = rows.shots.unburned_km[k]
        r_p = float(
            periapsis_km(np.linalg.norm(own), float(rows.shots.v_inf_km_s[k]), mu_km3_s2=EUROPA.gm_km3_s2)
        )
        back = shots_from(y, begin + DIVERT_DAYS * DAY_S, np.array([[r_p, np.arctan2(own[1], own[0])]]))
        assert told.back_m_s[k] == pytest.approx(1e3 * np.linalg.norm(back.burn_km_s[0]), rel=0.02)
    # the later, the dearer: two days of ten are gone
    assert (told.back_m_s > told.out_m_s).all()
    assert told.in_time.all()


def test_what_is_burnt_is_the_rocket_equation_out_and_back(rows):
    """m (exp(dv/(g0 Isp)) - 1); by hand a hundredth of 900 kg for 29.27 m/s at 300 s."""
    told = steered(rows, np.arange(3), by(CARRIER))
    dv = told.out_m_s + told.back_m_s
    np.testing.assert_allclose(told.propellant_kg, 900.0 * np.expm1(dv / 2941.995), rtol=1e-9)
    assert 900.0 * np.expm1(29.27 / 2941.995) == pytest.approx(9.0, abs=0.01)
    assert steered(rows, np.arange(3), by(CARRIER, mass_kg=1800.0)).propellant_kg == pytest.approx(
        2 * told.propellant_kg
    )
    assert (told.course_days == DIVERT_DAYS).all()


def test_a_spinning_mothership_aims_where_its_rim_takes_the_probe_from(rows):
    """Its own burn flown in the field: it goes where it is said to go, and the rim does the rest."""
    rim = 4e-4
    told = steered(rows, np.arange(3), by(SPIN, rim_km_s=rim))
    begin, aims = float(rows.burn_s[0]), []
    for k in range(3):
        clock = np.radians(CLOCKS[k])
        # T and R by the pole of the frame, as for any B-plane (Kizner 1961)
        s = rows.shots.s[k]
        t = np.cross(s, [0.0, 0.0, 1.0])
        t /= np.linalg.norm(t)
        r = np.cross(s, t)
        speed = rim * (np.cos(clock) * t + np.sin(clock) * r)
        assert told.out_m_s[k] == pytest.approx(
            1e3 * np.linalg.norm(rows.shots.burn_km_s[k] - speed), rel=1e-9
        )
        y = rows.path[k].copy()
        y[3:] += rows.shots.burn_km_s[k] - speed
        flown = shots_from(y, begin, np.array([[EUROPA.radius_km + 100.0, clock]]))
        aims.append(flown.unburned_km[0])
    moved = np.linalg.norm(np.array(aims) - rows.shots.b_km, axis=1)
    assert (moved > 20.0).all()
    np.testing.assert_allclose(np.array(aims), told.aim_km, atol=0.03 * moved.max())
    # the probe itself is where the row says, whoever burns
    np.testing.assert_array_equal(told.aimed_km_s, rows.shots.burn_km_s)


def test_a_divert_after_the_pass_is_too_late(rows):
    told = steered(rows, np.arange(3), by(CARRIER, divert_days=DAYS))
    assert not told.in_time.any()
    assert steered(rows, np.arange(0), by(CARRIER)).propellant_kg.shape == (0,)
    assert (of_probes(2).propellant_kg == 0.0).all()


def test_a_mothership_that_does_not_divert_hits_as_samples_do():
    """A million of them about where it aims, counted inside the disc: within three sigma, times what fails."""
    aim, cov, v_inf = np.array([[1700.0, 900.0]]), np.array([[90_000.0, 40_000.0, 20_000.0]]), 4.0
    cases = SimpleNamespace(
        body=("Europa",), v_inf_km_s=np.array([v_inf]), lowest_km=np.array([2.0]), by_ship=np.array([True]),
        mass=lambda k: EUROPA,
    )  # fmt: skip
    study = SimpleNamespace(mothership=SimpleNamespace(divert_failure=0.01))
    worth = SimpleNamespace(start_cov_km2=cov)
    told = float(ship_chances(study, cases, worth, aim)[0])
    matrix = np.array([[cov[0, 0], cov[0, 2]], [cov[0, 2], cov[0, 1]]])
    points = np.random.default_rng(3).multivariate_normal(aim[0], matrix, size=1_000_000)
    share = float((np.hypot(*points.T) < float(impact_radius_km(EUROPA, v_inf, terrain_km=2.0))).mean())
    assert 0.05 < share < 0.95
    assert abs(told / 0.01 - share) < 3.0 * np.sqrt(share * (1.0 - share) / 1e6)
    cases.by_ship = np.array([False])
    assert ship_chances(study, cases, worth, aim).tolist() == [0.0]
