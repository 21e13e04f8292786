"""The two-body transition matrix: differences, symplecticity, pykep."""

from __future__ import annotations

import numpy as np
import pytest

from swarm.reach.arcs.pykep_core import propagate_with_transition
from swarm.reach.arcs.transition import position_by_velocity, transition_matrix
from targets.base.constants import AU_KM, GM_SUN_KM3_S2
from targets.motion.twobody import drift_states, states_from_elements

SCALE = np.array([AU_KM] * 3 + [30.0] * 3)
CASES = [(1e-9, 1e6), (0.1, 1e7), (0.1, 1.3e8), (0.5, 6e7), (0.9, 4e8), (0.3, -3e7), (1.3, 1e7), (2.5, -4e7)]


def state(e: float) -> tuple[np.ndarray, np.ndarray]:
    """A state on an orbit of that eccentricity, perihelion 1.2 au (hyperbolas: at perihelion)."""
    q = 1.2 * AU_KM
    if e < 1.0:
        r, v = states_from_elements(
            np.array([q / (1.0 - e)]),
            np.array([e]),
            np.array([0.3]),
            np.array([1.0]),
            np.array([2.0]),
            np.array([0.7]),
        )
        return r[0], v[0]
    speed = np.sqrt(GM_SUN_KM3_S2 * (1.0 + e) / q)
    return np.array([q, 0.0, 0.0]), np.array([0.0, speed * 0.9, speed * np.sqrt(1.0 - 0.81)])


@pytest.mark.parametrize(("e", "dt_s"), CASES)
def test_equals_central_differences(e: float, dt_s: float) -> None:
    r, v = state(e)
    stm = transition_matrix(r, v, dt_s)
    numeric = np.empty((6, 6))
    base = np.concatenate([r, v])
    for j in range(6):
        ends = []
        for sign in (1.0, -1.0):
            moved = base.copy()
            moved[j] += sign * 1e-6 * SCALE[j]
            ends.append(np.hstack(drift_states(moved[None, :3], moved[None, 3:], dt_s))[0])
        numeric[:, j] = (ends[0] - ends[1]) / (2e-6 * SCALE[j])
    off = np.abs((stm - numeric) * SCALE[None, :] / SCALE[:, None])
    size = np.abs(numeric * SCALE[None, :] / SCALE[:, None]).max()
    assert off.max() < 2e-9 * size  # differences of 1e-6 are good to about this


@pytest.mark.parametrize(("e", "dt_s"), CASES)
def test_equals_pykep(e: float, dt_s: float) -> None:
    r, v = state(e)
    _, _, theirs = propagate_with_transition(r, v, dt_s, mu_km3_s2=GM_SUN_KM3_S2)
    off = np.abs((transition_matrix(r, v, dt_s) - theirs) * SCALE[None, :] / SCALE[:, None])
    assert off.max() < 1e-12 * np.abs(theirs * SCALE[None, :] / SCALE[:, None]).max()


@pytest.mark.parametrize(("e", "dt_s"), CASES)
def test_is_symplectic(e: float, dt_s: float) -> None:
    scaled = transition_matrix(*state(e), dt_s) * SCALE[None, :] / SCALE[:, None]
    j = np.block([[np.zeros((3, 3)), np.eye(3)], [-np.eye(3), np.zeros((3, 3))]])
    assert np.abs(scaled.T @ j @ scaled - j).max() < 1e-13 * np.abs(scaled).max() ** 2


def test_batch_of_velocity_blocks_is_the_corner_of_the_full_matrix() -> None:
    states = np.array([np.concatenate(state(e)) for e, _ in CASES])
    times = np.array([dt for _, dt in CASES])
    for block, row, dt in zip(position_by_velocity(states, times), states, times, strict=True):
        np.testing.assert_allclose(
            block, transition_matrix(row[:3], row[3:], dt)[:3, 3:], rtol=1e-12, atol=1e-3
        )
