"""Dispersion: linear against full force, and against the delivery model where it is linear."""

import math

import numpy as np
import pytest
from scipy.stats import chi2

from swarm.arcs.bplane import b_plane_axes
from swarm.delivery import errors_of, linear_covariance, plan_corrections, sight_s
from swarm.refine.dispersion import Draws, disperse, draws_of, execution_errors
from tests.refine.conftest import make_study

COUNT = 10_000
# The same spread of the spring on all axes, as the delivery model has it; no tail beyond the camera's sight.
SAME = {"spring_fraction": 0.05, "spring_direction_deg": math.degrees(0.05)}


def model_covariance(study, made, known):
    """(TT, RR, TR) of the delivery model, two-body, for this arc."""
    from swarm.delivery import fill_start

    errors, axes = errors_of(study), b_plane_axes(made.v_rel_km_s)[0]
    speed = float(np.linalg.norm(made.v_rel_km_s))
    cruise = made.encounter_tdb_s - made.arc.burn_tdb_s
    seen = sight_s(known.detect_km, speed, known.before_km, known.time_s * speed)
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


def second_order(found, axes):
    """(n, 2) km: corrections are computed for the nominal date, and a sample that is late is carried on by its last
    one for longer: late_s times that correction across the motion. Nothing corrects it afterwards.
    """
    return found.late_s[:, None] * (found.last_km_s @ axes[1:].T)


def test_full_force_lands_where_the_matrix_says(field, made, known):
    study, draws, axes = make_study(), draws_of(1, 5, 1000), b_plane_axes(made.v_rel_km_s)[0]
    linear = dispersed(study, field, made, known, draws, full=False)
    full = dispersed(study, field, made, known, draws, full=True)
    apart = np.linalg.norm(full.miss_km - linear.miss_km, axis=1)
    rest = np.linalg.norm(full.miss_km - linear.miss_km - second_order(full, axes), axis=1)
    # what stays is that B's axes turn with each sample's own velocity: 500 km to the aim point times 3e-5 rad
    assert np.median(rest) < 0.01 * linear.sigma_km  # seen: 0.0075, 17 m
    assert np.quantile(rest, 0.99) < 0.06 * linear.sigma_km  # seen: 0.04
    assert np.median(apart) > 10.0 * np.median(rest)  # the second order matters here; seen: 27 times
    corrected = linear.miss_km + second_order(full, axes)
    assert np.sqrt(np.linalg.eigvalsh(corrected.T @ corrected / 1000)[-1]) == pytest.approx(full.sigma_km, rel=2e-3)
    assert full.spent_km_s == pytest.approx(linear.spent_km_s, rel=0.05, abs=1e-5)


def test_full_force_leaves_the_matrix_with_the_square_of_the_errors(field, made, known):
    """Eight times smaller errors: 64 times less between them, down to the turn of B's axes, which is linear."""
    study, draws = make_study(), draws_of(1, 5, 200)

    def even(share):
        return sum(differences(sign * share) for sign in (1.0, -1.0)) / 2.0

    def differences(share):
        some = Draws(*(share * each for each in (draws.start, draws.burn, draws.target, draws.corrections)))
        flown = [dispersed(study, field, made, known, some, full=full) for full in (True, False)]
        return flown[0].miss_km - flown[1].miss_km

    whole, small = even(1.0), even(0.125)
    apart = np.linalg.norm(64.0 * small - whole, axis=1)
    assert np.median(apart) < 0.01 * np.median(np.linalg.norm(whole, axis=1))  # seen: 0.001


def test_full_force_is_the_matrix_where_errors_are_small(field, made, known):
    study, draws = make_study(), draws_of(1, 5, 200)
    some = Draws(*(0.02 * each for each in (draws.start, draws.burn, draws.target, draws.corrections)))
    linear = dispersed(study, field, made, known, some, full=False)
    full = dispersed(study, field, made, known, some, full=True)
    apart = np.linalg.norm(full.miss_km - linear.miss_km, axis=1)
    assert np.median(apart) < 0.01 * linear.sigma_km  # seen: 0.0076
    assert full.sigma_km == pytest.approx(linear.sigma_km, rel=1e-3)  # seen: 1.4e-4


def dispersed(study, field, made, known, draws, *, full):
    return disperse(study, field, made, known=known, full=full, draws=draws)


def test_a_burn_without_errors_and_a_known_carrier_hits(field, made, known):
    from dataclasses import replace

    study = make_study(
        probe={"execution_fixed_m_s": 0.0, "execution_proportional": 0.0, "execution_pointing_mrad": 0.0},
        delivery={"spring_fraction": 0.0, "spring_direction_deg": 0.0},
    )
    blind = replace(known, target_cov_km2=np.zeros((3, 3)), detect_km=1e5)
    found = disperse(study, field, made, known=blind, full=True, draws=draws_of(1, 5, 20))
    spoilt = disperse(make_study(), field, made, known=blind, full=True, draws=draws_of(1, 5, 20))
    assert np.median(found.spent_km_s) < np.median(spoilt.spent_km_s)


def test_what_the_probe_cannot_pay_is_not_delivered(field, made, known):
    from dataclasses import replace

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
