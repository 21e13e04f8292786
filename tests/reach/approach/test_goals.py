"""Aims of low passes: the design's numbers, and closed forms of the hyperbola."""

import numpy as np
import pytest

from swarm.reach.approach.goals import aim_km, aim_of, frame_of, miss_of, straight_latitude_deg
from targets.motion.twobody import drift

EUROPA = (3202.739, 1560.8)


@pytest.mark.parametrize(
    ("mu", "radius", "v_inf", "altitude", "aim"),
    [
        (*EUROPA, 4.0, 0.0, 1749.56), (*EUROPA, 4.0, 25.0, 1774.72), (*EUROPA, 4.0, 50.0, 1799.87),
        (*EUROPA, 4.0, 100.0, 1850.17), (*EUROPA, 4.0, 200.0, 1950.73),
        (7.2104, 252.1, 8.0, 25.0, 277.21),
    ],
)  # fmt: skip
def test_aims_of_the_design(mu, radius, v_inf, altitude, aim):
    """P1 of the design, closed form, 0.01 km."""
    assert aim_km(radius + altitude, v_inf, mu) == pytest.approx(aim, abs=0.01)


def hyperbola(periapsis, v_inf, mu):
    """State at periapsis on x, moving along y."""
    return np.array([periapsis, 0.0, 0.0, 0.0, np.sqrt(v_inf**2 + 2.0 * mu / periapsis), 0.0])


@pytest.mark.parametrize("before_s", [0.0, 300.0, 20_000.0])
def test_a_state_anywhere_on_the_hyperbola_has_the_same_aim(before_s):
    mu, periapsis, v_inf = 3202.739, 1660.8, 4.0
    state = np.array(drift(*hyperbola(periapsis, v_inf, mu), mu, -before_s))
    frame = frame_of(state, mu)
    assert frame.v_inf == pytest.approx(v_inf, rel=1e-9)
    b = aim_of(state, frame)
    assert np.hypot(*b) == pytest.approx(aim_km(periapsis, v_inf, mu), rel=1e-9)
    # S as it is far out: half the turn, asin(1/e), before the velocity at periapsis
    half = np.arcsin(1.0 / (1.0 + periapsis * v_inf**2 / mu))
    assert np.array(frame.s) == pytest.approx([np.sin(half), np.cos(half), 0.0], abs=1e-9)
    assert np.hypot(*miss_of(state, (periapsis, np.arctan2(b[1], b[0])), frame)) < 1e-6


def test_a_head_on_path_aims_at_the_middle():
    state = np.array([-1e5, 0.0, 0.0, 4.0, 0.0, 0.0])
    frame = frame_of(state, 3202.739)
    assert np.array(frame.s) == pytest.approx([1.0, 0.0, 0.0])
    assert aim_of(state, frame) == (0.0, 0.0)
    near = np.array([-1e5, 1e-3, 0.0, 4.0, 0.0, 0.0])
    assert np.hypot(*aim_of(near, frame)) == pytest.approx(1e-3 * 4.0 / frame.v_inf, rel=1e-6)


def test_latitude_by_clock_angle_is_monotone_and_the_closed_form():
    """v_inf without bound: the ground below a straight path, against the geometry of the point itself."""
    s = np.array([0.6, -0.64, 0.48])
    pole = np.array([0.1, 0.2, np.sqrt(0.95)])
    clock = np.arange(0.0, 360.0, 5.0)
    latitude = straight_latitude_deg(s, pole, clock)
    t = np.cross(s, [0.0, 0.0, 1.0])
    t /= np.linalg.norm(t)
    r = np.cross(s, t)
    points = np.cos(np.radians(clock))[:, None] * t + np.sin(np.radians(clock))[:, None] * r
    assert latitude == pytest.approx(np.degrees(np.arcsin(points @ pole)), abs=1e-9)
    turns = np.diff(np.sign(np.diff(np.append(latitude, latitude[:2])))) != 0.0
    assert turns.sum() == 2
