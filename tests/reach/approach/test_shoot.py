"""Altitude asked is altitude flown, in an integration that shares no code; what patched conics would have made."""

import numpy as np
import pytest

from swarm.reach.approach.about import index_of, without_planet
from swarm.reach.approach.field import OK, fly_to_closest, move_to, relative_to
from swarm.reach.approach.goals import Frame, aim_of
from swarm.reach.approach.shoot import BOUND, HIT, NOT_MET, shoot
from swarm.reach.arcs.bplane import b_plane_axes
from targets.base.constants import DAY_S
from targets.ephemeris import spice
from targets.masses.massive import mass_named
from tests.helpers.flown_about_planets import closest_approach
from tests.helpers.outside import Assist
from tests.helpers.tours import MET_S, field_of, mothership_before

DAYS = 3.0


def shots(name, field, state, altitudes, clocks, *, days=DAYS, gate_km=None, window_days=0.5):
    body = mass_named(name)
    pairs = [(h, c) for h in altitudes for c in clocks]
    n = len(pairs)
    goals = np.array([(body.radius_km + h, np.radians(c)) for h, c in pairs])
    return goals, shoot(
        np.tile(state, (n, 1)), np.full(n, MET_S - days * DAY_S), targets=np.full(n, index_of(body)),
        gm_km3_s2=np.full(n, body.gm_km3_s2),
        windows_s=np.tile([MET_S - window_days * DAY_S, MET_S + window_days * DAY_S], (n, 1)),
        gates_km=np.full(n, body.influence_km if gate_km is None else gate_km), goals=goals, field=field,
        covered_s=(MET_S - 20.0 * DAY_S, MET_S + 5.0 * DAY_S),
    )  # fmt: skip


def frame_at(found, n):
    """The B-plane of a row, from its columns."""
    s = found.s[n]
    axes = b_plane_axes(s)[0]
    return Frame(
        tuple(axes[1]), tuple(axes[2]), tuple(s), float(found.v_inf_km_s[n]), mass_named("Europa").gm_km3_s2
    )


@pytest.fixture(scope="module")
def europa():
    field = field_of("Europa")
    return field, mothership_before("Europa", field, days=DAYS)


def test_altitude_asked_is_altitude_flown(europa):
    """Against scipy's DOP853 with a plain right-hand side (tests.helpers.flown_about_planets): 0.1 km."""
    field, state = europa
    goals, found = shots("Europa", field, state, (25.0, 100.0), (40.0, 160.0, 280.0))
    assert (found.status == OK).all()
    body, planet = mass_named("Europa"), mass_named("Jupiter")
    for n in (0, 4):
        start = state + np.concatenate([np.zeros(3), found.burn_km_s[n]])
        begin = MET_S - DAYS * DAY_S
        distance, epoch, met = closest_approach(start, begin, begin + 4.0 * DAY_S, planet, body)
        assert distance == pytest.approx(goals[n, 0], abs=0.1)
        assert epoch == pytest.approx(found.closest_s[n], abs=0.1)
        b_t, b_r = aim_of(met, frame_at(found, n))
        assert np.degrees(np.arctan2(b_r, b_t)) % 360.0 == pytest.approx(np.degrees(goals[n, 1]), abs=0.01)


def test_a_pass_aimed_without_the_planet_is_flown_elsewhere(europa):
    """Mutation: with the planet's own pull off from the sphere of influence inwards, 25 km become something else.

    The design saw 1.7 to 51.7 km for a tour of Europa. Rows are flown to the sphere in the full field and on from there
    with the planet switched off, as a conic about the moon would be: the periapsis moves by more than 20 km.
    """
    field, state = europa
    body = mass_named("Europa")
    goals, found = shots("Europa", field, state, (25.0,), (0.0, 90.0, 180.0, 270.0))
    moved = []
    for n in range(4):
        y = state + np.concatenate([np.zeros(3), found.burn_km_s[n]])
        window = (MET_S - DAY_S, MET_S + DAY_S)
        met = fly_to_closest(y, MET_S - DAYS * DAY_S, index_of(body), window, body.influence_km, field)
        assert met.status == OK
        met = fly_to_closest(y, met.epoch_s, index_of(body), window, 0.0, without_planet(field))
        assert met.status == OK
        nearest = np.linalg.norm(relative_to(index_of(body), met.epoch_s, y, field)[:3])
        moved.append(abs(nearest - goals[n, 0]))
    assert max(moved) > 20.0


