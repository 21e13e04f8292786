"""One body through the steps of the march by itself, in plain code: what a GPU runs, a body a thread.

The processor marches bodies side by side (`lanes`), which is held against this (tests/targets/motion/test_lanes.py).
"""

from __future__ import annotations

import math

from numba import njit

from targets.base.constants import GM_SUN_KM3_S2
from targets.ephemeris.planets import SYSTEMS
from targets.motion.kicks import _relativity, pull
from targets.motion.perturbed import _C1, _C2, _careful
from targets.motion.twobody import drift


@njit(cache=True)
def kick_from_table(x, y, z, vx, vy, vz, at_kicks, indirect, step, node, gm):
    """Acceleration by the planet systems at the positions tabulated for one kick, and by relativity.

    Whole tables and indices rather than slices: a view costs as much as two planets.
    """
    ax, ay, az = _relativity(x, y, z, vx, vy, vz)
    ax -= indirect[step, node, 0]
    ay -= indirect[step, node, 1]
    az -= indirect[step, node, 2]
    for p in range(SYSTEMS):
        px, py, pz = pull(
            at_kicks[step, node, p, 0] - x,
            at_kicks[step, node, p, 1] - y,
            at_kicks[step, node, p, 2] - z,
            gm[p],
        )
        ax += px
        ay += py
        az += pz
    return ax, ay, az


@njit(cache=True)
def is_near(x, y, z, vx, vy, vz, look, at, by_error, by_approach):
    """Whether some planet asks for a shorter step: `_step_allowed` < h, written without roots."""
    near = False
    for p in range(SYSTEMS):
        dx, dy, dz = look[at, p, 0] - x, look[at, p, 1] - y, look[at, p, 2] - z
        ux, uy, uz = look[at, p, 3] - vx, look[at, p, 4] - vy, look[at, p, 5] - vz
        d2 = dx * dx + dy * dy + dz * dz
        v2 = ux * ux + uy * uy + uz * uz
        near |= (d2 * d2 * d2 < by_error[p] * v2 * v2) | (d2 < by_approach * v2 and by_error[p] > 0.0)
    return near


@njit(cache=True)
def march_one(x, y, z, vx, vy, vz, t, h, steps, schedule, far, table):
    """One body through `steps` steps; its state and the kick moments before and after the middle of the span."""
    at_kicks, indirect, look = schedule
    by_error, by_approach = far
    states, start_s, step_s, gm = table
    length = abs(h)
    middle = 0.5 * steps * length
    before = 0.0
    after = 0.0
    near = is_near(x, y, z, vx, vy, vz, look, 0, by_error, by_approach)
    owed = (
        0.0  # drift left over from the step before, joined with the next one where no careful step intervenes
    )
    for s in range(steps):
        begun = s * length
        if near:
            if owed != 0.0:
                x, y, z, vx, vy, vz = drift(x, y, z, vx, vy, vz, GM_SUN_KM3_S2, owed)
                owed = 0.0
            x, y, z, vx, vy, vz, kicks = _careful(
                x, y, z, vx, vy, vz, t + s * h, h, length, states, start_s, step_s, gm
            )
            # |kick| times its distance in time to the middle, bounded without looking inside the step
            before += kicks * max(middle - begun, 0.0)
            after += kicks * max(begun + length - middle, 0.0)
            if s + 1 < steps:
                near = is_near(x, y, z, vx, vy, vz, look, s + 1, by_error, by_approach)
            continue
        for node in range(2):
            x, y, z, vx, vy, vz = drift(
                x, y, z, vx, vy, vz, GM_SUN_KM3_S2, owed + _C1 * h if node == 0 else _C2 * h
            )
            ax, ay, az = kick_from_table(x, y, z, vx, vy, vz, at_kicks, indirect, s, node, gm)
            vx += 0.5 * h * ax
            vy += 0.5 * h * ay
            vz += 0.5 * h * az
            kick = 0.5 * length * math.sqrt(ax * ax + ay * ay + az * az)
            at = begun + (_C1 if node == 0 else 1.0 - _C1) * length
            before += kick * max(middle - at, 0.0)
            after += kick * max(at - middle, 0.0)
        near = is_near(x, y, z, vx, vy, vz, look, s + 1, by_error, by_approach)
        owed = _C1 * h
    if owed != 0.0:
        x, y, z, vx, vy, vz = drift(x, y, z, vx, vy, vz, GM_SUN_KM3_S2, owed)
    return x, y, z, vx, vy, vz, before, after
