"""Delivery of a low pass against cases with a known answer, and the field's influence against flights."""

from dataclasses import replace

import numpy as np
import pytest

from swarm.encounter.error_model import errors_of, normals_of
from swarm.encounter.pass_delivery import LIMB_FRACTION, Sight, deliver, start_covariances
from swarm.reach.approach.field import OK, move_to
from swarm.reach.approach.influence import influence_at
from targets.base.constants import DAY_S
from tests.helpers.belt_study import belt_study
from tests.helpers.tours import MET_S, field_of, mothership_before

STUDY = belt_study()
ERRORS = errors_of(STUDY)
SIGHT = Sight(radius_km=1560.8, v_inf_km_s=4.0, ephemeris_sigma_km=5.0)


def straight(before_s):
    """d(B.T, B.R) by the state of a straight path along z: the place itself, and the time left."""
    out = np.zeros((2, 6))
    out[0, 0] = out[1, 1] = 1.0
    out[0, 3] = out[1, 4] = before_s
    return out


def test_a_straight_path_without_corrections():
    """Closed form: (sigma_v t)^2 of each source; the spring acts from release on, the burn errs along and across."""
    t, checkout = 20.0 * DAY_S, 3.0 * DAY_S
    burn = np.array([0.03, 0.0, 0.0])
    ship, start = start_covariances(straight(t), burn, checkout, ERRORS)
    own = ERRORS.mothership_km**2 + (ERRORS.mothership_km_s * t) ** 2
    assert ship == pytest.approx(own * np.eye(2))
    spring = (ERRORS.spring_km_s * (t + checkout)) ** 2
    along = ERRORS.fixed_km_s**2 + (ERRORS.proportional * 0.03) ** 2
    across = ERRORS.fixed_km_s**2 + (ERRORS.pointing_rad * 0.03) ** 2
    assert start == pytest.approx(np.diag([own + spring + along * t**2, own + spring + across * t**2]))
    found = row(straight(t), [], [], burn=burn)
    assert found.corrections == 0
    assert found.dv99_m_s == 0.0
    assert found.delivered_cov == pytest.approx(found.uncorrected_cov)


def row(
    by_burn, by_corrections, before, *, burn=(0.03, 0.0, 0.0), errors=ERRORS, sight=SIGHT, samples=20_000
):
    normals = normals_of(STUDY.with_keys("delivery", samples=samples))
    shape = np.array(by_corrections).reshape(-1, 2, 6)
    return deliver(
        by_burn, shape, np.array(before, dtype=float), burn_km_s=np.array(burn), checkout_s=3.0 * DAY_S,
        sight=sight, errors=errors, normals=normals,
    )  # fmt: skip


def test_one_correction_leaves_what_it_did_not_know():
    """A day before, by images: the limb to a hundredth of the radius, and the error of the correction's execution."""
    t, before = 20.0 * DAY_S, DAY_S
    found = row(straight(t), [straight(before)], [before])
    assert found.by_images
    assert SIGHT.v_inf_km_s * (before + ERRORS.turnaround_s) * ERRORS.sight_rad < LIMB_FRACTION * 1560.8
    limb2 = (LIMB_FRACTION * 1560.8) ** 2
    assert (found.delivered_cov[:2] > limb2).all()
    sampled = np.cov(found.miss_km.T)
    assert sampled[0, 0] == pytest.approx(found.delivered_cov[0], rel=0.05)
    assert sampled[1, 1] == pytest.approx(found.delivered_cov[1], rel=0.05)
    # the correction takes back the whole miss: its 99th percentile, of a 2-D normal, over the time left
    sigma = np.sqrt(found.uncorrected_cov[:2].max() + limb2)
    assert 2.3 * sigma / before * 1e3 < found.dv99_m_s < 3.1 * sigma / before * 1e3


def test_a_blind_camera_leaves_the_ground():
    """Far out the ground knows better than an image; the body's own ephemeris error then stays in the miss."""
    blind = ERRORS._replace(sight_rad=1.0)
    sight = replace(SIGHT, ephemeris_sigma_km=40.0)
    found = row(straight(20.0 * DAY_S), [straight(DAY_S)], [DAY_S], errors=blind, sight=sight)
    assert not found.by_images
    least = ERRORS.probe_km**2 + (ERRORS.probe_km_s * DAY_S) ** 2 + 40.0**2
    assert (found.delivered_cov[:2] > least).all()
    assert found.delivered_cov[0] == pytest.approx(np.cov(found.miss_km.T)[0, 0], rel=0.05)


def test_two_corrections_cost_less_than_one_late_one():
    t = 20.0 * DAY_S
    late = row(straight(t), [straight(DAY_S)], [DAY_S])
    early = row(straight(t), [straight(10.0 * DAY_S), straight(DAY_S)], [10.0 * DAY_S, DAY_S])
    assert early.dv99_m_s < late.dv99_m_s


def test_influence_along_a_path_is_that_of_flights():
    """d(end) by the state a day later than the start, in the field of Jupiter, against moved flights."""
    field = field_of("Europa")
    begin, later, end = MET_S - 3.0 * DAY_S, MET_S - 2.0 * DAY_S, MET_S - 0.2 * DAY_S
    state = mothership_before("Europa", field, days=3.0)
    y = np.concatenate([state, np.eye(6).ravel()])
    assert move_to(y, begin, end, field) == OK
    rows = y[6:].reshape(6, 6)[:2]
    got = influence_at(state, begin, np.array([later]), by_start=rows, field=field)[0]
    middle = state.copy()
    assert move_to(middle, begin, later, field) == OK
    for axis in range(6):
        ends = []
        for sign in (1.0, -1.0):
            moved = middle.copy()
            moved[axis] += sign * (0.2 if axis < 3 else 2e-6)
            assert move_to(moved, later, end, field) == OK
            ends.append(moved[:2])
        slope = (ends[0] - ends[1]) / (0.4 if axis < 3 else 4e-6)
        assert got[:, axis] == pytest.approx(slope, rel=1e-4, abs=1e-4 * np.abs(got[:, axis]).max())
