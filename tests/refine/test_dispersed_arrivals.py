"""Dispersion: linear against full force, and against the delivery model where it is linear."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chi2

from swarm.encounter.corrections import AFTER_BURN, BEFORE_ENCOUNTER, IN_SIGHT, plan_corrections, sight_s
from swarm.encounter.delivery import fill_start, linear_covariance
from swarm.encounter.error_model import CORRECTIONS_MAX, errors_of
from swarm.reach.arcs.bplane import b_plane_axes
from swarm.refine.dispersion import Draws, _Flight, disperse, draws_of, execution_errors
from swarm.refine.whole_plan import FlownProbe, dispersion_cautions
from tests.helpers.refined_arc import make_known, make_study

COUNT = 10_000
# The same spread of the spring on all axes, as the delivery model has it; no tail beyond the camera's sight.
SAME = {"spring_fraction": 0.05, "spring_direction_deg": math.degrees(0.05)}


def model_covariance(study, made, known):
    """(TT, RR, TR) of the delivery model, two-body, for this arc."""
    errors, axes = errors_of(study), b_plane_axes(made.v_rel_km_s)[0]
    speed = float(np.linalg.norm(made.v_rel_km_s))
    cruise = made.encounter_tdb_s - made.arc.burn_tdb_s
    seen = sight_s(known.detect_km, speed, 100.0, 20.0 * speed)
    plan = plan_corrections(made.probe, axes, cruise, seen, errors, True)
    start = np.empty(3)
    times = (made.encounter_tdb_s - made.arc.release_tdb_s, cruise)
    fill_start(made.probe, axes, made.burn_km_s, times, errors, start)
    cov = axes[1:] @ known.target_cov_km2 @ axes[1:].T
    target = np.array([cov[0, 0], cov[1, 1], cov[0, 1]])
    tt, rr, tr = linear_covariance(plan, start, target, known.detect_km, speed, errors)
    return np.array([[tt, tr], [tr, rr]])


def test_the_covariance_is_the_delivery_models(field, made, known):
    study = make_study(delivery=SAME)
    found = disperse(study, field, made, known=known, full=False, draws=draws_of(1, 5, COUNT))
    model = model_covariance(study, made, known)
    # whitened by the model, each principal variance times n is chi-square with n degrees of freedom
    root = np.linalg.inv(np.linalg.cholesky(model))
    low, high = chi2.ppf([0.0005, 0.9995], COUNT) / COUNT
    white = root @ found.covariance_km2 @ root.T
    # seen: 1.0052, 1.0033, inside 0.954 to 1.047; 0.0146 of 0.033
    assert low < white[0, 0] < high
    assert low < white[1, 1] < high
    assert abs(white[0, 1]) < 3.3 / math.sqrt(COUNT)


def stretched(study, field, made, known, draws):
    """(n, 2) by which an unknown distance of the target stretches the aim point, which the matrix leaves out."""
    flight = _Flight(study, field, made, known)
    return flight._sheet(draws).along[:, None] * made.b_km / flight._imaged_km(len(flight._times) - 1)


def test_full_force_lands_where_the_matrix_says(field, made, known):
    """Each sample at its own dates: flown at the nominal ones, late_s times the last correction stays, 0.19 sigma."""
    study, draws = make_study(), draws_of(1, 5, 1000)
    linear = dispersed(study, field, made, known, draws, full=False)
    full = dispersed(study, field, made, known, draws, full=True)
    apart = np.linalg.norm(
        full.miss_km - linear.miss_km - stretched(study, field, made, known, draws), axis=1
    )
    # seen: 0.0005, 1 m, and 0.0026
    assert np.median(apart) < 0.001 * linear.sigma_km
    assert np.quantile(apart, 0.99) < 0.005 * linear.sigma_km
    assert full.sigma_km == pytest.approx(linear.sigma_km, rel=1e-3)
    assert full.spent_km_s == pytest.approx(linear.spent_km_s, rel=3e-3)  # seen: 1e-3
    assert full.late_s == pytest.approx(linear.late_s, abs=20.0)
    assert full.late_s.std() > 1000.0  # the dates do matter


def one_target_off(study, field, made, known, along_km, across_km):
    """The flight of one sample without any error but the target's place, and where it passes."""
    axes = b_plane_axes(made.v_rel_km_s)[0]
    flight = _Flight(study, field, made, replace(known, target_cov_km2=np.zeros((3, 3))))
    nothing = Draws(np.zeros((1, 9)), np.zeros((1, 7)), np.zeros((1, 3)), np.zeros((CORRECTIONS_MAX, 1, 9)))
    sheet = flight._sheet(nothing)
    sheet.target[:] = along_km * axes[0] + across_km * axes[1]
    sheet.target_b[:] = [[across_km, 0.0]]
    sheet.along[:] = along_km
    flight._sheet = lambda draws: sheet
    return flight, flight.in_full_force(nothing)


