"""How far what is aimed for moves by a change of a later state: the transition matrix along the burnt path."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.reach.approach.field import OK, PlanetField, move_to

Floats = NDArray[np.float64]


@njit(cache=True)
def _fill(state, begin, epochs, by_start, field, out):
    y = np.zeros(42)
    y[:6] = state
    for i in range(6):
        y[6 + 7 * i] = 1.0
    t = begin
    for k in range(epochs.size):
        if move_to(y, t, epochs[k], field) != OK:
            return k
        t = epochs[k]
        # d aim / d then = d aim / d start (d then / d start)^-1
        out[k] = np.linalg.solve(y[6:].copy().reshape(6, 6).T, by_start.T).T
    return epochs.size


def influence_at(
    state: Floats, begin_s: float, epochs_s: Floats, *, by_start: Floats, field: PlanetField
) -> Floats:
    """d(goals) by the state at later epochs, rising, (k, g, 6); NaN where the path could not be followed.

    state    : (6,) just after the burn, about the planet's centre
    by_start : (g, 6) d(goals) by the state at the burn, such as (B.T, B.R) (`Shots.by_state`)
    """
    out = np.full((len(epochs_s), len(by_start), 6), np.nan)
    arrays = [np.ascontiguousarray(a, dtype=float) for a in (state, epochs_s, by_start)]
    _fill(arrays[0], float(begin_s), arrays[1], arrays[2], field, out)
    return out
