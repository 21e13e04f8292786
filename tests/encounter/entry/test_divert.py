"""What the mothership pays that aims a probe: by hand from the way its aim has to move, and the rocket equation."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from swarm.encounter.entry.divert import divert_of
from swarm.encounter.entry.setting import setting_at
from swarm.reach.approach.scene import approaches_of, scene_of
from targets.base.constants import DAY_S
from tests.helpers.ledum import small, written_study

# After a 30 deg entry of Venus is aimed, to miss it by 300 km instead: so far moves the aim, worked out by |B| of both.
_MOVE_KM = 2037.0
# GM of Venus: the value of the planetary ephemeris DE440 (Park et al. 2021).
_VENUS_KM3_S2 = 324858.592


@pytest.fixture(scope="module")
def aimed(tmp_path_factory):
    text = small(angles_deg="[30]", arrival_offsets_min="[0]", release_days_before="[20, 4]").replace(
        'designs             = ["shell"]\n', 'designs             = ["shell"]\nsteer = "carrier"\n'
    )
    study = written_study(tmp_path_factory.mktemp("ledum"), text)
    (ask,) = approaches_of(study, "entry")
    with scene_of(study) as scene:
        (_, passage), *_ = scene.asked(ask)
        rows = scene.entries(ask, passage, checkout_days=study.designs[1].checkout_days)
        return rows, setting_at(scene, ask, study.designs[1], passage)


def _beside_m_s(v_inf_km_s, b_km, left_s):
    """Speed across that moves the aim by _MOVE_KM: b = h/v_inf and h grows by r dv, with r of Kepler's hyperbola."""
    a = _VENUS_KM3_S2 / v_inf_km_s**2
    e = math.hypot(1.0, b_km / a)
    mean = v_inf_km_s * left_s / a
    angle = brentq(lambda angle: e * math.sinh(angle) - angle - mean, 0.0, 30.0)
    return 1e3 * _MOVE_KM * v_inf_km_s / (a * (e * math.cosh(angle) - 1.0))


@pytest.mark.parametrize(("days", "left_days", "within"), [(20.0, 18.0, 0.09), (4.0, 2.0, 0.003)])
def test_the_way_back_is_the_way_over_the_time_left(aimed, days, left_days, within):
    """1.31 m/s at 18 d and 11.61 m/s at 2 d, by hand from two bodies.

    A straight line has 11.79 m/s at 2 d: the pull of the planet makes the probe faster near it, so it is
    farther off at a given time before it and the same push moves the aim 1.6 % more.
    The Sun's tide bends that by (GM/r^3) t^2/6 across and twice as much along its direction: 4 and 8 % over 18 d at
    0.72 au, 0.05 and 0.1 % over 2 d.
    """
    rows, setting = aimed
    k = int(np.flatnonzero(np.isclose((rows.passage.closest_tdb_s - rows.release_s) / DAY_S, days))[0])
    b = rows.shots.b_km[k]
    beside = replace(setting, own_aim_km=b * (1.0 + _MOVE_KM / np.hypot(*b)))
    divert = divert_of(rows, k, beside)
    v_inf = float(np.linalg.norm(rows.passage.v_inf_km_s))
    expected = _beside_m_s(v_inf, float(np.hypot(*b)), left_days * DAY_S)
    assert expected == pytest.approx({18.0: 1.31, 2.0: 11.61}[left_days], abs=0.01)
    assert divert.divert_m_s == pytest.approx(expected, rel=within)
    assert divert.impact_course_days == 2.0
    assert divert.impact_chance == 1e-3


def test_propellant_is_the_rocket_equation_of_both_burns(aimed):
    rows, setting = aimed
    divert = divert_of(rows, 0, setting)
    ship = setting.study.mothership
    out = 1e3 * float(np.linalg.norm(rows.shots.burn_km_s[0]))
    ratio = math.exp((out + divert.divert_m_s) / (9.80665 * ship.isp_s))
    assert divert.propellant_kg == pytest.approx(ship.mass_kg * (1.0 - 1.0 / ratio), rel=1e-9)
    assert divert.divert_m_s > 0.0


def test_the_mothership_lets_go_as_it_burns(aimed):
    """A probe without a tank has no check-out before the burn, and nothing to correct with."""
    rows, _ = aimed
    assert (rows.burn_s == rows.release_s).all()


def test_a_probe_that_steers_asks_nothing(tmp_path):
    study = written_study(tmp_path, small(angles_deg="[30]", clock_step_deg="180"))
    (ask,) = approaches_of(study, "entry")
    with scene_of(study) as scene:
        (_, passage), *_ = scene.asked(ask)
        rows = scene.entries(ask, passage, checkout_days=study.designs[1].checkout_days)
        divert = divert_of(rows, 0, setting_at(scene, ask, study.designs[1], passage))
    assert (divert.divert_m_s, divert.impact_course_days, divert.propellant_kg, divert.impact_chance) == (
        0,
    ) * 4
