"""One step through the air: rates, what bounds a step, what comes next on the way. Compiled; km, km/s, s.

    r'' = gravity(r) - rho |u| u / (2 beta),   u = v - w x r

in axes that do not turn; u is the speed against the air. This is the motion of Vinh, Busemann, Culp 1980, "Hypersonic
and Planetary Entry Flight Mechanics", ch. 2, in Cartesian form. Beside place and velocity stand the work of drag
(km^2/s^2) and the heat loads of convection and of radiation (J/cm^2).
"""

from __future__ import annotations

import math
from typing import NamedTuple

from numba import njit

from swarm.encounter.entry.heating import convective_w_cm2, radiative_w_cm2
from swarm.encounter.entry.shell import BAR, MACH
from swarm.encounter.entry.world import height_over, pull_of
from targets.atmospheres.air import density_kg_m3, pressure_pa, row_below, scale_height_km, sound_km_s
from targets.base.constants import STANDARD_GRAVITY_M_S2
from targets.motion.order8 import error_of, to_end, to_stage

SIZE = 9
TOLERANCE = 1e-9
# Where drag is felt a step is no longer than this share of a scale height of height; above, so many of them.
_FELT_G, _SHARE, _SHARE_THIN = 1e-4, 0.15, 2.0
_ON_ROW_KM = 2e-3
G_KM_S2 = 1e-3 * STANDARD_GRAVITY_M_S2

# Columns of a profile.
TIME, HEIGHT, X, Y, Z, SPEED, DECEL, FLUX, LOAD, PRESSURE, STAGE = range(11)
COLUMNS = 11
# What comes next.
NEXT_STAGE, END, GROUND, SLOW = range(4)


class Course(NamedTuple):
    """When a descent ends: a pressure, the ground, or a Mach number for those who want the loads only (0: never)."""

    end_pa: float
    until_mach: float
    ground_km: float


@njit(cache=True)
def against_air(y, world):
    """Velocity against the air and its size."""
    ux, uy, uz = y[3] + world.air_rad_s * y[1], y[4] - world.air_rad_s * y[0], y[5]
    return ux, uy, uz, math.sqrt(ux * ux + uy * uy + uz * uz)


@njit(cache=True)
def fill_rates(y, world, air, beta, shell, out):
    gx, gy, gz, _ = pull_of(y[0], y[1], y[2], world)
    ux, uy, uz, u = against_air(y, world)
    height, _, _ = height_over(y[0], y[1], y[2], world)
    rho = density_kg_m3(height, air)
    # rho u^2/(2 beta) is m/s^2 with u in m/s: 1e3 u of km/s twice, 1e-3 for km
    drag = -0.5e3 * rho * u / beta
    ax, ay, az = drag * ux, drag * uy, drag * uz
    out[0], out[1], out[2] = y[3], y[4], y[5]
    out[3], out[4], out[5] = gx + ax, gy + ay, gz + az
    out[6] = ax * y[3] + ay * y[4] + az * y[5]
    out[7] = convective_w_cm2(rho, u, shell.nose_m, shell.convective)
    out[8] = radiative_w_cm2(rho, u, shell.nose_m, shell.radiative)


@njit(cache=True)
def step_on(y, h, world, air, beta, shell, stages, work, new):
    """One step into `new`; return its error in units of the tolerance. stages[0] holds the rates at its begin."""
    for s in range(1, 12):
        to_stage(s, y, h, stages, work)
        fill_rates(work, world, air, beta, shell, stages[s])
    to_end(y, h, stages, new)
    fill_rates(new, world, air, beta, shell, stages[12])
    return error_of(h, stages, new, TOLERANCE)


@njit(cache=True)
def _mach(y, height, world, air):
    return against_air(y, world)[3] / sound_km_s(height, air)