def test_the_burn_is_the_shortest_that_does_it(europa):
    """A burn moved along the direction that leaves the aim alone is longer: least norm to first order."""
    field, state = europa
    _, found = shots("Europa", field, state, (100.0,), (30.0, 200.0))
    for n in range(2):
        null = np.cross(found.by_state[n, 0, 3:], found.by_state[n, 1, 3:])
        null /= np.linalg.norm(null)
        assert abs(found.burn_km_s[n] @ null) < 1e-3 * np.linalg.norm(found.burn_km_s[n])


def test_the_map_of_the_burn_is_the_flown_one(europa):
    """d(B) by the velocity at the burn, against two flights 1 mm/s apart.

    To 1e-3: the aim is taken at closest approach, whose time moves with the burn, and the planet moves it in between.
    """
    field, state = europa
    body = mass_named("Europa")
    _, found = shots("Europa", field, state, (100.0,), (30.0,))
    for axis in range(3):
        sides = []
        for sign in (1.0, -1.0):
            y = state.copy()
            y[3:] += found.burn_km_s[0]
            y[3 + axis] += sign * 1e-6
            window = (MET_S - DAY_S, MET_S + DAY_S)
            met = fly_to_closest(y, MET_S - DAYS * DAY_S, index_of(body), window, 0.0, field)
            relative = np.array(relative_to(index_of(body), met.epoch_s, y, field))
            sides.append(aim_of(relative, frame_at(found, 0)))
        slope = (np.array(sides[0]) - np.array(sides[1])) / 2e-6
        assert found.by_state[0, :, 3 + axis] == pytest.approx(slope, rel=1e-3, abs=50.0)


def test_there_and_back_in_the_field(europa):
    field, state = europa
    y = state.copy()
    assert move_to(y, MET_S - DAYS * DAY_S, MET_S - 0.6 * DAY_S, field) == OK
    assert move_to(y, MET_S - 0.6 * DAY_S, MET_S - DAYS * DAY_S, field) == OK
    assert np.abs(y - state)[:3].max() < 1e-3


@pytest.mark.parametrize(
    ("name", "v_inf", "altitude"),
    [
        ("Jupiter", (4.0, 3.0, 1.0), 20_000.0),
        ("Venus", (3.0, 2.0, -1.0), 400.0),
        ("Moon", (0.8, 0.5, 0.3), 50.0),
    ],
)
def test_planets_and_the_moon(name, v_inf, altitude):
    """The unburned path comes near head on; the own integration flies what was asked to 0.1 km."""
    days = 12.0
    field = field_of(name)
    state = mothership_before(
        name, field, days=days, v_inf=v_inf, away_km=(0.0, 0.0, 6.0 * mass_named(name).radius_km)
    )
    goals, found = shots(name, field, state, (altitude,), (10.0, 130.0), days=days, window_days=4.0)
    assert (found.status == OK).all()
    body = mass_named(name)
    planet = mass_named("Earth") if name == "Moon" else body
    begin = MET_S - days * DAY_S
    start = state + np.concatenate([np.zeros(3), found.burn_km_s[1]])
    distance, _, _ = closest_approach(start, begin, begin + (days + 4.0) * DAY_S, planet, body)
    assert distance == pytest.approx(goals[1, 0], abs=0.1)


def test_a_path_that_stays_away_says_so(europa):
    field, state = europa
    late = state.copy()
    late[3:] *= -1.0
    _, found = shots("Europa", field, late, (100.0,), (0.0,), window_days=0.05)
    assert found.status[0] in (NOT_MET, HIT, BOUND)
    assert np.isnan(found.burn_km_s).all()


def test_the_variational_equations_are_those_of_the_motion():
    """Low over Saturn, where J2 and J4 count: two hours against paths started 10 m and 1 cm/s apart."""
    field = field_of("Saturn", days=5.0)
    radius = 68_000.0
    start = np.array([0.6 * radius, 0.5 * radius, 0.62 * radius, -15.0, 19.0, 3.0])
    y = np.concatenate([start, np.eye(6).ravel()])
    assert move_to(y, MET_S - DAY_S, MET_S - DAY_S + 7200.0, field) == OK
    for axis in range(6):
        ends = []
        for sign in (1.0, -1.0):
            moved = start.copy()
            moved[axis] += sign * (1e-2 if axis < 3 else 1e-5)
            assert move_to(moved, MET_S - DAY_S, MET_S - DAY_S + 7200.0, field) == OK
            ends.append(moved)
        slope = (ends[0] - ends[1]) / (2e-2 if axis < 3 else 2e-5)
        got = y[6:].reshape(6, 6)[:, axis]
        assert got == pytest.approx(slope, rel=1e-5, abs=1e-5 * np.abs(slope).max())


