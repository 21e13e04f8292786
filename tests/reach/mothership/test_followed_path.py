"""A path that is followed as given: nodes close enough, planets and manoeuvres cut out."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from swarm.reach.mothership.flybys import PLANETS, planet_named
from swarm.reach.mothership.followed import HALVINGS_MAX, Piece, follow, sampled_path
from swarm.reach.mothership.path import NODE_S
from swarm.reach.mothership.sources import mothership_of
from targets.base.constants import DAY_S, GM_EARTH_KM3_S2, GM_SUN_KM3_S2
from targets.base.errors import InputError
from targets.ephemeris import spice
from tests.helpers.mothership_files import FIREWEED, Block, write_oem, write_spk
from tests.helpers.quiet_motherships import END_TDB_S, START_TDB_S, study_of

CLOSEST_S = START_TDB_S + 150.0 * DAY_S


def straight_past(planet, *, miss_km, speed_km_s, at_tdb_s=CLOSEST_S):
    """States of a mothership that passes a planet on a straight line: geometry with an exact answer."""
    sideways, along = np.array([0.6, 0.0, 0.8]), np.array([0.8, 0.0, -0.6])

    def states(epochs_tdb_s):
        elapsed = np.asarray(epochs_tdb_s)[:, None] - at_tdb_s
        position = miss_km * sideways + speed_km_s * along * elapsed
        velocity = np.broadcast_to(speed_km_s * along, position.shape)
        return spice.sample(planet.spice_id, epochs_tdb_s) + np.hstack([position, velocity])

    return states


def one_piece(states):
    return [Piece(START_TDB_S, END_TDB_S, "the path", states)]


def cut(states, planet_table, tmp_path, first=START_TDB_S, last=END_TDB_S):
    return follow(
        one_piece(states),
        start_tdb_s=first,
        end_tdb_s=last,
        planets=planet_table,
        altitude_min_km=300.0,
        file=tmp_path,
    )


@pytest.mark.parametrize("name", ["Mercury", "Earth", "Mars"])
@pytest.mark.parametrize("speed_km_s", [6.0, 40.0])
def test_a_passage_is_cut_where_the_sphere_of_influence_is_crossed(tmp_path, planet_table, name, speed_km_s):
    planet = planet_named(name)
    miss_km = planet.radius_km + 5000.0
    states = straight_past(planet, miss_km=miss_km, speed_km_s=speed_km_s)
    # around the passage only: a straight line with the planet is no orbit of the Sun
    legs, flybys, notes = cut(
        states, planet_table, tmp_path, CLOSEST_S - 15.0 * DAY_S, CLOSEST_S + 15.0 * DAY_S
    )
    (flyby,) = flybys
    inside_s = np.sqrt(planet.influence_km**2 - miss_km**2) / speed_km_s
    assert flyby.body == name
    assert flyby.closest_tdb_s == pytest.approx(CLOSEST_S, abs=0.01)
    assert flyby.altitude_km == pytest.approx(5000.0, abs=1e-3)
    assert flyby.speed_km_s == pytest.approx(speed_km_s, rel=1e-9)
    assert flyby.enter_tdb_s == pytest.approx(CLOSEST_S - inside_s, abs=0.1)
    assert flyby.leave_tdb_s == pytest.approx(CLOSEST_S + inside_s, abs=0.1)
    assert len(legs) == 2
    assert legs[0].epochs_tdb_s[-1] == pytest.approx(flyby.enter_tdb_s, abs=1e-3)
    assert legs[1].start_tdb_s == pytest.approx(flyby.leave_tdb_s, abs=1e-3)
    assert any(f"passes {name} at 5000 km" in note for note in notes)


def test_a_miss_of_the_sphere_is_no_passage(tmp_path, planet_table):
    earth = planet_named("Earth")
    for share, passages in ((1.001, 0), (0.999, 1)):
        states = straight_past(earth, miss_km=share * earth.influence_km, speed_km_s=12.0)
        legs, flybys, _ = cut(
            states, planet_table, tmp_path, CLOSEST_S - 10.0 * DAY_S, CLOSEST_S + 10.0 * DAY_S
        )
        assert (len(flybys), len(legs)) == (passages, 1 + passages)


@settings(max_examples=25, deadline=None)
@given(hours=st.floats(-24.0, 24.0), speed_km_s=st.floats(1.0, 60.0), share=st.floats(0.01, 0.9))
def test_no_passage_slips_between_the_grid(planet_table, hours, speed_km_s, share):
    mercury = planet_named("Mercury")
    at = CLOSEST_S + 3600.0 * hours
    states = straight_past(mercury, miss_km=share * mercury.influence_km, speed_km_s=speed_km_s, at_tdb_s=at)
    _, flybys, _ = cut(states, planet_table, "x", CLOSEST_S - 5.0 * DAY_S, CLOSEST_S + 5.0 * DAY_S)
    assert [flyby.body for flyby in flybys] == ["Mercury"]
    assert flybys[0].closest_tdb_s == pytest.approx(at, abs=1.0)


def test_a_study_that_begins_inside_a_sphere_begins_its_first_leg_outside(tmp_path, planet_table):
    states = straight_past(planet_named("Earth"), miss_km=20_000.0, speed_km_s=6.0)
    legs, flybys, _ = cut(states, planet_table, tmp_path, CLOSEST_S + 0.5 * DAY_S, CLOSEST_S + 20.0 * DAY_S)
    (flyby,) = flybys
    assert flyby.enter_tdb_s == flyby.closest_tdb_s == CLOSEST_S + 0.5 * DAY_S
    (leg,) = legs
    assert leg.start_tdb_s == pytest.approx(flyby.leave_tdb_s, abs=1e-3)


def test_a_path_that_never_leaves_a_sphere_is_refused(tmp_path, planet_table):
    states = straight_past(planet_named("Earth"), miss_km=200_000.0, speed_km_s=0.01)
    with pytest.raises(InputError, match="sphere of influence throughout"):
        cut(states, planet_table, tmp_path, CLOSEST_S - DAY_S, CLOSEST_S + DAY_S)


def test_every_planet_has_a_row_of_its_own():
    assert len({planet.row for planet in PLANETS}) == 8
    assert [planet.number for planet in PLANETS] == list(range(1, 9))


# --- nodes --------------------------------------------------------------------------------------------------


def test_half_way_between_nodes_the_source_is_reproduced(planet_table):
    """Close past the Earth's sphere of influence, where the spacing must shrink; looked at off the middles too."""
    from swarm.reach.mothership.path import Path
    from targets.motion.perturbed import march_nodes

    earth = spice.sample(399, np.array([START_TDB_S]))[0]
    state = earth + np.array([1.2e6, 2.0e5, 0.0, 5.0, 0.0, 1.0])
    count = 256 * 60 + 1
    step_s = NODE_S / 256.0
    nodes = march_nodes(state, START_TDB_S, step_s=step_s, count=count, planets=planet_table)
    fine = Path(START_TDB_S, step_s, nodes)
    last = START_TDB_S + 59.7 * DAY_S
    path, notes = sampled_path(fine.at, START_TDB_S, last)
    assert notes == []
    assert path.epochs_tdb_s[-1] == pytest.approx(last, abs=1e-4)
    middles = path.epochs_tdb_s[:-1] + 0.5 * path.step_s
    assert np.linalg.norm((path.at(middles) - fine.at(middles))[:, 3:], axis=1).max() < 1e-6
    anywhere = np.random.default_rng(1).uniform(START_TDB_S, last, 2000)
    assert np.linalg.norm((path.at(anywhere) - fine.at(anywhere))[:, :3], axis=1).max() < 1.0
    coarse = Path(START_TDB_S, NODE_S, fine.at(START_TDB_S + NODE_S * np.arange(60)))
    inside = anywhere[anywhere < START_TDB_S + 59.0 * DAY_S]
    assert np.linalg.norm((coarse.at(inside) - fine.at(inside))[:, :3], axis=1).max() > 1.0  # the check bites


