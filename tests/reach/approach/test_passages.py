"""Passages of the mothership: planets and moons of a path that is made to pass them."""

import numpy as np
import pytest

from swarm.reach.approach.needs import low_pass_needs
from swarm.reach.approach.passage import Meeting, nearest, passages
from targets.base.constants import DAY_S, GM_SUN_KM3_S2
from targets.ephemeris.planets import sample_planets
from targets.masses.massive import mass_named
from targets.masses.where import Ephemeris
from targets.motion.twobody import drift
from tests.helpers.tours import MET_S


@pytest.fixture(scope="module")
def straight():
    """A straight heliocentric path that passes Europa at 5000 km on a known date, 3 km/s north of it."""
    ephemeris = Ephemeris()
    europa = ephemeris.about_sun(mass_named("Europa"), np.array([MET_S]))[0]
    place, velocity = np.add(europa[:3], (5000.0, 0.0, 0.0)), np.add(europa[3:], (0.0, 1.0, 5.0))

    def states(t):
        return np.hstack([place + np.outer(t - MET_S, velocity), np.tile(velocity, (len(t), 1))])

    span = (MET_S - 200.0 * DAY_S, MET_S + 100.0 * DAY_S)
    return states, span, sample_planets(*span), ephemeris


def test_a_moon_and_its_planet_are_passed(straight):
    states, span, planets, ephemeris = straight
    found = passages(states, span, planets=planets, ephemeris=ephemeris)
    europa = [each for each in found if each.body.name == "Europa"]
    assert len(europa) == 1
    assert europa[0].closest_tdb_s == pytest.approx(MET_S, abs=400.0)
    assert europa[0].distance_km == pytest.approx(5000.0, rel=0.02)
    speed2 = 26.0 - 2.0 * mass_named("Europa").gm_km3_s2 / europa[0].distance_km
    assert np.linalg.norm(europa[0].v_inf_km_s) == pytest.approx(np.sqrt(speed2), rel=0.02)
    assert [each.body.name for each in found if each.body.parent == "Sun"] == ["Jupiter"]
    jupiter = next(each for each in found if each.body.name == "Jupiter")
    assert jupiter.distance_km < 1.1 * mass_named("Europa").distance_km
    assert found == sorted(found, key=lambda each: each.closest_tdb_s)


def test_a_leg_that_meets_a_planet_is_one_passage(straight):
    """Where a two-body leg meets the centre, the path near it is no path: the excess velocity stands for it."""
    _, span, planets, ephemeris = straight
    venus = mass_named("Venus")
    met = ephemeris.about_sun(venus, np.array([MET_S]))[0]
    v_inf = np.array([3.0, -2.0, 1.0])

    def states(t):
        velocity = met[3:] + v_inf
        return np.hstack([met[:3] + np.outer(t - MET_S, velocity), np.tile(velocity, (len(t), 1))])

    found = passages(
        states, span, planets=planets, ephemeris=ephemeris, meetings=[Meeting(venus, MET_S, v_inf)]
    )
    assert [each.body.name for each in found] == ["Venus"]
    assert found[0].v_inf_km_s == pytest.approx(v_inf)
    assert nearest(venus, states, span, planets=planets).distance_km < 3e5


def test_a_later_burn_costs_more(straight):
    """A straight line's |dB|/t, roughly: ten times later is about ten times dearer, for a leg that meets Venus."""
    _, span, planets, ephemeris = straight
    venus = mass_named("Venus")
    met = ephemeris.about_sun(venus, np.array([MET_S]))[0]

    def states(t):
        start = np.add(met, (0.0, 0.0, 0.0, 3.0, -2.0, 1.0))
        return np.array([drift(*start, GM_SUN_KM3_S2, float(each - MET_S)) for each in t])

    passage = passages(
        states,
        span,
        planets=planets,
        ephemeris=ephemeris,
        meetings=[Meeting(venus, MET_S, np.array([3.0, -2.0, 1.0]))],
    )[0]
    needs = low_pass_needs(
        passage, states, altitude_km=400.0, days_before=(40.0, 4.0), first_tdb_s=span[0], ephemeris=ephemeris
    )
    assert [need.why_not for need in needs] == ["", ""]
    aim = 6451.8 * np.sqrt(1.0 + 2.0 * venus.gm_km3_s2 / (6451.8 * 14.0))
    for need in needs:
        assert need.burn_m_s == pytest.approx(1e3 * aim / (need.days_before * DAY_S), rel=0.4)
    assert needs[1].burn_m_s > 5.0 * needs[0].burn_m_s
    assert not low_pass_needs(
        passage,
        states,
        altitude_km=400.0,
        days_before=(40.0,),
        first_tdb_s=MET_S - DAY_S,
        ephemeris=ephemeris,
    )
