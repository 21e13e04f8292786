"""Compiled Lambert solver: any number of revolutions, both branches, status codes.

Scalar kernel first, then a thin loop over arrays. Kernels never raise: where there is no solution the
velocities are NaN and the status says why (`STATUS_SENTENCES`).

References
----------
[1] Izzo 2015, "Revisiting Lambert's problem", Celest. Mech. Dyn. Astron. 121:1 (variables x, lambda, T;
    starting values eqs. 30-31; derivatives eq. 22; Householder steps; velocities from eq. (5) ff.).
[2] Lancaster & Blanchard 1969, NASA TN D-5368 (time of flight away from x = 1).
[3] Battin 1987, section 7.2 (hypergeometric form near x = 1).
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from targets.base.constants import GM_SUN_KM3_S2

OK, NO_SOLUTION, NO_CONVERGENCE, DEGENERATE_PLANE, BAD_INPUT = 0, 1, 2, 3, 4
STATUS_SENTENCES = {
    OK: "solved",
    NO_SOLUTION: "no arc of that many revolutions takes so short a time",
    NO_CONVERGENCE: "the iteration did not settle",
    DEGENERATE_PLANE: "start and end lie on one line with the centre: the plane of the arc is not defined",
    BAD_INPUT: "times and radii must be positive and finite",
}
# sine of the transfer angle below which the plane r0 x r1 carries fewer than ten digits
_DEGENERATE_SINE = 2e-6
_BATTIN_WITHIN, _LANCASTER_WITHIN = 0.01, 0.2


@njit(cache=True)
def _hypergeometric(z):
    """2F1(3, 1; 5/2; z)."""
    total = 1.0
    term = 1.0
    for j in range(200):
        term *= (3.0 + j) * (1.0 + j) / (2.5 + j) * z / (j + 1.0)
        total += term
        if abs(term) < 1e-17:
            break
    return total


@njit(cache=True)
def _time_of_flight(x, lam, revolutions):
    """Non-dimensional time T(x)."""
    off = abs(x - 1.0)
    e = x * x - 1.0
    rho = abs(e)
    z = math.sqrt(1.0 + lam * lam * e)
    if off < _BATTIN_WITHIN:
        eta = z - lam * x
        s1 = 0.5 * (1.0 - lam - x * eta)
        q = 4.0 / 3.0 * _hypergeometric(s1)
        arc = 0.5 * (eta * eta * eta * q + 4.0 * lam * eta)
        return arc if revolutions == 0 else arc + revolutions * math.pi / rho**1.5
    if off < _LANCASTER_WITHIN:
        if e < 0.0:
            a = 1.0 / (1.0 - x * x)
            alpha = 2.0 * math.acos(x)
            beta = 2.0 * math.asin(math.sqrt(lam * lam / a))
            if lam < 0.0:
                beta = -beta
            return (
                a
                * math.sqrt(a)
                * ((alpha - math.sin(alpha)) - (beta - math.sin(beta)) + 2.0 * math.pi * revolutions)
                / 2.0
            )
        a = 1.0 / (1.0 - x * x)
        alpha = 2.0 * math.acosh(x)
        beta = 2.0 * math.asinh(math.sqrt(-lam * lam / a))
        if lam < 0.0:
            beta = -beta
        return -a * math.sqrt(-a) * ((beta - math.sinh(beta)) - (alpha - math.sinh(alpha))) / 2.0
    y = math.sqrt(rho)
    g = x * z - lam * e
    ellipse = e < 0.0
    d = (
        revolutions * math.pi + math.acos(min(1.0, max(-1.0, g)))
        if ellipse
        else math.log(y * (z - lam * x) + g)
    )
    return (x - lam * z - d / y) / e


@njit(cache=True)
def _time_derivatives(x, t, lam):
    """First three derivatives of T(x), eq. 22 of [1]."""
    l2 = lam * lam
    l3 = l2 * lam
    umx2 = 1.0 - x * x
    y = math.sqrt(1.0 - l2 * umx2)
    y2 = y * y
    y3 = y2 * y
    d1 = (3.0 * t * x - 2.0 + 2.0 * l3 * x / y) / umx2
    d2 = (3.0 * t + 5.0 * x * d1 + 2.0 * (1.0 - l2) * l3 / y3) / umx2
    d3 = (7.0 * x * d2 + 8.0 * d1 - 6.0 * (1.0 - l2) * l2 * l3 * x / (y3 * y2)) / umx2
    return d1, d2, d3


@njit(cache=True)
def _householder(t, x, lam, revolutions):
    """Solve T(x) = t from a start by Householder's iteration of third order; (x, converged)."""
    for _ in range(40):
        value = _time_of_flight(x, lam, revolutions)
        d1, d2, d3 = _time_derivatives(x, value, lam)
        delta = value - t
        d12 = d1 * d1
        step = delta * (d12 - delta * d2 / 2.0) / (d1 * (d12 - delta * d2) + d3 * delta * delta / 6.0)
        new = x - step
        if not new > -1.0:
            new = 0.5 * (x - 1.0)
        if revolutions > 0 and new >= 1.0:
            new = 0.5 * (x + 1.0)
        moved = abs(new - x)
        x = new
        # Fourth order: after a step this small the next one is below a double's resolution. Near the least time
        # of a revolved arc two roots meet and the order drops: more steps there.
        if moved < (1e-5 if revolutions == 0 else 1e-10):
            return x, True
    return x, False


