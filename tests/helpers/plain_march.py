"""The march of a catalogue one body after the other, in plain code: what the march in lanes is held against."""

from __future__ import annotations

import numpy as np
from numba import njit

from targets.motion.kicks import far_enough
from targets.motion.one_body import march_one
from targets.motion.perturbed import _kick_schedule, _steps


@njit(cache=True)
def _march(bodies, t, dt, steps, states, start_s, step_s, gm, moments):
    """Move (n, 6) states in place over `dt` in `steps` common steps; moments (n, 2) as in `march`."""
    h = dt / steps
    schedule = _kick_schedule(t, h, steps, states, start_s, step_s, gm)
    far = far_enough(gm, h)
    table = (states, start_s, step_s, gm)
    for n in range(bodies.shape[0]):
        b = bodies[n]
        out = march_one(b[0], b[1], b[2], b[3], b[4], b[5], t, h, steps, schedule, far, table)
        for c in range(6):
            bodies[n, c] = out[c]
        moments[n, 0] = out[6]
        moments[n, 1] = out[7]


def plain_march(bodies: np.ndarray, start_tdb_s: float, end_tdb_s: float, *, planets, step_s: float):
    """As `targets.motion.perturbed.march`."""
    moved, moments = np.array(bodies, dtype=float, order="C"), np.zeros((len(bodies), 2))
    dt = end_tdb_s - start_tdb_s
    _march(
        moved, start_tdb_s, dt, _steps(dt, step_s), planets.states, planets.start_tdb_s, planets.step_s,
        planets.gm_km3_s2, moments,
    )  # fmt: skip
    return moved, moments
