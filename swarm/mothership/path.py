"""The carrier's unburned path as a table that compiled code can read anywhere."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit

from targets.constants import DAY_S, GM_SUN_KM3_S2
from targets.twobody import drift

NODE_S = DAY_S


@dataclass(frozen=True)
class Path:
    """States of the carrier on a uniform grid, heliocentric ICRF.

    start_tdb_s : epoch of the first node
    step_s      : spacing of the nodes
    states      : (m, 6) km, km/s
    pulled      : whether it feels the planets, as a probe released from it then does too; False for two-body paths
    """

    start_tdb_s: float
    step_s: float
    states: np.ndarray
    pulled: bool = True

    @property
    def epochs_tdb_s(self) -> np.ndarray:
        return self.start_tdb_s + self.step_s * np.arange(len(self.states))

    def at(self, tdb_s: np.ndarray | float) -> np.ndarray:
        """(n, 6) states at the epochs, between nodes as `blended_state` does."""
        return _states_at(
            self.states, self.start_tdb_s, self.step_s, np.atleast_1d(np.asarray(tdb_s, dtype=float))
        )


@njit(cache=True)
def blended_state(states, start_s, step_s, t):
    """State between two nodes of a path about the Sun.

    Two-body motion from the node before and from the node after, faded from one to the other: exact at the
    nodes, exact everywhere on a two-body path, and off by about a_perturbing step^2 / 16 in between (under a
    kilometre at one-day nodes except close to a planet).
    """
    u = (t - start_s) / step_s
    i = min(max(int(math.floor(u)), 0), states.shape[0] - 2)
    u -= i
    a, b = states[i], states[i + 1]
    if u == 0.0:
        return a[0], a[1], a[2], a[3], a[4], a[5]
    p = drift(a[0], a[1], a[2], a[3], a[4], a[5], GM_SUN_KM3_S2, u * step_s)
    q = drift(b[0], b[1], b[2], b[3], b[4], b[5], GM_SUN_KM3_S2, (u - 1.0) * step_s)
    w = u * u * (3.0 - 2.0 * u)
    return (
        p[0] + w * (q[0] - p[0]),
        p[1] + w * (q[1] - p[1]),
        p[2] + w * (q[2] - p[2]),
        p[3] + w * (q[3] - p[3]),
        p[4] + w * (q[4] - p[4]),
        p[5] + w * (q[5] - p[5]),
    )


@njit(cache=True)
def _states_at(states, start_s, step_s, epochs):
    out = np.empty((epochs.shape[0], 6))
    for n in range(epochs.shape[0]):
        state = blended_state(states, start_s, step_s, epochs[n])
        for c in range(6):
            out[n, c] = state[c]
    return out