# Of a path so near to the Earth and the Moon, heliocentric places are known to 1e-5 m: at the integrator's own 1e-9 its
# steps shrink to a second and it takes a minute, to no other end (a metre) than in 60 steps at this.
_NEAR_A_MOON = 1e-6


def drawn_passes(name, field, state, *, days, count):
    """Goals, states and dates before the burns, and what was shot: heights, clock angles and releases drawn."""
    body, rng = mass_named(name), np.random.default_rng(16)
    begin = MET_S - days * DAY_S
    goals = np.column_stack(
        [body.radius_km + rng.uniform(15.0, 400.0, count), rng.uniform(0.0, 2.0 * np.pi, count)]
    )
    dates = MET_S - rng.uniform(3.0, days, count) * DAY_S
    states = np.tile(state, (count, 1))
    for y, date in zip(states, dates, strict=True):
        assert move_to(y, begin, date, field) == OK
    found = shoot(
        states, dates, targets=np.full(count, index_of(body)), gm_km3_s2=np.full(count, body.gm_km3_s2),
        windows_s=np.tile([MET_S - 2.5 * DAY_S, MET_S + 4.0 * DAY_S], (count, 1)),
        gates_km=np.full(count, body.influence_km), goals=goals, field=field,
        covered_s=(begin - DAY_S, MET_S + 5.0 * DAY_S),
    )  # fmt: skip
    return goals, states, dates, found


@pytest.mark.crosscheck
def test_a_hundred_passes_of_the_moon_by_an_outside_integrator():
    """assist on DE440: Sun, planets, Moon, relativity. It knows no figure of the Moon: J2 is off here, too. 0.1 km.

    A hundred rows, heights of 15 to 400 km on all sides, burnt for 3 to 12 days before: the largest difference seen is
    0.006 km.
    """
    days, count = 12.0, 100
    field = field_of("Moon")
    field = field._replace(j2=0.0, j4=0.0, moon_j2=0.0 * field.moon_j2)
    state = mothership_before("Moon", field, days=days, v_inf=(0.8, 0.5, 0.3), away_km=(0.0, 0.0, 12_000.0))
    goals, states, dates, found = drawn_passes("Moon", field, state, days=days, count=count)
    assert (found.status == OK).all()
    starts = states + spice.sample(399, dates)
    starts[:, 3:] += found.burn_km_s
    moon, outside = spice.sample(301, found.closest_s), Assist()
    relative = np.array([
        outside.path(starts[n], dates[n], found.closest_s[n : n + 1], epsilon=_NEAR_A_MOON)[0] for n in range(count)
    ]) - moon  # fmt: skip
    assert np.linalg.norm(relative[:, :3], axis=1) == pytest.approx(goals[:, 0], abs=0.1)
    # and it is the closest: the range turns within a tenth of a second
    turn_s = np.einsum("ni,ni->n", relative[:, :3], relative[:, 3:]) / np.sum(relative[:, 3:] ** 2, axis=1)
    assert np.abs(turn_s).max() < 0.1


@pytest.mark.slow
def test_a_hundred_passes_of_europa(europa):
    """As the first test of this file, all heights and sides: 0.1 km."""
    field, state = europa
    goals, found = shots("Europa", field, state, (25.0, 50.0, 100.0, 200.0), np.arange(0.0, 360.0, 14.4))
    assert len(goals) == 100
    assert (found.status == OK).all()
    body, planet, begin = mass_named("Europa"), mass_named("Jupiter"), MET_S - DAYS * DAY_S
    for n in range(100):
        start = state + np.concatenate([np.zeros(3), found.burn_km_s[n]])
        distance, _, _ = closest_approach(start, begin, begin + 4.0 * DAY_S, planet, body)
        assert distance == pytest.approx(goals[n, 0], abs=0.1)