def test_a_source_too_rough_is_said_to_be(planet_table):
    from tests.helpers.quiet_motherships import orbit

    def rough(epochs_tdb_s):
        states = orbit(epochs_tdb_s)
        states[:, :3] += 30.0 * np.sin(np.asarray(epochs_tdb_s)[:, None] / 100.0)
        return states

    path, (note,) = sampled_path(rough, START_TDB_S, START_TDB_S + 20.0 * DAY_S)
    assert "the mothership's leg is known to" in note
    assert path.step_s >= NODE_S / 2**HALVINGS_MAX


# --- whole paths --------------------------------------------------------------------------------------------

PERIGEE_KM, V_INF_KM_S = 6378.1366 + 2000.0, 6.0
PERIGEE_SPEED_KM_S = np.sqrt(V_INF_KM_S**2 + 2.0 * GM_EARTH_KM3_S2 / PERIGEE_KM)


def flyby_states(times_from_perigee_s):
    """States around a perigee at 2000 km altitude under Sun and Earth, by scipy; the Earth's path is DE440's."""
    begin = spice.sample(399, np.array([CLOSEST_S]))[0]
    begin += [PERIGEE_KM, 0, 0, 0, 0.8 * PERIGEE_SPEED_KM_S, 0.6 * PERIGEE_SPEED_KM_S]

    def rates(elapsed_s, state):
        earth = spice.sample(399, np.array([CLOSEST_S + elapsed_s]))[0, :3]
        to_earth = earth - state[:3]
        pull = -GM_SUN_KM3_S2 * state[:3] / np.linalg.norm(state[:3]) ** 3
        pull += GM_EARTH_KM3_S2 * (
            to_earth / np.linalg.norm(to_earth) ** 3 - earth / np.linalg.norm(earth) ** 3
        )
        return np.concatenate([state[3:], pull])

    last = times_from_perigee_s[-1]
    solved = solve_ivp(
        rates,
        (0.0, last),
        begin,
        "DOP853",
        t_eval=times_from_perigee_s,
        rtol=1e-12,
        atol=[1e-4] * 3 + [1e-9] * 3,
    )
    return solved.y.T


