"""Averages against the field flown, where the parent moves an orbit little in a revolution and where much."""

import math

import numpy as np
import pytest

from swarm.encounter.orbit.full_field import fly
from swarm.encounter.orbit.mean_life import MeanOrbit, live
from swarm.encounter.orbit.orbit_asked import field_of_body
from swarm.encounter.orbit.orbit_cautions import GROWTH_MOST, growth_a_revolution, orbit_cautions
from swarm.encounter.orbit.osculating import mean_orbit, osculating_state
from swarm.encounter.orbit.surroundings import surroundings_of, turn_s_of
from swarm.study.sections.approach import ApproachSettings
from targets.base.constants import DAY_S
from targets.gravity.harmonic_field import gravity_of
from targets.masses.massive import mass_named
from targets.masses.rotation import body_axes
from targets.masses.where import Ephemeris
from tests.helpers.small_cases import make_study

BEGIN = 1.0e9


def wrong_by(name, height_km, days):
    """What the average moves the eccentricity of a polar orbit by is wrong by, as a share of it, at the end."""
    body, ephemeris = mass_named(name), Ephemeris()
    span = BEGIN - 3.0 * DAY_S, BEGIN + (days + 3.0) * DAY_S
    around = surroundings_of(body, gravity_of(body), span, ground_km=-200.0, ephemeris=ephemeris)
    axes = body_axes(body, np.array([BEGIN]))[0]
    start = MeanOrbit(body.radius_km + height_km, axes[0] * math.sqrt(1.0 - 0.005**2), 0.005 * axes[2])
    life = live(start, BEGIN, days, around, turn_s=turn_s_of(body))
    flown = fly(osculating_state(start, 0.0, BEGIN, around), BEGIN, days, around, every_s=days * DAY_S)
    there = mean_orbit(flown.states[-1], flown.tdb_s[-1], around)
    averaged = life.elements[-1, 3:]
    return np.linalg.norm(there.e - averaged) / np.linalg.norm(averaged - start.e)


@pytest.mark.parametrize(("name", "height_km", "days"), [("Europa", 100.0, 6.0), ("Io", 100.0, 6.0)])
def test_below_the_criterion_averages_are_right_to_a_twentieth(name, height_km, days):
    body = mass_named(name)
    assert growth_a_revolution(body, body.radius_km + height_km) < GROWTH_MOST
    assert wrong_by(name, height_km, days) < 0.05


def test_above_it_they_are_not():
    """Enceladus: a small mass by a large planet; a fifth of the movement is wrong after two e-foldings."""
    body = mass_named("Enceladus")
    assert growth_a_revolution(body, body.radius_km + 50.0) > GROWTH_MOST
    assert wrong_by("Enceladus", 50.0, 2.2) > 0.2


def test_the_growth_is_that_of_the_quadrupole():
    """Own check of the formula: at Europa, 100 km up, e grows by e in 12.6 d, at Enceladus, 50 km up, in 1.1 d."""
    for name, height_km, days in (("Europa", 100.0, 12.6), ("Enceladus", 50.0, 1.1)):
        body = mass_named(name)
        a = body.radius_km + height_km
        period_d = 2.0 * math.pi * math.sqrt(a**3 / body.gm_km3_s2) / DAY_S
        assert period_d / growth_a_revolution(body, a) == pytest.approx(days, rel=0.02)


@pytest.mark.parametrize(("name", "warned"), [("Enceladus", True), ("Moon", False)])
def test_a_study_of_such_orbits_is_warned(name, warned):
    ask = ApproachSettings(name="low", body=name, kind="orbit", periapsis_km=(50.0,), apoapsis_km=(60.0,))
    body = mass_named(name)
    said = orbit_cautions(ask, body, Ephemeris(), field_of_body(make_study(), body))
    assert any("averages over one are poor there" in each for each in said) == warned
