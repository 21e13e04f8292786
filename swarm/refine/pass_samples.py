"""Samples of a low pass flown through their corrections in the field about the planet. Compiled; km, km/s, s."""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from swarm.reach.approach.field import HIT, OK, fly_to_closest, move_to, relative_to
from swarm.reach.approach.goals import aim_of


@njit(cache=True)
def _passed(y, t, target, window, gate, frame, field):
    """Status and B of a state flown on; one that hits, by where it is some radii from the body."""
    flown = y.copy()
    met = fly_to_closest(flown, t, target, window, 0.0, field)
    if met.status == HIT:
        flown[:] = y
        met = fly_to_closest(flown, t, target, window, gate, field)
    if met.status != OK:
        return met.status, 0.0, 0.0
    state = np.empty(6)
    state[:] = relative_to(target, met.epoch_s, flown, field)
    b_t, b_r = aim_of(state, frame)
    return OK, b_t, b_r


@njit(cache=True)
def fly_samples(
    starts, begin, dates, window, target, gate, frame, aim, beside, inverse, roots, numbers, gates, field, out
):
    """Fly every sample through its corrections; out, its B, what it spends, whether it is lost, is filled."""
    b, spent, lost = out
    fixed, pointing, proportional = gates
    dv = np.empty(3)
    for n in range(starts.shape[0]):
        y, t = starts[n].copy(), begin
        for k in range(dates.size):
            if move_to(y, t, dates[k], field) != OK:
                lost[n] = 1
                break
            t = dates[k]
            status, b_t, b_r = _passed(y, t, target, window, gate, frame, field)
            if status != OK:
                lost[n] = 1
                break
            z = numbers[k, n]
            off_t = b_t - aim[0] - beside[n, 0] + roots[k, 0, 0] * z[0] + roots[k, 0, 1] * z[1]
            off_r = b_r - aim[1] - beside[n, 1] + roots[k, 1, 0] * z[0] + roots[k, 1, 1] * z[1]
            for i in range(3):
                dv[i] = -inverse[k, i, 0] * off_t - inverse[k, i, 1] * off_r
            spent[n] += math.sqrt(dv[0] ** 2 + dv[1] ** 2 + dv[2] ** 2)
            for i in range(3):
                j, m = (i + 1) % 3, (i + 2) % 3
                turned = dv[j] * z[6 + m] - dv[m] * z[6 + j]
                y[3 + i] += dv[i] * (1.0 + proportional * z[5]) + fixed * z[2 + i] + pointing * turned
        if lost[n] == 0:
            status, b_t, b_r = _passed(y, t, target, window, gate, frame, field)
            b[n, 0], b[n, 1] = b_t - beside[n, 0], b_r - beside[n, 1]
            lost[n] = 0 if status == OK else 1