def times_from_perigee():
    """Seconds to 60 days, at first every two minutes, then at a twentieth of the time elapsed, then daily."""
    times = [120.0]
    while times[-1] < 60.0 * DAY_S:
        times.append(times[-1] + min(max(120.0, 0.05 * times[-1]), DAY_S))
    return np.array(times)


@pytest.mark.parametrize("kind", ["oem", "spk"])
def test_a_flyby_of_the_earth_is_followed(tmp_path, planet_table, kind):
    """The passage is found, and both legs are the path that was written."""
    after = times_from_perigee()
    later, earlier = flyby_states(after), flyby_states(-after)
    perigee = spice.sample(399, np.array([CLOSEST_S]))
    perigee += [PERIGEE_KM, 0, 0, 0, 0.8 * PERIGEE_SPEED_KM_S, 0.6 * PERIGEE_SPEED_KM_S]
    epochs = np.concatenate([CLOSEST_S - after[::-1], [CLOSEST_S], CLOSEST_S + after])
    block = Block(epochs, np.concatenate([earlier[::-1], perigee, later]))
    if kind == "oem":
        write_oem(tmp_path, [block])
        given_by = {"kind": "oem", "file": "mothership.oem"}
    else:
        write_spk(tmp_path, [block])
        given_by = {"kind": "spk", "file": "mothership.bsp", "spk_id": FIREWEED}
    ship = mothership_of(
        study_of(given_by, base=tmp_path, start="2031-06-02 TDB", end="2031-09-20 TDB"), planet_table
    )
    (flyby,) = ship.flybys
    assert flyby.body == "Earth"
    assert flyby.closest_tdb_s == pytest.approx(CLOSEST_S, abs=1.0)
    assert flyby.altitude_km == pytest.approx(2000.0, abs=0.01)
    assert flyby.speed_km_s == pytest.approx(PERIGEE_SPEED_KM_S, rel=1e-6)
    assert np.linalg.norm(flyby.v_inf_in_km_s) == pytest.approx(V_INF_KM_S, abs=1e-4)
    # inside the sphere the mothership is a little faster than far away
    assert flyby.leave_tdb_s - flyby.enter_tdb_s == pytest.approx(2.0 * 925_000.0 / V_INF_KM_S, rel=0.05)
    assert len(ship.legs) == 2
    asked = np.array([3.1, 12.3, 30.7, 50.3]) * DAY_S
    for leg, sign in zip(ship.legs, (-1.0, 1.0), strict=True):
        off = leg.at(CLOSEST_S + sign * asked) - flyby_states(sign * asked)
        # a kilometre of the nodes, and the integrator's own centimetres grown over the flyby
        assert np.linalg.norm(off[:, :3], axis=1).max() < 1.1


@pytest.mark.crosscheck
def test_a_full_force_path_is_followed(tmp_path, planet_table, assist_states):
    """assist for a year about 2.3 au, every two days in the file, looked at between."""
    from tests.helpers.quiet_motherships import daily, orbit

    start = orbit(np.array([START_TDB_S]))[0]
    epochs = daily()
    write_oem(tmp_path, [Block(epochs, assist_states.path(start, START_TDB_S, epochs))])
    ship = mothership_of(study_of({"kind": "oem", "file": "mothership.oem"}, base=tmp_path), planet_table)
    assert ship.flybys == ()
    (leg,) = ship.legs
    asked = START_TDB_S + np.array([0.3, 77.7, 201.9, 363.1]) * DAY_S
    truth = assist_states.path(start, START_TDB_S, asked)
    assert np.linalg.norm((leg.at(asked) - truth)[:, :3], axis=1).max() < 1.1
    assert np.linalg.norm((orbit(asked) - truth)[:, :3], axis=1).max() > 1e3  # two-body would be seen
