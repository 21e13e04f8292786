"""Full-force motion against an outside integrator, a published encounter, and itself backward."""

import numpy as np
import pytest

from swarm.refine.forces import BODIES, NAMES
from swarm.refine.nbody import (
    closest_to,
    make_field,
    moved,
    moved_with_transition,
    place,
    pressure_km3_s2,
    propagate,
)
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.base.errors import InputError
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris import spice
from targets.motion.twobody import states_from_elements

START_S = float(tdb_s_from_jd(2462138.5359989386))
# JPL close-approach data (as listed): JD TDB, distance au, relative speed km/s.
APOPHIS_JD, APOPHIS_AU, APOPHIS_KM_S = 2462240.407092, 0.000254099, 7.42249308586
# Start: heliocentric ICRF, au and au/d, from the test suite of `assist`.
APOPHIS_R = np.array([-5.5946538550488512e-01, 8.5647564757574512e-01, 3.0415066217102493e-01])
APOPHIS_V = np.array([-1.3818324735921638e-02, -6.0088275597939191e-03, -2.5805044631309632e-03])


@pytest.fixture(scope="module")
def years():
    return make_field(START_S - 500 * DAY_S, START_S + 500 * DAY_S)


@pytest.fixture(scope="module")
def bodies():
    random, n = np.random.default_rng(1), 50
    angles = random.uniform(0.0, 2.0 * np.pi, (3, n))
    r, v = states_from_elements(
        random.uniform(1.1, 2.8, n) * AU_KM,
        random.uniform(0.0, 0.5, n),
        random.uniform(0.0, 0.3, n),
        *angles,
        mu_km3_s2=GM_SUN_KM3_S2,
    )
    return np.hstack([r, v]), START_S + random.uniform(30.0, 400.0, n) * DAY_S


@pytest.mark.parametrize("name", NAMES[1:])
def test_places_are_the_kernels(years, name):
    t = START_S + 12_345.6
    truth = spice.sample(BODIES[NAMES.index(name)][0], np.array([t]))[0]
    off = np.abs(place(years, name, t)[0] - truth)
    assert off[:3].max() < 1e-6
    assert off[3:].max() < 1e-8


@pytest.mark.crosscheck
def test_arcs_end_where_an_outside_integrator_ends_and_relativity_shows(years, bodies, assist_states):
    states, ends = bodies
    truth = np.array(
        [assist_states(s[None], START_S, end)[0, :3] for s, end in zip(states, ends, strict=True)]
    )
    off = np.linalg.norm(propagate(years, states, START_S, ends)[:, :3] - truth, axis=1)
    without = propagate(years.without(relativity=False), states, START_S, ends)[:, :3]
    assert off.max() < 1.0  # asked: 10 km; seen: 0.50
    assert np.linalg.norm(without - truth, axis=1).max() > 10.0  # seen: 83


def test_apophis_passes_the_earth_as_published(years):
    start = np.concatenate([APOPHIS_R * AU_KM, APOPHIS_V * AU_KM / DAY_S])
    expected_s = float(tdb_s_from_jd(APOPHIS_JD))
    near = moved(years, start, START_S, expected_s - 2.0 * DAY_S)
    t, x = closest_to(years, "Earth", near, (expected_s - 2.0 * DAY_S, expected_s + DAY_S))
    assert t == pytest.approx(expected_s, abs=60.0)  # seen: 0.06 s
    assert np.linalg.norm(x[:3]) == pytest.approx(APOPHIS_AU * AU_KM, abs=100.0)  # seen: 1.5 km
    assert np.linalg.norm(x[3:]) == pytest.approx(APOPHIS_KM_S, abs=1e-3)


def test_forward_then_backward_closes(years, bodies):
    states, _ = bodies
    there = propagate(years, states, START_S, START_S + 400 * DAY_S)
    back = propagate(years, there, START_S + 400 * DAY_S, START_S)
    assert np.linalg.norm(back[:, :3] - states[:, :3], axis=1).max() < 1e-3


def test_transition_matrix_is_the_difference_of_neighbours(years, bodies):
    state, end = bodies[0][0], START_S + 300 * DAY_S
    _, matrix = moved_with_transition(years, state, START_S, end)
    steps = np.array([10.0] * 3 + [1e-5] * 3)
    found = np.column_stack(
        [
            (moved(years, state + d, START_S, end) - moved(years, state - d, START_S, end)) / (2.0 * d.sum())
            for d in np.diag(steps)
        ]
    )
    scale = np.abs(matrix).max(axis=1, keepdims=True)
    assert np.abs(found - matrix).max() < 1e-6 * scale.max()
    assert (np.abs(found - matrix) / scale).max() < 1e-6


def test_solar_pressure_is_a_weaker_sun(years, bodies):
    # 12 kg, 0.18 m^2, 1.3: 4.54e-6 N/m^2 * 1.3 * 0.18 / 12 = 8.85e-8 m/s^2 at 1 au, of the Sun's 5.93e-3
    beta = pressure_km3_s2(0.18, 12.0, 1.3)
    assert beta / AU_KM**2 == pytest.approx(8.85e-11, rel=1e-3)
    state = bodies[0][0]
    day = moved(years, state, START_S, START_S + DAY_S, beta=beta) - moved(
        years, state, START_S, START_S + DAY_S
    )
    push = beta / (state[:3] @ state[:3]) * state[:3] / np.linalg.norm(state[:3])
    assert day[:3] == pytest.approx(0.5 * push * DAY_S**2, rel=0.05, abs=1e-6)


def test_an_epoch_outside_the_kernel_is_said():
    with pytest.raises(InputError, match="outside the planetary ephemeris"):
        make_field(0.0, 1e12)
