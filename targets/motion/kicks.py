"""What pulls on a body about the Sun, and how long a step may be near a planet, compiled.

A kick is the acceleration by the planet systems of DE440 and by relativity, without the Sun's own pull: that one is
followed exactly between the kicks (`targets.motion.perturbed`).
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from targets.base.constants import AU_KM, GM_SUN_KM3_S2, SPEED_OF_LIGHT_KM_S
from targets.ephemeris.planets import EARTH, EARTH_SYSTEM, MOON, SYSTEMS, hermite_position, hermite_velocity

_C_SQUARED = SPEED_OF_LIGHT_KM_S**2
# What two Gauss points may miss of a passing planet's pull, per step.
_KICK_ERROR_KM_S = 1e-8
# Error of two-point Gauss quadrature is h^5 f''''/4320 [Abramowitz & Stegun 25.4.29]; the pull GM/d^2 of a body
# passing at speed v has f'''' up to 120 GM v^4/d^6.
_GAUSS_COEFFICIENT = 120.0 / 4320.0
_SHORTEST_STEP_S = 600.0
# A step never covers more than this share of the way to a planet: an approach cannot be jumped over.
_SHARE_OF_APPROACH = 0.5
# Inside this distance Earth and Moon pull separately; farther out their common centre is good to 1e-5 of the pull.
_EARTH_MOON_APART_KM = 0.15 * AU_KM


@njit(cache=True)
def _relativity(x, y, z, vx, vy, vz):
    """Schwarzschild acceleration about the Sun, km/s^2 (Moyer 2000, eq. 4-61 for one massive body)."""
    r2 = x * x + y * y + z * z
    r = math.sqrt(r2)
    scale = GM_SUN_KM3_S2 / (_C_SQUARED * r2 * r)
    along = scale * (4.0 * GM_SUN_KM3_S2 / r - (vx * vx + vy * vy + vz * vz))
    tilt = 4.0 * scale * (x * vx + y * vy + z * vz)
    return along * x + tilt * vx, along * y + tilt * vy, along * z + tilt * vz


@njit(cache=True)
def pull(dx, dy, dz, gm):
    """Acceleration towards a point mass at (dx, dy, dz)."""
    d2 = dx * dx + dy * dy + dz * dz
    scale = gm / (d2 * math.sqrt(d2))
    return scale * dx, scale * dy, scale * dz


@njit(cache=True)
def kick_at(x, y, z, vx, vy, vz, t, states, start_s, step_s, gm):
    """Acceleration by interpolated planets, Earth and Moon apart when near, and by relativity."""
    ax, ay, az = _relativity(x, y, z, vx, vy, vz)
    for p in range(states.shape[0]):
        if p >= SYSTEMS:
            continue
        px, py, pz = hermite_position(states[p], start_s, step_s, t)
        ix, iy, iz = pull(px, py, pz, gm[p])
        ax -= ix
        ay -= iy
        az -= iz
        dx, dy, dz = px - x, py - y, pz - z
        if p == EARTH_SYSTEM and dx * dx + dy * dy + dz * dz < _EARTH_MOON_APART_KM**2 and gm[p] > 0.0:
            for q in (EARTH, MOON):
                qx, qy, qz = hermite_position(states[q], start_s, step_s, t)
                bx, by, bz = pull(qx - x, qy - y, qz - z, gm[q])
                ax += bx
                ay += by
                az += bz
        else:
            bx, by, bz = pull(dx, dy, dz, gm[p])
            ax += bx
            ay += by
            az += bz
    return ax, ay, az


@njit(cache=True)
def _step_allowed(d2, v2, gm):
    """Longest step near a planet at distance sqrt(d2), passing at sqrt(v2): see the module's head."""
    d = math.sqrt(d2)
    missed = (_KICK_ERROR_KM_S * d2 * d2 * d2 / (_GAUSS_COEFFICIENT * gm * v2 * v2)) ** 0.2
    return max(_SHORTEST_STEP_S, min(missed, _SHARE_OF_APPROACH * d / math.sqrt(v2)))


@njit(cache=True)
def near_step(x, y, z, vx, vy, vz, t, states, start_s, step_s, gm, longest):
    """Longest step allowed at this state by every pulling body."""
    allowed = longest
    for p in range(states.shape[0]):
        if gm[p] == 0.0 or p == EARTH_SYSTEM:
            continue
        px, py, pz = hermite_position(states[p], start_s, step_s, t)
        dx, dy, dz = px - x, py - y, pz - z
        d2 = dx * dx + dy * dy + dz * dz
        ux, uy, uz = hermite_velocity(states[p], start_s, step_s, t)
        v2 = (ux - vx) ** 2 + (uy - vy) ** 2 + (uz - vz) ** 2 + 2.0 * gm[p] / math.sqrt(d2)
        allowed = min(allowed, _step_allowed(d2, v2, gm[p]))
    return allowed


@njit(cache=True)
def far_enough(gm, h):
    """Constants of the two tests whether a planet asks for a shorter step than `h`, without roots: the first a system.

    `_step_allowed` < h where d^6 < first v^4 or d^2 < second v^2 (`lanes.mark_near`).
    """
    by_error = np.zeros(SYSTEMS)
    for p in range(SYSTEMS):
        by_error[p] = _GAUSS_COEFFICIENT * gm[p] * abs(h) ** 5 / _KICK_ERROR_KM_S
    return by_error, (h / _SHARE_OF_APPROACH) ** 2
