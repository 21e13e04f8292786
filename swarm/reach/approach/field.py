"""Motion about a planet: its gravity with J2 and J4, its moons, the Sun and the other planets. Compiled; km, km/s, s.

    a = -mu r/r^3 + oblateness + sum GM_j (d_j/d_j^3 - p_j/p_j^3)

p_j is body j from the planet, d_j from the probe to it. Moons carry their own J2. They stand on a fine grid, Sun and
planets on a coarse one, both read by cubic polynomials of Hermite's kind (`hermite_position`): metres. The integrator
is the pair of order 8 of `targets.motion.order8`, as in refinement; relativity and solar pressure are left to that
(hundreds of metres in sixty days, which the burn takes up).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from targets.ephemeris.planets import hermite_position, hermite_velocity
from targets.motion.order8 import C, error_of, next_factor, to_end, to_stage, transition_rates

Floats = NDArray[np.float64]

TOLERANCE = 1e-12
# A step is never longer than this share of the time to reach a body that is near: none is stepped over.
_SHARE_OF_RANGE = 0.25
_STEP_LEAST_S = 1.0
STEPS_MAX = 20_000
OK, TOO_MANY_STEPS, OUTSIDE, NOT_MET, HIT = range(5)

PLANET = -1


class PlanetField(NamedTuple):
    """What compiled code reads; states are about the planet's centre, ICRF.

    gm, radius_km, j2, j4, j_radius_km, pole : of the planet
    moons     : (k, m, 6) on a grid from moons_start_s by moons_step_s; moon_* : (k,) or (k, 3)
    far       : (b, n, 6) Sun and planets on a coarser grid; far_gm : (b,)
    """

    gm: float
    radius_km: float
    j2: float
    j4: float
    j_radius_km: float
    pole: Floats
    moons: Floats
    moons_start_s: float
    moons_step_s: float
    moon_gm: Floats
    moon_radius_km: Floats
    moon_j2: Floats
    moon_j_radius_km: Floats
    moon_pole: Floats
    far: Floats
    far_start_s: float
    far_step_s: float
    far_gm: Floats


class Met(NamedTuple):
    """Where a path was when it was stopped: the status, the epoch, and the state with its transition matrix in `y`."""

    status: int
    epoch_s: float


@njit(cache=True)
def place_of(body, t, field):
    """Position of a moon, or of the planet itself."""
    if body == PLANET:
        return 0.0, 0.0, 0.0
    return hermite_position(field.moons[body], field.moons_start_s, field.moons_step_s, t)


@njit(cache=True)
def velocity_of(body, t, field):
    if body == PLANET:
        return 0.0, 0.0, 0.0
    return hermite_velocity(field.moons[body], field.moons_start_s, field.moons_step_s, t)


@njit(cache=True)
def _point(dx, dy, dz, gm, rate, gradient, wide):
    """Add the pull of a point at -d from the probe, and its gradient."""
    d2 = dx * dx + dy * dy + dz * dz
    pull = gm / (d2 * math.sqrt(d2))
    rate[0] -= pull * dx
    rate[1] -= pull * dy
    rate[2] -= pull * dz
    if wide:
        d = (dx, dy, dz)
        for i in range(3):
            for j in range(3):
                gradient[i, j] += 3.0 * pull * d[i] * d[j] / d2
            gradient[i, i] -= pull


@njit(cache=True)
def _oblate(dx, dy, dz, gm, j2, j4, j_radius, pole, rate, gradient, wide):
    """Add the pull of J2 and J4: the slope of -gm J_n R^n P_n(s) / r^(n + 1), s the sine of latitude."""
    r2 = dx * dx + dy * dy + dz * dz
    r = math.sqrt(r2)
    z = dx * pole[0] + dy * pole[1] + dz * pole[2]
    s = z / r
    s2 = s * s
    k2 = 1.5 * gm * j2 * j_radius * j_radius / (r2 * r2)
    k4 = gm * j4 * j_radius**4 / (r2 * r2 * r2)
    p4, slope4 = (35.0 * s2 * s2 - 30.0 * s2 + 3.0) / 8.0, (35.0 * s2 - 15.0) * s / 2.0
    radial = -k2 * (1.0 - 5.0 * s2) + k4 * (5.0 * p4 + s * slope4)
    polar = -2.0 * k2 * s - k4 * slope4
    d = (dx, dy, dz)
    for i in range(3):
        rate[i] += radial * d[i] / r + polar * pole[i]
    if wide:
        size = k2 / r
        for i in range(3):
            for j in range(3):
                gradient[i, j] -= size * (
                    d[i] * d[j] / r2 * (35.0 * s2 - 5.0)
                    - 10.0 * s / r * (d[i] * pole[j] + pole[i] * d[j])
                    + 2.0 * pole[i] * pole[j]
                )
            gradient[i, i] -= size * (1.0 - 5.0 * s2)
        if j4 != 0.0:
            _oblate_4_gradient(d, r, s, gm, j4, j_radius, pole, gradient)


@njit(cache=True)
def _oblate_4_gradient(d, r, s, gm, j4, j_radius, pole, gradient):
    """Add the gradient of J4's part of `_oblate`: K (5 P4 + s P4') d/r^7 - K P4' pole/r^6, K = gm J4 R^4."""
    s2 = s * s
    p4, slope, bend = (
        (35.0 * s2 * s2 - 30.0 * s2 + 3.0) / 8.0,
        (35.0 * s2 - 15.0) * s / 2.0,
        (105.0 * s2 - 15.0) / 2.0,
    )
    size = gm * j4 * (j_radius / r) ** 4 / (r * r * r)
    along = 5.0 * p4 + s * slope
    for j in range(3):
        u = d[j] / r
        turn = pole[j] - s * u
        radial, polar = -7.0 * u * along + (6.0 * slope + s * bend) * turn, 6.0 * u * slope - bend * turn
        for i in range(3):
            gradient[i, j] += size * (radial * d[i] / r + polar * pole[i])
        gradient[j, j] += size * along


