"""Bodies moved side by side: drift and kick of `LANES` bodies at a time, in loops that become vector instructions.

The scheme, steps and rule of nearness of one body alone (`targets.motion.kicks`, `targets.motion.twobody`), written so
that every body goes through the same operations: sine and cosine by their series, two corrections of Kepler's
equation for all. A body that this does not settle (near-parabolic, hyperbolic, long steps near a perihelion) is moved
by `twobody.drift`, one near a planet by itself in shorter steps; while the others take the common step it stands
still.

What becomes of a body hangs on nothing beside it: no operation mixes lanes, and whether a body is moved alone is
decided by its own numbers (tests/targets/motion/test_lanes.py). Blocks therefore need no fixed order.

Held against the same outside integrators with the same limits as one body after the other was, and put in its place.
Seen beside it (tests/helpers/plain_march.py): 6 400 belt bodies end within 1.5e-6 km after a year and 1e-4 km after
ten, 6 400 near-Earth bodies within 4e-6 km and 8e-4 km; the map itself is off by hundreds of kilometres. A belt body's
step takes 4.8 times less, 54 for 259 ns. Drift 21, kicks 21, nearness 10 ns: some 960 operations, 18 in a nanosecond,
where a core with vectors of four numbers does at most 42 (2.6 GHz, two fused operations a cycle). What bounds it is no
longer the divider but how many instructions start in a cycle; vectors of eight numbers are there, and LLVM does not
choose them. Near-Earth bodies gain little: what they take are steps alone.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from targets.base.constants import GM_SUN_KM3_S2, SPEED_OF_LIGHT_KM_S
from targets.ephemeris.planets import SYSTEMS
from targets.motion.twobody import drift

# Eight vectors of the widest kind: enough to hide their latency, little enough to stay in the first cache.
LANES = 64
_ROOT_GM = math.sqrt(GM_SUN_KM3_S2)
_RELATIVITY_KM = GM_SUN_KM3_S2 / SPEED_OF_LIGHT_KM_S**2
# Where the series of sine and cosine, and of the first correction, are good to a double's last digit.
_ANOMALY_MAX, _FIRST_MAX = 0.8, 0.03
# As in `twobody`: the correction after one this small, as a share of r/a, is below a double's resolution.
_LAST_CORRECTION = 1e-5
# Below this r/a a body is moved by itself: the less it is, the more digits the differences below lose.
_LEAST_SHARE = 0.03
# A division by zero gives what IEEE 754 says, not a branch, and a product may join a sum: else loops stay scalar.
_side_by_side = njit(cache=True, error_model="numpy", fastmath={"contract"})


@_side_by_side
def _sine(u, q):
    """sin u for |u| < 0.8, q = u^2: the series to u^15."""
    high = 1 / 362880 + q * (-1 / 39916800 + q * (1 / 6227020800 - q * (1 / 1307674368000)))
    return u * (1.0 + q * (-1 / 6 + q * (1 / 120 + q * (-1 / 5040 + q * high))))


@_side_by_side
def _one_minus_cosine(q):
    """1 - cos u for |u| < 0.8, q = u^2: the series to u^16."""
    high = 1 / 3628800 + q * (-1 / 479001600 + q * (1 / 87178291200 - q * (1 / 20922789888000)))
    return q * (0.5 + q * (-1 / 24 + q * (1 / 720 + q * (-1 / 40320 + q * high))))


@_side_by_side
def _first_guess(ec, es, m, w):
    """Series of the change of eccentric anomaly, as in `twobody`; w = 1/(1 - ec)."""
    y = m * w
    a2 = 0.5 * es * w
    return y * (1.0 - y * (a2 - y * (2.0 * a2 * a2 - ec * w * (1 / 6))))


@_side_by_side
def _drift_all(lanes, dts, unsettled):
    """Move every body along its conic by its own `dts`; unsettled[i] = 1 where it was left as it was.

    lanes : (6, LANES) km, km/s
    """
    px, py, pz, ux, uy, uz = lanes[0], lanes[1], lanes[2], lanes[3], lanes[4], lanes[5]
    for i in range(LANES):
        x, y, z, vx, vy, vz = px[i], py[i], pz[i], ux[i], uy[i], uz[i]
        r0 = math.sqrt(x * x + y * y + z * z)
        per_r0 = 1.0 / r0
        alpha = 2.0 * per_r0 - (vx * vx + vy * vy + vz * vz) * (1.0 / GM_SUN_KM3_S2)
        root_alpha, a = math.sqrt(alpha), 1.0 / alpha
        n = _ROOT_GM * root_alpha * alpha
        ec = 1.0 - r0 * alpha
        es = (x * vx + y * vy + z * vz) * root_alpha * (1.0 / _ROOT_GM)
        m = n * dts[i]
        u = _first_guess(ec, es, m, a * per_r0)
        sin_u, versed = _sine(u, u * u), _one_minus_cosine(u * u)
        # Halley's correction; sine and cosine are carried along by the addition theorem
        f = u - ec * sin_u + es * versed - m
        slope = 1.0 - ec + ec * versed + es * sin_u
        first = f * slope / (slope * slope - 0.5 * f * (ec * sin_u + es * (1.0 - versed)))
        q = first * first
        turned_versed = q * (0.5 - q * (1 / 24 - q * (1 / 720)))
        turned_sine = first * (1.0 - q * (1 / 6 - q * (1 / 120 - q * (1 / 5040))))
        cos_u = 1.0 - versed
        versed, sin_u = (
            versed + turned_versed - turned_versed * versed - sin_u * turned_sine,
            sin_u - sin_u * turned_versed - cos_u * turned_sine,
        )
        f = (u - first) - ec * sin_u + es * versed - m
        slope = 1.0 - ec + ec * versed + es * sin_u
        second = f * slope / (slope * slope - 0.5 * f * (ec * sin_u + es * (1.0 - versed)))
        half_square, cos_u = 0.5 * second * second, 1.0 - versed
        versed, sin_u = versed + half_square - second * sin_u, sin_u - sin_u * half_square - cos_u * second
        per_r = alpha / (1.0 - ec + ec * versed + es * sin_u)
        settled = (alpha * r0 > _LEAST_SHARE) & (abs(u) < _ANOMALY_MAX) & (abs(first) < _FIRST_MAX)
        settled &= abs(second) < _LAST_CORRECTION * slope
        unsettled[i] = 0.0 if settled else 1.0
        f, g = 1.0 - a * per_r0 * versed, (r0 * alpha * sin_u + es * versed) / n
        fd, gd = -_ROOT_GM * root_alpha * a * per_r * per_r0 * sin_u, 1.0 - a * per_r * versed
        px[i] = f * x + g * vx if settled else x
        py[i] = f * y + g * vy if settled else y
        pz[i] = f * z + g * vz if settled else z
        ux[i] = fd * x + gd * vx if settled else vx
        uy[i] = fd * y + gd * vy if settled else vy
        uz[i] = fd * z + gd * vz if settled else vz


@_side_by_side
def count_of(flags):
    """How many flags are up."""
    total = 0.0
    for i in range(LANES):
        total += flags[i]
    return total


@njit(cache=True)
def drift_one(lanes, i, dt):
    """Move one body along its conic."""
    moved = drift(
        lanes[0, i], lanes[1, i], lanes[2, i], lanes[3, i], lanes[4, i], lanes[5, i], GM_SUN_KM3_S2, dt
    )
    for c in range(6):
        lanes[c, i] = moved[c]


@_side_by_side
def drift_lanes(lanes, dts, unsettled):
    """Move every body along its conic by its own `dts`, those that do not settle one by one."""
    _drift_all(lanes, dts, unsettled)
    if count_of(unsettled) > 0.0:
        for i in range(LANES):
            if unsettled[i] > 0.0 and dts[i] != 0.0:
                drift_one(lanes, i, dts[i])


@_side_by_side
def _start_pulls(lanes, pulls, ix, iy, iz):
    """Relativity [`kicks`] less the pull of the planets on the Sun."""
    for i in range(LANES):
        x, y, z, vx, vy, vz = lanes[0, i], lanes[1, i], lanes[2, i], lanes[3, i], lanes[4, i], lanes[5, i]
        per_r = 1.0 / math.sqrt(x * x + y * y + z * z)
        scale = _RELATIVITY_KM * per_r * per_r * per_r
        along = scale * (4.0 * GM_SUN_KM3_S2 * per_r - (vx * vx + vy * vy + vz * vz))
        tilt = 4.0 * scale * (x * vx + y * vy + z * vz)
        pulls[0, i] = along * x + tilt * vx - ix
        pulls[1, i] = along * y + tilt * vy - iy
        pulls[2, i] = along * z + tilt * vz - iz


@_side_by_side
def _per_root(x):
    """1/sqrt(x) for 1e-30 < x < 1e30: in single precision, then a correction of third order, 5e-16 of it at worst.

    Eight roots and eight divisions in double precision for each body wait for the processor's one divider.
    """
    rough = np.float64(np.float32(1.0) / np.sqrt(np.float32(x)))
    off = 1.0 - x * rough * rough
    return rough + rough * off * (0.5 + 0.375 * off)


@_side_by_side
def _pull_pair(lanes, pulls, places, gm, p):
    """Pulls of planet systems p and p + 1: two in one loop halve what is read and written."""
    ax, ay, az, a_gm = places[p, 0], places[p, 1], places[p, 2], gm[p]
    bx, by, bz, b_gm = places[p + 1, 0], places[p + 1, 1], places[p + 1, 2], gm[p + 1]
    for i in range(LANES):
        x, y, z = lanes[0, i], lanes[1, i], lanes[2, i]
        dx, dy, dz = ax - x, ay - y, az - z
        d2 = dx * dx + dy * dy + dz * dz
        a_per = _per_root(d2)
        a_pull = a_gm * a_per * a_per * a_per
        ex, ey, ez = bx - x, by - y, bz - z
        e2 = ex * ex + ey * ey + ez * ez
        b_per = _per_root(e2)
        b_pull = b_gm * b_per * b_per * b_per
        pulls[0, i] += a_pull * dx + b_pull * ex
        pulls[1, i] += a_pull * dy + b_pull * ey
        pulls[2, i] += a_pull * dz + b_pull * ez


@_side_by_side
def kick_lanes(lanes, pulls, places, indirect, gm, lengths, lever, moment):
    """Half a kick of every body over its own `lengths` (0: it stands still); |kick| times `lever` joins its moment."""
    _start_pulls(lanes, pulls, indirect[0], indirect[1], indirect[2])
    for p in range(0, SYSTEMS, 2):
        _pull_pair(lanes, pulls, places, gm, p)
    for i in range(LANES):
        ax, ay, az, half = pulls[0, i], pulls[1, i], pulls[2, i], 0.5 * lengths[i]
        lanes[3, i] += half * ax
        lanes[4, i] += half * ay
        lanes[5, i] += half * az
        moment[i] += abs(half) * math.sqrt(ax * ax + ay * ay + az * az) * lever


@_side_by_side
def _mark_near_one(lanes, near, planet, by_error, by_approach):
    """`one_body.is_near` of one planet: flags go up."""
    px, py, pz, ux, uy, uz = planet[0], planet[1], planet[2], planet[3], planet[4], planet[5]
    for i in range(LANES):
        dx, dy, dz = px - lanes[0, i], py - lanes[1, i], pz - lanes[2, i]
        wx, wy, wz = ux - lanes[3, i], uy - lanes[4, i], uz - lanes[5, i]
        d2 = dx * dx + dy * dy + dz * dz
        v2 = wx * wx + wy * wy + wz * wz
        asks = (d2 * d2 * d2 < by_error * v2 * v2) | (d2 < by_approach * v2)
        near[i] = 1.0 if asks else near[i]


@_side_by_side
def mark_near(lanes, near, look, by_error, by_approach):
    """near[i] = 1 where some planet asks for a shorter step, else 0."""
    for i in range(LANES):
        near[i] = 0.0
    for p in range(SYSTEMS):
        if by_error[p] > 0.0:
            _mark_near_one(lanes, near, look[p], by_error[p], by_approach)


@njit(cache=True)
def new_lanes():
    """(states, pulls, moments before and after, near, unsettled, own step lengths, drift owed) of a block."""
    return (
        np.empty((6, LANES)),
        np.empty((3, LANES)),
        np.empty((2, LANES)),
        np.zeros(LANES),
        np.zeros(LANES),
        np.zeros(LANES),
        np.zeros(LANES),
    )
