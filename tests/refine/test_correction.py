"""The burn that hits the aim point, and arcs that cannot be refined."""

from dataclasses import replace

import numpy as np
import pytest

from swarm.reach.arcs.bplane import b_plane_axes, b_vector_km
from swarm.refine.correct import NotRefined, Refined, inside_influence, refine_arc, spring_direction
from swarm.refine.nbody import make_field, moved, place
from targets.base.constants import DAY_S
from tests.helpers.refined_arc import make_study


def test_the_aim_point_is_hit(made, arc):
    assert isinstance(made, Refined)
    assert made.miss_km < 1.0  # asked
    assert made.miss_km < 1e-3
    assert made.b_km == pytest.approx(arc.aim_km, abs=1e-3)


def test_flown_again_the_probe_passes_there(field, made):
    """From the release on, leg by leg, by hand."""
    arc = made.arc
    state = arc.mothership + np.concatenate([np.zeros(3), made.spring_km_s])
    state = moved(field, state, arc.release_tdb_s, arc.burn_tdb_s, beta=made.beta[0])
    state[3:] += made.burn_km_s
    state = moved(field, state, arc.burn_tdb_s, made.encounter_tdb_s, beta=made.beta[1])
    target = moved(field, arc.target_state, arc.target_epoch_s, made.encounter_tdb_s)
    relative = state - target
    assert abs(relative[:3] @ relative[3:]) / np.linalg.norm(relative[3:]) < 1e-2  # closest there
    assert b_vector_km(relative[:3], relative[3:])[0] == pytest.approx(arc.aim_km, abs=0.01)
    assert np.linalg.norm(relative[:3]) == pytest.approx(500.0, abs=0.02)


def test_no_smaller_burn_arrives_nearby(field, made):
    """Time is free: changing the burn along the direction that keeps B makes it longer."""
    arc, beta = made.arc, made.beta[1]

    def b_of(burn):
        state = made.before_burn + np.concatenate([np.zeros(3), burn])
        x = moved(field, state, arc.burn_tdb_s, made.encounter_tdb_s, beta=beta) - made.target
        return b_plane_axes(x[3:])[0][1:] @ x[:3]

    slope = np.column_stack(
        [(b_of(made.burn_km_s + d) - b_of(made.burn_km_s - d)) / 2e-6 for d in 1e-6 * np.eye(3)]
    )
    free = np.linalg.svd(slope)[2][2]
    assert abs(free @ made.burn_km_s) < 1e-3 * np.linalg.norm(made.burn_km_s)


def test_a_finite_burn_is_reported(made):
    assert made.burn_s == pytest.approx(12.0 * 1e3 * np.linalg.norm(made.burn_km_s) / 0.5, rel=0.02)
    assert 0.5 * made.burn_s < made.lead_s < 0.52 * made.burn_s
    assert made.finite_miss_km < 1.0


def test_the_spring_stays_in_the_release_cone():
    sun, burn = np.array([1.0, 0.0, 0.0]), np.array([1.0, 0.1, 0.0])
    assert spring_direction(burn, sun, (0.0, 180.0)) == pytest.approx(burn / np.linalg.norm(burn))
    turned = spring_direction(burn, sun, (30.0, 150.0))
    assert np.degrees(np.arccos(turned @ sun)) == pytest.approx(30.0)
    assert turned[1] > 0.0


def test_a_target_near_a_planet_is_named(field, arc):
    earth = place(field, "Earth", arc.encounter_tdb_s)[0]
    near = earth + np.array([5e5, 0.0, 0.0, 3.0, 0.0, 0.0])
    assert inside_influence(field, near, arc.encounter_tdb_s) == "Earth"
    assert inside_influence(field, near + np.array([1e6, 0, 0, 0, 0, 0]), arc.encounter_tdb_s) is None
    there = replace(arc, target_state=near, target_epoch_s=arc.encounter_tdb_s)
    found = refine_arc(make_study(), field, there)
    assert isinstance(found, NotRefined)
    assert "sphere of influence of Earth" in found.reason


def test_a_hopeless_arc_says_why(field, arc):
    far = replace(arc, target_state=arc.target_state * np.array([-1, -1, -1, 1, 1, 1]))
    found = refine_arc(make_study(), field, far)
    assert isinstance(found, NotRefined)
    assert found.reason.startswith("no burn was found: ")


def test_a_burn_that_the_tanks_do_not_hold_is_not_taken(field, arc):
    found = refine_arc(make_study(probe={"burn_limit_m_s": 5.0}), field, arc)
    assert isinstance(found, NotRefined)
    assert "more than" in found.reason
    assert "the probe carries" in found.reason


def test_a_date_that_runs_away_is_not_called_an_epoch_outside_the_kernel(arc):
    # the same hopeless arc, with forces for little more than its own dates
    narrow = make_field(arc.target_epoch_s, arc.encounter_tdb_s + 0.5 * DAY_S)
    far = replace(arc, target_state=arc.target_state * np.array([-1, -1, -1, 1, 1, 1]))
    found = refine_arc(make_study(), narrow, far)
    assert isinstance(found, NotRefined)
    assert found.reason.startswith("no burn was found: the encounter's date runs away")


def test_an_epoch_outside_the_field_is_named(field, arc):
    late = replace(arc, encounter_tdb_s=field.last_tdb_s + 1.0)
    assert "outside" in refine_arc(make_study(), field, late).reason