@njit(cache=True)
def _least_time(lam, revolutions, t_start):
    """Smallest T for a number of revolutions, by Halley's iteration on dT/dx = 0."""
    x = 0.0
    t = t_start
    for _ in range(30):
        d1, d2, d3 = _time_derivatives(x, t, lam)
        new = x - d1 * d2 / (d2 * d2 - d1 * d3 / 2.0) if d1 != 0.0 else x
        moved = abs(new - x)
        x = new
        t = _time_of_flight(x, lam, revolutions)
        if moved < 1e-13:
            break
    return t


@njit(cache=True)
def _start_direct(t, lam):
    """Starting x for an arc of less than one revolution, eq. 30 of [1]."""
    l2 = lam * lam
    t0 = math.acos(lam) + lam * math.sqrt(1.0 - l2)
    t1 = 2.0 / 3.0 * (1.0 - l2 * lam)
    if t >= t0:
        return -(t - t0) / (t - t0 + 4.0)
    if t <= t1:
        return 2.5 * t1 * (t1 - t) / (t * (1.0 - l2 * l2 * lam)) + 1.0
    return (t / t0) ** (0.69314718055994529 / math.log(t1 / t0)) - 1.0


@njit(cache=True)
def _start_revolved(t, revolutions, right):
    """Starting x for the left (high) or right (low) branch, eq. 31 of [1]."""
    if right:
        p = ((8.0 * t) / (revolutions * math.pi)) ** (2.0 / 3.0)
    else:
        p = ((revolutions * math.pi + math.pi) / (8.0 * t)) ** (2.0 / 3.0)
    return (p - 1.0) / (p + 1.0)


@njit(cache=True)
def _solve_time(t, lam, revolutions, right):
    """Status and the x of T(x) = t."""
    if revolutions == 0:
        x, settled = _householder(t, _start_direct(t, lam), lam, 0)
        return (OK if settled else NO_CONVERGENCE), x
    if t < revolutions * math.pi:
        return NO_SOLUTION, math.nan
    t0 = math.acos(lam) + lam * math.sqrt(1.0 - lam * lam) + revolutions * math.pi
    if t < t0 and _least_time(lam, revolutions, t0) > t:
        return NO_SOLUTION, math.nan
    x, settled = _householder(t, _start_revolved(t, revolutions, right), lam, revolutions)
    return (OK if settled else NO_CONVERGENCE), x