QUIET = {"execution_fixed_m_s": 0.0, "execution_proportional": 0.0, "execution_pointing_mrad": 0.0}
STILL = {"spring_fraction": 0.0, "spring_direction_deg": 0.0}


def test_a_target_off_along_the_motion_stretches_the_aim_point(field, made, known):
    """A direction leads to the target however far it is; the distance beside it at which to pass is taken in degrees.

    Straight lines: an image from `imaged_km` gives a direction, the correction follows when `flown_km` are left.
    """
    along, across = -20_000.0, 300.0
    study = make_study(probe=QUIET, delivery=STILL)
    flight, found = one_target_off(study, field, made, known, along, across)
    flown_km = np.linalg.norm(made.v_rel_km_s) * (made.encounter_tdb_s - flight._times[-1])
    imaged_km = flown_km + np.linalg.norm(made.v_rel_km_s) * errors_of(study).turnaround_s
    place = np.array([across, 0.0])
    believed = (place - made.b_km) * imaged_km / (imaged_km + along) + made.b_km
    assert found.seen.all()
    # 20 000 of 400 000 km nearer: 5 % nearer to it; seen: -18.76, 19.67 against -18.86, 19.74
    assert found.miss_km[0] == pytest.approx(believed * (1.0 + along / flown_km) - place, abs=0.2)


def test_a_target_far_off_its_place_is_passed_at_the_aim_point(field, made, known):
    """20 000 km across, seen from 2 million: the sample's own B-plane turns by 0.5 degrees, its aim point does not."""
    study = make_study(probe=QUIET, delivery=STILL)
    far = make_known(made, detect_km=2e6, before_km=20_000.0)
    _, found = one_target_off(study, field, made, far, 0.0, 20_000.0)
    assert found.seen.all()
    assert found.miss_km[0] == pytest.approx([0.0, 0.0], abs=1.0)


def test_full_force_is_the_matrix_where_errors_are_small(field, made, known):
    study, draws = make_study(), draws_of(1, 5, 200)
    some = Draws(*(0.02 * each for each in (draws.start, draws.burn, draws.target, draws.corrections)))
    linear = dispersed(study, field, made, known, some, full=False)
    full = dispersed(study, field, made, known, some, full=True)
    apart = np.linalg.norm(full.miss_km - linear.miss_km - stretched(study, field, made, known, some), axis=1)
    assert np.median(apart) < 0.001 * linear.sigma_km  # seen: 6e-5
    assert full.sigma_km == pytest.approx(linear.sigma_km, rel=1e-3)  # seen: 3e-4


def dispersed(study, field, made, known, draws, *, full):
    return disperse(study, field, made, known=known, full=full, draws=draws)


def test_a_burn_without_errors_and_a_known_mothership_hits(field, made, known):
    study = make_study(probe=QUIET, delivery=STILL)
    blind = replace(make_known(made, detect_km=1e5), target_cov_km2=np.zeros((3, 3)))
    found = disperse(study, field, made, known=blind, full=True, draws=draws_of(1, 5, 20))
    spoilt = disperse(make_study(), field, made, known=blind, full=True, draws=draws_of(1, 5, 20))
    assert np.median(found.spent_km_s) < np.median(spoilt.spent_km_s)


def test_what_the_probe_cannot_pay_is_not_delivered(field, made, known):
    poor = replace(known, spare_km_s=0.0)
    found = disperse(make_study(), field, made, known=poor, full=False, draws=draws_of(1, 5, 100))
    assert found.success == 0.0


def test_draws_belong_to_seed_and_opportunity():
    a, b = draws_of(1, 5, 50), draws_of(1, 5, 50)
    assert np.array_equal(a.corrections, b.corrections)
    assert not np.array_equal(a.start, draws_of(2, 5, 50).start)
    assert not np.array_equal(a.start, draws_of(1, 6, 50).start)
    assert np.array_equal(a.first(10).burn, a.burn[:10])


