"""The mothership's unburned path as a table that compiled code can read anywhere."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numba import njit

from targets.base.constants import DAY_S, GM_SUN_KM3_S2
from targets.base.timescale import jd_from_tdb_s, tdb_s_from_jd
from targets.motion.twobody import drift

NODE_S = DAY_S
_STATE = ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")


@dataclass(frozen=True)
class Path:
    """States of the mothership on a uniform grid, heliocentric ICRF.

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
        """(n, 6) states at the epochs, between nodes as `state_between` does."""
        return _states_at(
            self.states, self.start_tdb_s, self.step_s, np.atleast_1d(np.asarray(tdb_s, dtype=float))
        )


def table_of_legs(legs: Sequence[Path]) -> pa.Table:
    """Return the nodes of ballistic legs as the run's table `mothership`: t_jd_tdb, x_km ... vz_km_s, leg, t_tdb_s."""
    states = np.concatenate([path.states for path in legs])
    epochs = np.concatenate([path.epochs_tdb_s for path in legs])
    leg = np.repeat(np.arange(len(legs)), [len(path.states) for path in legs])
    return pa.table(
        {"t_jd_tdb": jd_from_tdb_s(epochs)}
        | {name: states[:, k] for k, name in enumerate(_STATE)}
        | {"leg": leg, "t_tdb_s": epochs}
    )


def legs_of_table(mothership: pa.Table) -> list[Path]:
    """Return the ballistic legs of the run's table `mothership`, in order.

    A table without `leg` is one leg; dates are read from t_tdb_s, or from t_jd_tdb (good to some 0.02 ms) where a
    table has no such column.
    """
    names = mothership.column_names
    epochs_s = (
        _column(mothership, "t_tdb_s")
        if "t_tdb_s" in names
        else tdb_s_from_jd(_column(mothership, "t_jd_tdb"))
    )
    states = np.column_stack([_column(mothership, name) for name in _STATE])
    leg = _column(mothership, "leg") if "leg" in names else np.zeros(len(epochs_s), dtype=np.int64)
    paths = []
    for number in np.unique(leg):
        own = leg == number
        step_s = (epochs_s[own][-1] - epochs_s[own][0]) / max(own.sum() - 1, 1)
        paths.append(Path(float(epochs_s[own][0]), float(step_s), np.ascontiguousarray(states[own])))
    return paths


def _column(table: pa.Table, name: str) -> np.ndarray:
    return np.array(table[name].to_numpy())


@njit(cache=True)
def state_between(states, start_s, step_s, t):
    """State between two nodes of a path about the Sun.

    Two-body motion from the node before, plus what it misses at the node after (dr, dv), spread over the step by the
    cubic that has dr and dv at its end: exact at the nodes and on two-body paths. Between one-day nodes it is good to
    metres in the belt and to some kilometres at the edge of the Earth's sphere of influence.
    """
    u = (t - start_s) / step_s
    i = min(max(int(math.floor(u)), 0), states.shape[0] - 2)
    u -= i
    x, y, z, vx, vy, vz = states[i]
    if u == 0.0:
        return x, y, z, vx, vy, vz
    p = drift(x, y, z, vx, vy, vz, GM_SUN_KM3_S2, u * step_s)
    q = drift(x, y, z, vx, vy, vz, GM_SUN_KM3_S2, step_s)
    ex, ey, ez, evx, evy, evz = states[i + 1]
    r_r, r_v = u * u * (3.0 - 2.0 * u), u * u * (u - 1.0) * step_s
    v_r, v_v = 6.0 * u * (1.0 - u) / step_s, u * (3.0 * u - 2.0)
    return (
        p[0] + r_r * (ex - q[0]) + r_v * (evx - q[3]),
        p[1] + r_r * (ey - q[1]) + r_v * (evy - q[4]),
        p[2] + r_r * (ez - q[2]) + r_v * (evz - q[5]),
        p[3] + v_r * (ex - q[0]) + v_v * (evx - q[3]),
        p[4] + v_r * (ey - q[1]) + v_v * (evy - q[4]),
        p[5] + v_r * (ez - q[2]) + v_v * (evz - q[5]),
    )


@njit(cache=True)
def _states_at(states, start_s, step_s, epochs):
    out = np.empty((epochs.shape[0], 6))
    for n in range(epochs.shape[0]):
        state = state_between(states, start_s, step_s, epochs[n])
        for c in range(6):
            out[n, c] = state[c]
    return out
