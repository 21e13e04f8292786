"""Fall at terminal speed, in closed form between two rows of the table. Compiled.

    V = V_0 exp((h - h_0)/(2 H)),   t = 2 H/V_0 (exp((h_0 - h)/(2 H)) - 1),   V_0^2 = 2 beta g/rho_0

going round with the air. It runs behind what is flown by V^2/(4 g H): what falls faster is not so near its terminal
speed, and is integrated.
"""

from __future__ import annotations

import math

from numba import njit

from swarm.encounter.entry.air_motion import (
    END,
    G_KM_S2,
    GROUND,
    NEXT_STAGE,
    against_air,
    keep_row,
    off_next,
)
from swarm.encounter.entry.shell import BAR, KM
from swarm.encounter.entry.world import height_over, pull_of
from targets.atmospheres.air import density_kg_m3, row_below, scale_height_km, sound_km_s

# So near the terminal speed, so near straight down (own choices), and slower than sound.
_NEAR_TERMINAL, _STRAIGHT_DOWN = 0.01, 0.999
_FALL_STEP_S = 60.0
_STEPS_MAX = 20_000


@njit(cache=True)
def _fall_speed(y, height, along, up, beta, world, air):
    """Terminal speed and effective gravity: the pull, less what going round with the air takes."""
    gx, gy, gz, _ = pull_of(y[0], y[1], y[2], world)
    w2 = world.air_rad_s * world.air_rad_s
    rho = max(math.sqrt(y[0] * y[0] + y[1] * y[1]), 1e-9)
    gravity = -((gx + w2 * y[0]) * y[0] + (gy + w2 * y[1]) * y[1]) / rho * along - gz * up
    return 1e-3 * math.sqrt(2.0 * beta * 1e3 * gravity / density_kg_m3(height, air)), gravity


@njit(cache=True)
def is_falling(y, beta, world, air):
    """Whether the probe falls straight down at its terminal speed, slower than sound."""
    height, along, up = height_over(y[0], y[1], y[2], world)
    ux, uy, uz, u = against_air(y, world)
    if u >= sound_km_s(height, air):
        return False
    terminal, _ = _fall_speed(y, height, along, up, beta, world, air)
    rho = max(math.sqrt(y[0] * y[0] + y[1] * y[1]), 1e-9)
    sinking = -((ux * y[0] + uy * y[1]) / rho * along + uz * up)
    return abs(u - terminal) < _NEAR_TERMINAL * terminal and sinking > _STRAIGHT_DOWN * u


@njit(cache=True)
def _place_fallen(y, drop, after_s, speed, world, along, up):
    """Move y down by `drop` and round with the air; its velocity is the air's and the fall's."""
    angle = world.air_rad_s * after_s
    c, s = math.cos(angle), math.sin(angle)
    rho = max(math.sqrt(y[0] * y[0] + y[1] * y[1]), 1e-9)
    shrink = 1.0 - drop * along / rho
    x, yy, z = y[0] * shrink, y[1] * shrink, y[2] - drop * up
    y[0], y[1], y[2] = c * x - s * yy, s * x + c * yy, z
    out = math.sqrt(y[0] * y[0] + y[1] * y[1])
    ox, oy = (y[0] / out, y[1] / out) if out > 0.0 else (1.0, 0.0)
    y[3] = -speed * along * ox - world.air_rad_s * y[1]
    y[4] = -speed * along * oy + world.air_rad_s * y[0]
    y[5] = -speed * up


@njit(cache=True)
def _drop_km(height, speed, least, which, stage, air, shell, course):
    """How far to fall in one go: a minute, to the next row, or to what comes next, which is met exactly."""
    scale = scale_height_km(height - 1e-9, air)
    k = row_below(height - 1e-9, air)
    drop = 2.0 * scale * math.log(1.0 + speed * _FALL_STEP_S / (2.0 * scale))
    if height > air.height_km[k]:
        drop = min(drop, height - air.height_km[k] + 1e-9)
    # pressure is exponential between rows, a height is a height, a Mach number is neared
    slope = (air.log_pressure[k] - air.log_pressure[k + 1]) / (air.height_km[k + 1] - air.height_km[k])
    trigger = shell.trigger[stage + 1] if which == NEXT_STAGE else -1
    if which == GROUND or trigger == KM:
        drop = min(drop, least)
    elif which == END or trigger == BAR:
        drop = min(drop, least / slope)
    else:
        drop = min(drop, max(least * scale, 1e-4))
    return min(drop, height - course.ground_km), scale


@njit(cache=True)
def fall(t, y, stage, world, air, shell, course, profile, row):
    """Fall to what comes next; return time, row of the profile, and which it was."""
    beta = shell.ballistic_kg_m2[stage]
    for _ in range(_STEPS_MAX):
        least, which = off_next(stage, y, world, air, shell, course)
        if least <= 1e-9:
            return t, row, which
        height, along, up = height_over(y[0], y[1], y[2], world)
        speed, gravity = _fall_speed(y, height, along, up, beta, world, air)
        drop, scale = _drop_km(height, speed, least, which, stage, air, shell, course)
        after = 2.0 * scale / speed * (math.exp(drop / (2.0 * scale)) - 1.0)
        _place_fallen(y, drop, after, speed * math.exp(-drop / (2.0 * scale)), world, along, up)
        t += after
        keep_row(t, y, stage, gravity / G_KM_S2, world, air, shell, profile, row)
        row += 1
    return t, row, GROUND
