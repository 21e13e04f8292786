"""Upkeep in the full field: mean elements before and after a pair of burns; its price against the averaged life's."""

import math

import numpy as np
import pytest

from swarm.encounter.orbit.insertion import Thruster
from swarm.encounter.orbit.mean_life import Upkeep, live
from swarm.encounter.orbit.osculating import mean_orbit, osculating_state
from swarm.encounter.orbit.upkeep_flown import from_node, keep_up
from targets.base.constants import DAY_S
from tests.helpers.lunar_orbits import BEGIN, TURN_S, about_moon, orbit

# A chemical thruster: a burn takes seconds.
STRONG = Thruster(14.0, 230.0, 5.0)


@pytest.fixture(scope="module", params=[(60.0, 0.0), (100.0, 0.04)], ids=["round", "0.04"])
def kept(request):
    """A month of a polar orbit and its upkeep, flown and averaged from one start."""
    height, e = request.param
    around = about_moon(34, 0.0)
    start = osculating_state(orbit(height, 90.0, e=e, argp_deg=270.0), 0.3, BEGIN, around)
    days = TURN_S / DAY_S + 2.0
    flown = keep_up((BEGIN, start), days, STRONG, around, turn_s=TURN_S, left_m_s=100.0)
    life = live(
        mean_orbit(start, BEGIN, around), BEGIN, days, around, turn_s=TURN_S, upkeep=Upkeep(dv_m_s=100.0)
    )
    return around, start, flown, life


def test_one_pair_turns_the_eccentricity_vector_back(kept):
    """To 3e-4, half a kilometre of height, counted from the node; the semi-major axis comes back to 0.2 km.

    The field moves it by 2e-5 in the revolution of the burns; waves of half a day and more, which the mean of one
    revolution keeps, are of 1e-4.
    """
    around, start, flown, _ = kept
    held = mean_orbit(start, BEGIN, around)
    assert len(flown.burns) == 2
    assert flown.note == ""
    (due,) = flown.turned
    last = flown.burns[-1]
    after = mean_orbit(last.after, last.end_tdb_s, around)
    left = np.subtract(from_node(after, last.end_tdb_s, around), from_node(held, BEGIN, around))
    assert np.hypot(*left) < 3e-4 < 0.3 * due
    assert after.a_km == pytest.approx(held.a_km, abs=0.2)


def test_it_costs_what_the_averaged_life_charges(kept):
    """v |de|/2, by the flown |de| to a twentieth; by the averaged one, which is another path, to a tenth."""
    around, _, flown, life = kept
    speed = 1e3 * math.sqrt(around.field.gm_km3_s2 / life.a_km)
    assert flown.spent_m_s == pytest.approx(0.5 * speed * flown.turned[0], rel=0.05)
    assert flown.spent_m_s == pytest.approx(float(life.spent_m_s[-1]), rel=0.1)


def test_without_upkeep_there_are_no_burns_and_the_orbit_sinks(kept):
    around, start, flown, _ = kept
    alone = keep_up((BEGIN, start), flown.days, STRONG, around, turn_s=math.inf, left_m_s=100.0)
    assert alone.burns == ()
    (one,) = alone.coasts
    after = one.tdb_s[-1] - DAY_S
    sunk, held = (
        np.concatenate([c.low_km[c.low_tdb_s > after] for c in way.coasts]).min() for way in (alone, flown)
    )
    assert held > sunk + 0.5


def test_a_tank_that_is_nearly_empty_ends_it(kept):
    around, start, flown, _ = kept
    short = keep_up((BEGIN, start), flown.days, STRONG, around, turn_s=TURN_S, left_m_s=0.1 * flown.spent_m_s)
    assert short.burns == ()
    assert short.note == "its tank does not last for this upkeep"