@njit(cache=True)
def _indirect(x, y, z, gm, rate):
    """The planet is pulled, too."""
    p2 = x * x + y * y + z * z
    pull = gm / (p2 * math.sqrt(p2))
    rate[0] -= pull * x
    rate[1] -= pull * y
    rate[2] -= pull * z


@njit(cache=True)
def fill_field_rates(t, y, field, out, gradient):
    wide = y.size == 42
    rate = out[3:6]
    rate[:] = 0.0
    gradient[:] = 0.0
    if field.gm > 0.0:
        _point(y[0], y[1], y[2], field.gm, rate, gradient, wide)
        _oblate(
            y[0],
            y[1],
            y[2],
            field.gm,
            field.j2,
            field.j4,
            field.j_radius_km,
            field.pole,
            rate,
            gradient,
            wide,
        )
    for k in range(field.moon_gm.size):
        gm = field.moon_gm[k]
        px, py, pz = hermite_position(field.moons[k], field.moons_start_s, field.moons_step_s, t)
        dx, dy, dz = y[0] - px, y[1] - py, y[2] - pz
        _point(dx, dy, dz, gm, rate, gradient, wide)
        if field.moon_j2[k] != 0.0:
            _oblate(
                dx, dy, dz, gm, field.moon_j2[k], 0.0, field.moon_j_radius_km[k], field.moon_pole[k], rate,
                gradient, wide,
            )  # fmt: skip
        _indirect(px, py, pz, gm, rate)
    for k in range(field.far_gm.size):
        px, py, pz = hermite_position(field.far[k], field.far_start_s, field.far_step_s, t)
        _point(y[0] - px, y[1] - py, y[2] - pz, field.far_gm[k], rate, gradient, wide)
        _indirect(px, py, pz, field.far_gm[k], rate)
    out[0], out[1], out[2] = y[3], y[4], y[5]
    if wide:
        transition_rates(y, gradient, out)


@njit(cache=True)
def step_in_field(t, y, h, field, stages, work, gradient, new):
    """One step into `new`; return its error in units of the tolerance. stages[0] holds the rates at t."""
    for s in range(1, 12):
        to_stage(s, y, h, stages, work)
        fill_field_rates(t + C[s] * h, work, field, stages[s], gradient)
    to_end(y, h, stages, new)
    fill_field_rates(t + h, new, field, stages[12], gradient)
    return error_of(h, stages, new, TOLERANCE)


@njit(cache=True)
def relative_to(body, t, y, field):
    """Six numbers: the probe relative to a body."""
    px, py, pz = place_of(body, t, field)
    vx, vy, vz = velocity_of(body, t, field)
    return y[0] - px, y[1] - py, y[2] - pz, y[3] - vx, y[4] - vy, y[5] - vz