def test_execution_errors_have_the_second_moments_of_gates():
    errors = errors_of(make_study())
    dv = np.broadcast_to(np.array([0.0, 0.0, 0.05]), (200_000, 3))
    z = np.random.default_rng(2).standard_normal((200_000, 7))
    spread = execution_errors(dv, z, errors).std(axis=0)
    across = math.hypot(errors.fixed_km_s, errors.pointing_rad * 0.05)
    along = math.hypot(errors.fixed_km_s, errors.proportional * 0.05)
    assert spread == pytest.approx([across, across, along], rel=0.01)


def test_a_delivery_the_matrix_does_not_see_is_said(field, made, known):
    study, draws = make_study(), draws_of(1, 5, 300)
    linear = dispersed(study, field, made, known, draws, full=False)
    full = dispersed(study, field, made, known, draws, full=True)
    assert dispersion_cautions([FlownProbe(made, known, linear, full)]) == []
    wide = replace(full, miss_km=1.5 * full.miss_km)
    (said,) = dispersion_cautions([FlownProbe(made, known, linear, wide)])
    assert said.startswith("probe 0 is delivered to ")
    # a target of which little is known along the motion: seen 3.5 times the matrix's
    axes = b_plane_axes(made.v_rel_km_s)[0]
    vague = replace(known, target_cov_km2=axes.T @ np.diag([2e4**2, 500.0**2, 500.0**2]) @ axes)
    flown = [dispersed(study, field, made, vague, draws, full=kind) for kind in (False, True)]
    assert flown[1].sigma_km > 1.5 * flown[0].sigma_km


def test_the_dates_flown_are_those_that_are_stored(field, made, known):
    study, shift_s = make_study(), made.encounter_tdb_s - made.arc.encounter_tdb_s
    # dates no study would plan: what is flown is read, not worked out again
    stored = (
        (made.arc.burn_tdb_s + 3.5e5, AFTER_BURN),
        (made.arc.encounter_tdb_s - 1.7e6, BEFORE_ENCOUNTER),
        (made.arc.encounter_tdb_s - 9.1e4, IN_SIGHT),
    )
    own = replace(known, corrections=stored)
    found = disperse(study, field, made, known=own, full=False, draws=draws_of(1, 5, 50))
    assert abs(shift_s) > 1.0  # refinement has moved the encounter, or nothing is seen here
    assert found.corrections_s == (
        (stored[0][0], AFTER_BURN),
        (stored[1][0] + shift_s, BEFORE_ENCOUNTER),
        (stored[2][0] + shift_s, IN_SIGHT),
    )
    assert found.relies_on_sight
    ground = replace(known, corrections=stored[:2])
    found = disperse(study, field, made, known=ground, full=False, draws=draws_of(1, 5, 50))
    assert not found.relies_on_sight
    assert not found.seen.any()


@pytest.mark.parametrize("full", [False, True])
def test_a_sample_that_cannot_pay_for_a_correction_in_sight_flies_without(field, made, known, full):
    study, draws = make_study(), draws_of(1, 5, 200)
    vague = replace(known, target_cov_km2=np.diag([400.0**2] * 3))
    rich = disperse(study, field, made, known=replace(vague, sight_limit_km_s=10.0), full=full, draws=draws)
    without = replace(vague, corrections=tuple(each for each in vague.corrections if each[1] != IN_SIGHT))
    ground = disperse(study, field, made, known=without, full=full, draws=draws)
    limit = float(np.median(rich.spent_km_s))
    found = disperse(study, field, made, known=replace(vague, sight_limit_km_s=limit), full=full, draws=draws)
    pays = rich.spent_km_s <= limit
    assert 0.4 < pays.mean() < 0.6
    # draws of the others are those of the ground corrections, which come first: the same numbers
    for name in ("miss_km", "spent_km_s"):
        mine = getattr(found, name)
        assert np.array_equal(mine[pays], getattr(rich, name)[pays])
        assert mine[~pays] == pytest.approx(getattr(ground, name)[~pays], rel=1e-6, abs=1e-9)
    assert np.array_equal(found.seen, rich.seen & pays)
    assert found.dv99_m_s < rich.dv99_m_s
    # what is planned is as affordable as before, whoever flies it
    assert np.array_equal(found.affordable, rich.affordable)
