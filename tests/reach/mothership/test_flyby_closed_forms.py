"""The hyperbola of a flyby against printed examples and another library."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarm.reach.mothership.flybys import (
    PLANETS,
    asymptotes_km_s,
    half_turn_rad,
    impact_parameter_km,
    manoeuvre_km_s,
    meeting,
    periapsis_for_turn_km,
    periapsis_speed_km_s,
    planet_named,
    turn_rad,
    turned,
)

# Curtis, Orbital Mechanics for Engineering Students, example 8.6: Venus flyby (seen); its GM and radius of Venus
# from memory, 324 900 km^3/s^2 and 6052 km. Axes: along Venus's velocity, and towards the Sun.
CURTIS_GM, CURTIS_RADIUS_KM = 324_900.0, 6052.0
CURTIS_IN = np.array([37.51, 2.782, 0.0]) - np.array([35.02, 0.0, 0.0])
CURTIS_VENUS = np.array([35.02, 0.0, 0.0])

speeds = st.floats(0.5, 30.0)
turns = st.floats(0.05, 2.8)
masses = st.floats(1e3, 2e8)


def test_curtis_example_8_6_turns_by_103_6_degrees():
    turn = 2.0 * half_turn_rad(CURTIS_RADIUS_KM + 300.0, float(np.linalg.norm(CURTIS_IN)), CURTIS_GM)
    assert math.degrees(turn) == pytest.approx(103.6, abs=0.05)


@pytest.mark.parametrize(("side", "printed"), [(-1.0, (37.14, -3.074)), (1.0, (31.73, 1.766))])
def test_curtis_example_8_6_leaves_on_either_side(side, printed):
    turn = 2.0 * half_turn_rad(CURTIS_RADIUS_KM + 300.0, float(np.linalg.norm(CURTIS_IN)), CURTIS_GM)
    out = CURTIS_VENUS + turned(CURTIS_IN, np.array([0.0, 0.0, side]), turn)
    # four digits are printed, from intermediate values of as many
    assert out[:2] == pytest.approx(printed, abs=0.01)


def test_curtis_example_8_6_as_the_flyby_of_two_legs():
    turn = 2.0 * half_turn_rad(CURTIS_RADIUS_KM + 300.0, float(np.linalg.norm(CURTIS_IN)), CURTIS_GM)
    flyby = meeting(
        planet_named("venus"), CURTIS_IN, turned(CURTIS_IN, np.array([0.0, 0.0, 1.0]), turn),
        at_tdb_s=0.0, clear_s=1.0, altitude_min_km=250.0, mismatch_max_m_s=50.0,
    )  # fmt: skip
    assert flyby.turn_deg == pytest.approx(103.6, abs=0.05)
    # Curtis's GM and radius differ from the ephemeris's in the fourth digit
    assert flyby.altitude_km == pytest.approx(300.0, abs=2.0)
    assert flyby.high_enough
    assert not flyby.powered
    assert flyby.manoeuvre_m_s == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("gm", "radius_km", "altitude_km", "v_inf_km_s", "printed_km"),
    [
        # GM and radii of Europa and Enceladus from memory (JPL); |B| computed independently beforehand
        (3202.72, 1560.8, 100.0, 4.0, 1850.2),
        (7.211, 252.1, 25.0, 8.0, 277.2),
    ],
)
def test_impact_parameters_of_low_passes_of_moons(gm, radius_km, altitude_km, v_inf_km_s, printed_km):
    assert impact_parameter_km(radius_km + altitude_km, v_inf_km_s, gm) == pytest.approx(printed_km, abs=0.15)


@given(speed=speeds, turn=turns, gm=masses)
def test_the_periapsis_of_a_turn_is_the_closed_form(speed, turn, gm):
    closed = gm / speed**2 * (1.0 / math.sin(turn / 2.0) - 1.0)
    assert periapsis_for_turn_km(turn, speed, speed, gm) == pytest.approx(closed, rel=1e-9)


@given(slow=speeds, more=st.floats(0.0, 3.0), turn=turns, gm=masses)
def test_a_powered_flyby_turns_by_what_its_two_halves_turn(slow, more, turn, gm):
    periapsis = periapsis_for_turn_km(turn, slow, slow + more, gm)
    halves = half_turn_rad(periapsis, slow, gm) + half_turn_rad(periapsis, slow + more, gm)
    assert halves == pytest.approx(turn, rel=1e-9)


@given(speed=speeds, turn=st.floats(0.2, 2.8), gm=masses, anomaly=st.floats(-0.8, 0.8))
def test_asymptotes_of_a_state_anywhere_on_the_hyperbola(speed, turn, gm, anomaly):
    # the state by the conic's own equation, in the plane of the incoming and outgoing velocities
    e = 1.0 / math.sin(turn / 2.0)
    periapsis = gm / speed**2 * (e - 1.0)
    p = periapsis * (1.0 + e)
    nu = anomaly * math.acos(-1.0 / e)
    r = p / (1.0 + e * math.cos(nu)) * np.array([math.cos(nu), math.sin(nu), 0.0])
    v = math.sqrt(gm / p) * np.array([-math.sin(nu), e + math.cos(nu), 0.0])
    v_in, v_out = asymptotes_km_s(np.concatenate([r, v]), gm)
    assert np.linalg.norm(v_in) == pytest.approx(speed, rel=1e-7)
    assert np.linalg.norm(v_out) == pytest.approx(speed, rel=1e-7)
    assert turn_rad(v_in, v_out) == pytest.approx(turn, rel=1e-6)
    assert np.cross(v_in, v_out)[2] > 0.0  # turned the way it goes round
    assert v_out[1] > 0.0
    assert v_in[1] > 0.0


def test_a_bound_state_has_no_asymptotes():
    v_in, v_out = asymptotes_km_s(np.array([7000.0, 0.0, 0.0, 0.0, 7.5, 0.0]), 398_600.4)
    assert np.isnan(v_in).all()
    assert np.isnan(v_out).all()


@given(
    seed=st.integers(0, 10_000),
    least=st.floats(6500.0, 50_000.0),
)
def test_the_manoeuvre_agrees_with_pykep(seed, least):
    """pykep's fb_dv: a burn at the least periapsis, or beyond it the rest of the turn made up at infinity.

    Ours burns at the periapsis the turn needs, so it agrees exactly where the turn is out of reach, and
    is the same formula at another radius where it is not.
    """
    from swarm.reach.arcs import pykep_core

    rng = np.random.default_rng(seed)
    v_in, v_out = rng.uniform(-6.0, 6.0, (2, 3))
    gm = 398_600.4
    theirs = pykep_core._core.fb_dv(list(v_in), list(v_out), gm, least)
    ours = manoeuvre_km_s(v_in, v_out, least_periapsis_km=least, gm_km3_s2=gm)
    speed_in, speed_out = np.linalg.norm(v_in), np.linalg.norm(v_out)
    needed = periapsis_for_turn_km(turn_rad(v_in, v_out), speed_in, speed_out, gm)
    if turn_rad(v_in, v_out) > 2.0 * half_turn_rad(least, speed_in, gm) and needed < least:
        assert ours == pytest.approx(theirs, rel=1e-9)
    elif needed >= least:
        at_needed = (periapsis_speed_km_s(needed, speed, gm) for speed in (speed_in, speed_out))
        assert ours == pytest.approx(abs(next(at_needed) - next(at_needed)), rel=1e-9)


def test_spheres_of_influence_are_those_of_the_textbooks():
    # Curtis, table A.2: 925 000 km for the Earth, 616 000 for Venus, 577 000 for Mars, 48.2 million for Jupiter
    # (from memory)
    printed = {"Earth": 925_000.0, "Venus": 616_000.0, "Mars": 577_000.0, "Jupiter": 48_200_000.0}
    for planet in PLANETS:
        if planet.name in printed:
            assert planet.influence_km == pytest.approx(printed[planet.name], rel=0.002)


@pytest.mark.parametrize("text", ["Earth", "earth", " EARTH ", "3", "399"])
def test_a_planet_is_found_by_name_and_number(text):
    assert planet_named(text).name == "Earth"


@pytest.mark.parametrize("text", ["Moon", "433", "9", "0", "", "Vulcan"])
def test_what_is_no_planet_is_refused_with_those_that_are(text):
    with pytest.raises(ValueError, match="Mercury, Venus, Earth"):
        planet_named(text)