@njit(cache=True)
def lambert(x0, y0, z0, x1, y1, z1, tof, mu, normal, revolutions, right):
    """One Lambert arc.

    `normal` +1: the arc turns about r0 x r1 (less than half a turn past whole revolutions); -1: the other way
    round. `right` picks the second of the two branches when revolutions > 0.
    Returns status, v0 (3), v1 (3) as seven values.
    """
    nan = math.nan
    r0 = math.sqrt(x0 * x0 + y0 * y0 + z0 * z0)
    r1 = math.sqrt(x1 * x1 + y1 * y1 + z1 * z1)
    if not (tof > 0.0 and r0 > 0.0 and r1 > 0.0 and tof < math.inf and r0 < math.inf and r1 < math.inf):
        return BAD_INPUT, nan, nan, nan, nan, nan, nan
    cx, cy, cz = y0 * z1 - z0 * y1, z0 * x1 - x0 * z1, x0 * y1 - y0 * x1
    cross = math.sqrt(cx * cx + cy * cy + cz * cz)
    if not cross > _DEGENERATE_SINE * r0 * r1:
        return DEGENERATE_PLANE, nan, nan, nan, nan, nan, nan
    chord = math.sqrt((x1 - x0) ** 2 + (y1 - y0) ** 2 + (z1 - z0) ** 2)
    s = 0.5 * (r0 + r1 + chord)
    # 1 - chord/s = r0 r1 (1 + cos)/(2 s^2): without the cancellation near half a turn
    dot = x0 * x1 + y0 * y1 + z0 * z1
    one_plus_cos = r0 * r1 + dot if dot > 0.0 else cross * cross / (r0 * r1 - dot)
    lam = normal * math.sqrt(0.5 * one_plus_cos) / s
    t = math.sqrt(2.0 * mu / (s * s * s)) * tof
    status, x = _solve_time(t, lam, revolutions, right)
    if status != OK:
        return status, nan, nan, nan, nan, nan, nan
    gamma = math.sqrt(0.5 * mu * s)
    rho = (r0 - r1) / chord
    sigma = math.sqrt(max(0.0, 1.0 - rho * rho))
    y = math.sqrt(1.0 - lam * lam * (1.0 - x * x))
    radial0 = gamma * ((lam * y - x) - rho * (lam * y + x)) / r0
    radial1 = -gamma * ((lam * y - x) + rho * (lam * y + x)) / r1
    across = gamma * sigma * (y + lam * x)
    nx, ny, nz = normal * cx / cross, normal * cy / cross, normal * cz / cross
    ax, ay, az = x0 / r0, y0 / r0, z0 / r0
    bx, by, bz = x1 / r1, y1 / r1, z1 / r1
    t0s, t1s = across / r0, across / r1
    return (
        OK,
        radial0 * ax + t0s * (ny * az - nz * ay),
        radial0 * ay + t0s * (nz * ax - nx * az),
        radial0 * az + t0s * (nx * ay - ny * ax),
        radial1 * bx + t1s * (ny * bz - nz * by),
        radial1 * by + t1s * (nz * bx - nx * bz),
        radial1 * bz + t1s * (nx * by - ny * bx),
    )


@njit(cache=True)
def _lambert_many(r0, r1, tof, mu, normal, revolutions, right):
    count = tof.shape[0]
    v0 = np.empty((count, 3))
    v1 = np.empty((count, 3))
    status = np.empty(count, dtype=np.int8)
    for n in range(count):
        out = lambert(
            r0[n, 0],
            r0[n, 1],
            r0[n, 2],
            r1[n, 0],
            r1[n, 1],
            r1[n, 2],
            tof[n],
            mu,
            normal[n],
            revolutions[n],
            right[n],
        )
        status[n] = out[0]
        v0[n] = out[1:4]
        v1[n] = out[4:7]
    return v0, v1, status


def lambert_many(
    r0_km: np.ndarray,
    r1_km: np.ndarray,
    tof_s: np.ndarray,
    *,
    mu_km3_s2: float = GM_SUN_KM3_S2,
    normal: np.ndarray | int = 1,
    revolutions: np.ndarray | int = 0,
    right: np.ndarray | bool = False,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Solve many Lambert problems.

    Parameters
    ----------
    r0_km, r1_km : (n, 3)  start and end in one inertial frame
    tof_s        : (n,) > 0
    normal       : +1 for arcs that turn about r0 x r1, -1 for the other way round
    revolutions  : whole turns added; with more than zero `right` picks the branch

    Returns
    -------
    v0_km_s, v1_km_s : (n, 3)   NaN where status is not OK
    status           : (n,) int8, see STATUS_SENTENCES
    """
    r0_km = np.ascontiguousarray(np.atleast_2d(r0_km), dtype=float)
    r1_km = np.ascontiguousarray(np.atleast_2d(r1_km), dtype=float)
    count = r0_km.shape[0]

    def spread(value: object, kind: type) -> np.ndarray:
        return np.ascontiguousarray(np.broadcast_to(np.asarray(value, dtype=kind), (count,)))

    return _lambert_many(
        r0_km,
        r1_km,
        spread(tof_s, float),
        mu_km3_s2,
        spread(normal, float),
        spread(revolutions, np.int64),
        spread(right, np.bool_),
    )


def normal_of_clockwise(r0_km: np.ndarray, r1_km: np.ndarray, clockwise: np.ndarray | bool) -> np.ndarray:
    """`normal` (+1 or -1) of arcs given as clockwise or not about +Z."""
    upward = np.cross(r0_km, r1_km)[..., 2] >= 0.0
    return np.where(upward ^ np.asarray(clockwise), 1, -1)
