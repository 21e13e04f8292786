"""The way down: from the interface to the end, or out again; what the shell bore on it. Compiled."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.entry.air_motion import (
    COLUMNS,
    NEXT_STAGE,
    SIZE,
    Course,
    against_air,
    fill_rates,
    keep_row,
    longest_step_s,
    off_next,
    step_on,
    step_to_next,
)
from swarm.encounter.entry.shell import Shell
from swarm.encounter.entry.terminal_fall import fall, is_falling
from swarm.encounter.entry.world import Globe, height_over
from targets.atmospheres.air import Air, density_kg_m3
from targets.motion.order8 import next_factor

Floats = NDArray[np.float64]

_STEPS_MAX, _LONGEST_S = 20_000, 172_800.0
REACHED, SURFACE, SKIPPED, SLOWED, TOO_LONG = range(5)


class Loads(NamedTuple):
    """What a descent came to; heights in km, flux W/cm^2, load J/cm^2."""

    status: int
    rows: int
    peak_g: float
    peak_g_km: float
    peak_kpa: float
    convective: float
    radiative: float
    load: float
    end_s: float
    end_km: float


@njit(cache=True)
def _top(peaks, trail, height, values):
    """Raise `peaks` (3, 2: value, height) by the vertex of the parabola through the last three steps, and go on."""
    for k in range(3):
        x0, x1, x2 = trail[0, 0], trail[1, 0], height
        y0, y1, y2 = trail[0, 1 + k], trail[1, 1 + k], values[k]
        if y2 > peaks[k, 0]:
            peaks[k, 0], peaks[k, 1] = y2, height
        if y1 >= y2 and y1 > y0 > 0.0:
            first, second = (y1 - y0) / (x1 - x0), (y2 - y1) / (x2 - x1)
            bend = (second - first) / (x2 - x0)
            at = 0.5 * (x0 + x1) - 0.5 * first / bend
            value = y0 + first * (at - x0) + bend * (at - x0) * (at - x1)
            if value > peaks[k, 0]:
                peaks[k, 0], peaks[k, 1] = value, at
    trail[0] = trail[1]
    trail[1, 0] = height
    trail[1, 1:] = values


@njit(cache=True)
def _advance(y, h, stage, world, air, shell, course, stages, work, new):
    """One step that is taken: its length, the factor for the next, and how far off what comes next then is."""
    beta = shell.ballistic_kg_m2[stage]
    for _ in range(_STEPS_MAX):
        error = step_on(y, h, world, air, beta, shell, stages, work, new)
        if not math.isfinite(error):
            return math.nan, 1.0, 0.0, 0
        factor = next_factor(error)
        if error <= 1.0:
            off, which = off_next(stage, new, world, air, shell, course)
            if off <= 0.0:
                h = step_to_next(y, h, stage, world, air, shell, course, stages, work, new)
            y[:] = new
            stages[0, :] = stages[12]
            return h, factor, off, which
        h *= min(factor, 0.9)
    return math.nan, 1.0, 0.0, 0


@njit(cache=True)
def _fly(y, world, air, shell, course, profile):
    """Move y in place from the interface to the end; return loads. `profile` takes rows as long as it has room."""
    stages, work, new = np.empty((13, SIZE)), np.empty(SIZE), np.empty(SIZE)
    # deceleration, convection, radiation; and the last two steps
    peaks, trail, now, peak_kpa = np.zeros((3, 2)), np.zeros((2, 4)), np.empty(3), 0.0
    t, stage, status = 0.0, 0, TOO_LONG
    height, _, _ = height_over(y[0], y[1], y[2], world)
    top, trail[1, 0] = height, height
    fill_rates(y, world, air, shell.ballistic_kg_m2[0], shell, stages[0])
    longest, felt = longest_step_s(y, world, air, stages[0])
    keep_row(t, y, stage, felt, world, air, shell, profile, 0)
    h, row = longest, 1
    while row < _STEPS_MAX and t < _LONGEST_S:
        done, factor, off, which = _advance(
            y, min(h, longest), stage, world, air, shell, course, stages, work, new
        )
        if not math.isfinite(done):
            break
        t, h = t + done, done * factor
        height, _, _ = height_over(y[0], y[1], y[2], world)
        longest, felt = longest_step_s(y, world, air, stages[0])
        now[0], now[1], now[2] = felt, stages[0, 7], stages[0, 8]
        _top(peaks, trail, height, now)
        # kPa: kg/m^3 km^2/s^2 is MPa
        peak_kpa = max(peak_kpa, 500.0 * density_kg_m3(height, air) * against_air(y, world)[3] ** 2)
        keep_row(t, y, stage, felt, world, air, shell, profile, row)
        row += 1
        if height >= top and y[0] * y[3] + y[1] * y[4] + y[2] * y[5] > 0.0:
            status = SKIPPED
            break
        if off > 0.0 and is_falling(y, shell.ballistic_kg_m2[stage], world, air):
            t, row, which = fall(t, y, stage, world, air, shell, course, profile, row)
            off = 0.0
        if off <= 0.0 and which != NEXT_STAGE:
            status = (SLOWED, REACHED, SURFACE, SLOWED)[which]
            break
        if off <= 0.0:
            stage, longest = stage + 1, 0.01
            fill_rates(y, world, air, shell.ballistic_kg_m2[stage], shell, stages[0])
    height, _, _ = height_over(y[0], y[1], y[2], world)
    return Loads(
        status, row, peaks[0, 0], peaks[0, 1], peak_kpa, peaks[1, 0], peaks[2, 0], y[7] + y[8], t, height
    )


@njit(cache=True)
def descend(state, world, air, shell, course, profile):
    """Fly one state from the interface; return its loads. Rows that `profile` has no room for are counted.

    state   : (6,) in the body's axes at the interface (`world.in_axes`)
    profile : (m, COLUMNS), filled from its first row; m may be 0
    """
    y = np.zeros(SIZE)
    for i in range(6):
        y[i] = state[i]
    return _fly(y, world, air, shell, course, profile)


def flown(state: Floats, world: Globe, air: Air, shell: Shell, course: Course) -> tuple[Loads, Floats]:
    """One descent with its profile, (rows, COLUMNS)."""
    given = np.ascontiguousarray(state, dtype=float)
    room = 2000
    while True:
        profile = np.empty((room, COLUMNS))
        loads = descend(given, world, air, shell, course, profile)
        if loads.rows <= room:
            return loads, profile[: loads.rows]
        room = loads.rows
