"""Where a probe really arrives, and what its corrections cost. Compiled; km, km/s, s; B-plane T, R of the contract.

The miss e is the B-plane error at closest approach. A velocity change dv at time t moves it by M dv, M = (T, R) Phi_rv,
a position change by N = (T, R) Phi_rr (two-body transition matrix from t to the encounter).

    start       spring, mothership's orbit, execution of the main burn
    ground      a correction -M^+ (e + n): n is what tracking does not know of the probe; the target's own error t is
                not seen, so the miss relative to the target stays e - t
    optical     once the probe has seen the target for `turnaround`: -M^+ (e - t + n), n the centroid error times the
                range of the last image; only here t goes away
    execution   every burn errs by the Gates model: fixed part, proportional part along, pointing across

The error along the relative velocity (when the probe passes) is not corrected: it is in `sigma_along`.

References
----------
[1] Gates, "A simplified model of midcourse maneuver execution errors", JPL TR 32-504, 1963: sigma^2 = s1^2 + (s2 dv)^2
    along, s3^2 + (s4 dv)^2 on each axis across. Here s3 = s1.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.corrections import IN_SIGHT, add_outer, fill_influence

Floats = NDArray[np.float64]


@njit(cache=True)
def _execution(by_velocity, spread, errors, out):
    """Add M E[Gates] M^T to out for a burn whose second moment is `spread`, (3, 3) km^2/s^2."""
    trace = spread[0, 0] + spread[1, 1] + spread[2, 2]
    add_outer(by_velocity, errors.fixed_km_s**2 + errors.pointing_rad**2 * trace, out)
    weight = errors.proportional**2 - errors.pointing_rad**2
    for i in range(3):
        for j in range(3):
            part = weight * spread[i, j]
            out[0] += part * by_velocity[1, i] * by_velocity[1, j]
            out[1] += part * by_velocity[2, i] * by_velocity[2, j]
            out[2] += part * by_velocity[1, i] * by_velocity[2, j]


@njit(cache=True)
def larger_sigma(cov):
    """Square root of the larger eigenvalue of (TT, RR, TR)."""
    middle = 0.5 * (cov[0] + cov[1])
    return math.sqrt(max(middle + math.sqrt(0.25 * (cov[0] - cov[1]) ** 2 + cov[2] ** 2), 0.0))


@njit(cache=True)
def fill_start(state, axes, burn_km_s, times_s, errors, out):
    """Write the covariance of the miss before any correction; times_s = (release, burn) before the encounter."""
    velocity, position = np.empty((3, 3)), np.empty((3, 3))
    out[:] = 0.0
    fill_influence(state, axes, times_s[0], velocity, position)
    add_outer(velocity, errors.mothership_km_s**2 + errors.spring_km_s**2, out)
    add_outer(position, errors.mothership_km**2, out)
    fill_influence(state, axes, times_s[1], velocity, position)
    spread = np.empty((3, 3))
    for i in range(3):
        for j in range(3):
            spread[i, j] = burn_km_s[i] * burn_km_s[j]
    _execution(velocity, spread, errors, out)


@njit(cache=True)
def _sees(before_s, range_km, speed_km_s, turnaround_s):
    """Whether a correction can use images: on the nominal path the target was in range `turnaround` earlier."""
    return speed_km_s * (before_s + turnaround_s) <= range_km


@njit(cache=True)
def _after_correction(k, plan, cov, unknown, errors, out):
    """Covariance of the miss after correction k of a miss of `cov` known to within `unknown`, both (3,)."""
    spread = np.zeros((3, 3))
    tt, rr, tr = cov[0] + unknown[0], cov[1] + unknown[1], cov[2] + unknown[2]
    gain = plan.inverse[k]
    for i in range(3):
        for j in range(3):
            spread[i, j] = gain[i, 0] * (tt * gain[j, 0] + tr * gain[j, 1]) + gain[i, 1] * (
                tr * gain[j, 0] + rr * gain[j, 1]
            )
    out[:] = unknown
    _execution(plan.influence[k], spread, errors, out)


@njit(cache=True)
def linear_covariance(plan, start, target, range_km, speed_km_s, errors):
    """Covariance (TT, RR, TR) of the miss relative to the target after the corrections of `plan`.

    start  : (3,) before any correction;  target : (3,) of the target's own place
    Exact for the model as long as every correction is flown and the target is always seen where it is on the nominal
    path.
    """
    cov, known, fresh = start.copy(), np.empty(3), np.empty(3)
    seen = False
    for k in range(plan.planned):
        if _sees(plan.before_s[k], range_km, speed_km_s, errors.turnaround_s):
            if not seen:
                cov += target
            seen = True
            known[:] = 0.0
            known[:2] = (errors.sight_rad * speed_km_s * (plan.before_s[k] + errors.turnaround_s)) ** 2
        elif plan.kind[k] == IN_SIGHT:
            continue
        else:
            known[:] = plan.unknown[k]
        _after_correction(k, plan, cov, known, errors, fresh)
        cov[:] = fresh
    if not seen:
        cov += target
    return cov


@njit(cache=True)
def cholesky2(cov):
    """Lower factor (a, b, c): [[a, 0], [b, c]] of (TT, RR, TR)."""
    a = math.sqrt(max(cov[0], 0.0))
    b = cov[2] / a if a > 0.0 else 0.0
    return a, b, math.sqrt(max(cov[1] - b * b, 0.0))


@njit(cache=True)
def _cholesky3(matrix):
    low = np.zeros((3, 3))
    for i in range(3):
        for j in range(i + 1):
            rest = matrix[i, j]
            for k in range(j):
                rest -= low[i, k] * low[j, k]
            if i == j:
                low[i, i] = math.sqrt(max(rest, 0.0))
            elif low[j, j] > 0.0:
                low[i, j] = rest / low[j, j]
    return low


class _Sample(NamedTuple):
    """One sample between two corrections: probe and target off their places in T, R, the spent delta-v, seen or not."""

    x: float
    y: float
    target_x: float
    target_y: float
    spent: float
    seen: bool


@njit(cache=True)
def _executed(vx, vy, vz, g, errors):
    """Execution error (3) of a correction by Gates [1]: fixed on every axis, proportional along, pointing across."""
    # dv x z has the spread across
    fixed, along_part, across = errors.fixed_km_s, errors.proportional * g[5], errors.pointing_rad
    return (
        fixed * g[2] + along_part * vx + across * (vy * g[8] - vz * g[7]),
        fixed * g[3] + along_part * vy + across * (vz * g[6] - vx * g[8]),
        fixed * g[4] + along_part * vz + across * (vx * g[7] - vy * g[6]),
    )


@njit(cache=True)
def _corrected(k, sample, seen, known_x, known_y, plan, g, errors):
    """A sample after correction k, whose place is known but for (known_x, known_y)."""
    x, y, target_x, target_y = sample.x, sample.y, sample.target_x, sample.target_y
    if seen and not sample.seen:
        x, y, target_x, target_y = x - target_x, y - target_y, 0.0, 0.0
    gain, move = plan.inverse[k], plan.influence[k]
    bx, by = x + known_x, y + known_y
    vx = -(gain[0, 0] * bx + gain[0, 1] * by)
    vy = -(gain[1, 0] * bx + gain[1, 1] * by)
    vz = -(gain[2, 0] * bx + gain[2, 1] * by)
    spent = sample.spent + math.sqrt(vx * vx + vy * vy + vz * vz)
    ex, ey, ez = _executed(vx, vy, vz, g, errors)
    x = -known_x + move[1, 0] * ex + move[1, 1] * ey + move[1, 2] * ez
    y = -known_y + move[2, 0] * ex + move[2, 1] * ey + move[2, 2] * ez
    return _Sample(x, y, target_x, target_y, spent, seen or sample.seen)


@njit(cache=True)
def _in_range(far_km, along_km, sample, range_km):
    """Whether the target is in range at the last image used: far out by the time left, off by the miss, early or late
    by the error along; or it was seen before."""
    depth, off_x, off_y = far_km + along_km, sample.x - sample.target_x, sample.y - sample.target_y
    return depth * depth + off_x * off_x + off_y * off_y <= range_km * range_km or sample.seen


@njit(cache=True)
def sample_arrivals(plan, start, target, range_km, speed_km_s, errors, normals, miss, spent, seen):
    """Fly every sample through the corrections of `plan`.

    target : (3, 3) covariance of the target's place, rows T, R, S
    miss   : (samples, 2) out, relative to the target;  spent : (samples,) out, sum of the corrections, km/s
    seen   : (samples,) out, whether a correction in sight of the target was flown
    """
    a, b, c = cholesky2(start)
    low = _cholesky3(target)
    roots = np.empty((plan.planned, 3))
    possible = np.empty(plan.planned, dtype=np.bool_)
    for k in range(plan.planned):
        roots[k] = cholesky2(plan.unknown[k])
        possible[k] = _sees(plan.before_s[k], range_km, speed_km_s, errors.turnaround_s)
    for i in range(miss.shape[0]):
        z = normals.start[i]
        target_x, target_y = low[0, 0] * z[2], low[1, 0] * z[2] + low[1, 1] * z[3]
        along = low[2, 0] * z[2] + low[2, 1] * z[3] + low[2, 2] * z[4]
        sample = _Sample(a * z[0], b * z[0] + c * z[1], target_x, target_y, 0.0, False)
        for k in range(plan.planned):
            g = normals.corrections[k, i]
            far = speed_km_s * (plan.before_s[k] + errors.turnaround_s)
            in_sight = possible[k] and _in_range(far, along, sample, range_km)
            if in_sight:
                known_x, known_y = errors.sight_rad * far * g[0], errors.sight_rad * far * g[1]
            elif plan.kind[k] == IN_SIGHT:
                continue
            else:
                known_x, known_y = roots[k, 0] * g[0], roots[k, 1] * g[0] + roots[k, 2] * g[1]
            sample = _corrected(k, sample, in_sight, known_x, known_y, plan, g, errors)
        miss[i, 0], miss[i, 1] = sample.x - sample.target_x, sample.y - sample.target_y
        spent[i], seen[i] = sample.spent, sample.seen


@njit(cache=True)
def quantile(values, share, work):
    """The ceil(share * n)-th smallest of n values, by Hoare's selection; `work` is scratch of the same length."""
    low, high = 0, values.size - 1
    for i in range(values.size):
        work[i] = values[i]
    k = min(max(int(math.ceil(share * values.size)) - 1, 0), high)
    while low < high:
        pivot = work[(low + high) // 2]
        i, j = low, high
        while i <= j:
            while work[i] < pivot:
                i += 1
            while work[j] > pivot:
                j -= 1
            if i <= j:
                work[i], work[j] = work[j], work[i]
                i += 1
                j -= 1
        if k <= j:
            high = j
        elif k >= i:
            low = i
        else:
            break
    return work[k]