@njit(cache=True)
def off_next(stage, y, world, air, shell, course):
    """How far off what comes next is, positive before it: the next stage, the end, the ground; the least and which.

    NEXT_STAGE, END (a pressure), GROUND, SLOW (the Mach number that is asked for).
    """
    height, _, _ = height_over(y[0], y[1], y[2], world)
    log_p = math.log(pressure_pa(height, air))
    least, which = height - course.ground_km, GROUND
    to_end_pa = math.log(course.end_pa) - log_p
    if to_end_pa < least:
        least, which = to_end_pa, END
    if stage + 1 < shell.trigger.size:
        trigger, value = shell.trigger[stage + 1], shell.value[stage + 1]
        if trigger == MACH:
            off = _mach(y, height, world, air) - value
        elif trigger == BAR:
            off = math.log(1e5 * value) - log_p
        else:
            off = height - value
        if off < least:
            least, which = off, NEXT_STAGE
    if course.until_mach > 0.0:
        off = _mach(y, height, world, air) - course.until_mach
        if off < least:
            least, which = off, SLOW
    return least, which


@njit(cache=True)
def longest_step_s(y, world, air, rate):
    """A step that neither crosses too much of the air nor turns the velocity too far."""
    height, along, up = height_over(y[0], y[1], y[2], world)
    rho = max(math.sqrt(y[0] * y[0] + y[1] * y[1]), 1e-9)
    rising = (y[3] * y[0] + y[4] * y[1]) / rho * along + y[5] * up
    sinking = abs(rising)
    gx, gy, gz, _ = pull_of(y[0], y[1], y[2], world)
    felt = math.sqrt((rate[3] - gx) ** 2 + (rate[4] - gy) ** 2 + (rate[5] - gz) ** 2)
    share = _SHARE if felt > _FELT_G * G_KM_S2 else _SHARE_THIN
    scale = scale_height_km(height, air)
    # a level path meets the same air for r/(2 H) of turning; it is kept by the arc it flies
    speed2 = y[3] * y[3] + y[4] * y[4] + y[5] * y[5]
    level = math.sqrt(2.0 * (world.radius_km + height) * scale / speed2) * share
    longest = min(share * scale / max(sinking, 1e-9), level)
    # density bends at rows of the table: a step that ends near one has no bend inside
    down = height - air.height_km[row_below(height, air)]
    lift = (rate[3] * y[0] + rate[4] * y[1]) / rho * along + rate[5] * up
    lift += (speed2 - rising * rising) / (world.radius_km + height)
    root = rising * rising - 2.0 * lift * down
    if rising < 0.0 and down > _ON_ROW_KM and root > 0.0:
        longest = min(longest, 2.0 * down / (sinking + math.sqrt(root)))
    return longest, felt / G_KM_S2


@njit(cache=True)
def keep_row(t, y, stage, felt, world, air, shell, profile, row):
    if row < profile.shape[0]:
        height, _, _ = height_over(y[0], y[1], y[2], world)
        u = against_air(y, world)[3]
        rho = density_kg_m3(height, air)
        out = profile[row]
        out[TIME], out[HEIGHT], out[X], out[Y], out[Z] = t, height, y[0], y[1], y[2]
        out[SPEED], out[DECEL], out[LOAD], out[STAGE] = u, felt, y[7] + y[8], stage
        out[FLUX] = convective_w_cm2(rho, u, shell.nose_m, shell.convective)
        out[FLUX] += radiative_w_cm2(rho, u, shell.nose_m, shell.radiative)
        out[PRESSURE] = pressure_pa(height, air)


@njit(cache=True)
def step_to_next(y, h, stage, world, air, shell, course, stages, work, new):
    """Shorten the step until it ends where something comes next; `new` is the state there, the step is returned."""
    beta = shell.ballistic_kg_m2[stage]
    low, high = 0.0, h
    before, _ = off_next(stage, y, world, air, shell, course)
    after, _ = off_next(stage, new, world, air, shell, course)
    tried = h
    for k in range(40):
        share = before / (before - after)
        tried = low + (high - low) * (min(max(share, 0.05), 0.95) if k % 3 < 2 else 0.5)
        step_on(y, tried, world, air, beta, shell, stages, work, new)
        value, _ = off_next(stage, new, world, air, shell, course)
        if -1e-7 < value <= 0.0 or high - low < 1e-9:
            break
        if value > 0.0:
            low, before = tried, value
        else:
            high, after = tried, value
    return tried