@njit(cache=True)
def range_and_rate(body, t, y, field):
    x, yy, z, vx, vy, vz = relative_to(body, t, y, field)
    r = math.sqrt(x * x + yy * yy + z * z)
    return r, (x * vx + yy * vy + z * vz) / r, math.sqrt(vx * vx + vy * vy + vz * vz)


@njit(cache=True)
def longest_in_field_s(t, y, target, field):
    """The longest step that no body near is stepped over with; and whether one that is not the target is hit."""
    longest, hit = math.inf, False
    for body in range(PLANET, field.moon_gm.size):
        if body == PLANET and field.gm == 0.0:
            continue
        r, _, v = range_and_rate(body, t, y, field)
        longest = min(longest, _SHARE_OF_RANGE * r / v)
        radius = field.radius_km if body == PLANET else field.moon_radius_km[body]
        hit = hit or (body != target and r < radius)
    return max(longest, _STEP_LEAST_S), hit


@njit(cache=True)
def _closest(t, y, h, target, field, stages, work, gradient, new):
    """Length of the step, between 0 and h, that ends at the turn of the range; `new` is the state there."""
    low, high, tried = 0.0, h, 0.5 * h
    for _ in range(60):
        step_in_field(t, y, tried, field, stages, work, gradient, new)
        r, rate, v = range_and_rate(target, t + tried, new, field)
        if rate < 0.0:
            low = tried
        else:
            high = tried
        # the range rate of a straight path grows by v^2/r a second
        guess = tried - rate * r / (v * v)
        if abs(guess - tried) < 1e-6:
            break
        tried = guess if low < guess < high else 0.5 * (low + high)
    return tried


@njit(cache=True)
def fly_to_closest(y, begin, target, window, gate_km, field):
    """Move y in place to the closest approach to `target` within a window of epochs; return status and epoch.

    target : PLANET or the index of a moon
    window : (first, last) epochs between which the range must turn
    gate_km: stop as soon as the target is so near (0: never)
    """
    size = y.size
    stages, work, new = np.empty((13, size)), np.empty(size), np.empty(size)
    gradient = np.zeros((3, 3))
    t = begin
    h = 3600.0
    fill_field_rates(t, y, field, stages[0], gradient)
    _, rate, _ = range_and_rate(target, t, y, field)
    for _ in range(STEPS_MAX):
        longest, hit = longest_in_field_s(t, y, target, field)
        if hit:
            return Met(HIT, t)
        h = min(h, longest)
        error = step_in_field(t, y, h, field, stages, work, gradient, new)
        if not math.isfinite(error):
            return Met(TOO_MANY_STEPS, t)
        factor = next_factor(error)
        if error > 1.0:
            h *= min(factor, 0.9)
            continue
        r, after, _ = range_and_rate(target, t + h, new, field)
        if rate < 0.0 and after >= 0.0 and t + h >= window[0]:
            done = _closest(t, y, h, target, field, stages, work, gradient, new)
            if t + done >= window[0]:
                y[:] = new
                return Met(OK if t + done <= window[1] else NOT_MET, t + done)
            step_in_field(t, y, h, field, stages, work, gradient, new)
        y[:] = new
        stages[0, :] = stages[12]
        t, rate = t + h, after
        if r <= gate_km and t >= window[0] and after < 0.0:
            return Met(OK, t)
        if t > window[1]:
            return Met(NOT_MET, t)
        h *= factor
    return Met(TOO_MANY_STEPS, t)


@njit(cache=True)
def move_to(y, begin, end, field):
    """Move y in place from `begin` to `end`, later or earlier; return the status."""
    size = y.size
    stages, work, new = np.empty((13, size)), np.empty(size), np.empty(size)
    gradient = np.zeros((3, 3))
    span, sign, done = abs(end - begin), (1.0 if end > begin else -1.0), 0.0
    h = min(3600.0, span)
    if span == 0.0:
        return OK
    fill_field_rates(begin, y, field, stages[0], gradient)
    for _ in range(STEPS_MAX):
        longest, _ = longest_in_field_s(begin + sign * done, y, PLANET, field)
        h = min(h, longest)
        last = h >= span - done
        if last:
            h = span - done
        error = step_in_field(begin + sign * done, y, sign * h, field, stages, work, gradient, new)
        if not math.isfinite(error):
            return TOO_MANY_STEPS
        factor = next_factor(error)
        if error > 1.0:
            h *= min(factor, 0.9)
            continue
        y[:] = new
        stages[0, :] = stages[12]
        if last:
            return OK
        done += h
        h *= factor
    return TOO_MANY_STEPS
