"""Compiled two-body motion: elements <-> state, drift along any conic, transition matrix.

Scalar kernels first, then the thin loops over arrays. Kernels never raise: a body that cannot be
moved comes back as NaN.

References
----------
[1] Danby, Fundamentals of Celestial Mechanics, 2nd ed. 1988, ch. 6 (f and g in eccentric and universal variables).
[2] Conway 1986, "An improved algorithm due to Laguerre for the solution of Kepler's equation", Celest. Mech. 39.
[3] Battin, An Introduction to the Mathematics and Methods of Astrodynamics, 1987, section 4.5.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from targets.base.constants import GM_SUN_KM3_S2

_TWO_PI = 2.0 * math.pi
# Laguerre converges cubically: once a correction is below this share of r/a the next one is below a double's
# resolution. (Near the perihelion of a long ellipse r/a is small, and the factor before the cube its inverse.)
_LAST_CORRECTION = 1e-5
_MAX_ITERATIONS = 40
# Below this r/a the elliptic form loses digits (x - sin x of a small x): universal variables instead.
_NEAR_PARABOLIC = 1e-3


@njit(cache=True)
def eccentric_anomaly(mean_anomaly_rad, e):
    """Solve Kepler's equation for 0 <= e < 1; the result is on the same turn as the mean anomaly."""
    turns = np.round(mean_anomaly_rad / _TWO_PI) * _TWO_PI
    m = mean_anomaly_rad - turns
    x = m + 0.85 * e * (1.0 if m >= 0.0 else -1.0)
    for _ in range(_MAX_ITERATIONS):
        f = x - e * math.sin(x) - m
        f1 = 1.0 - e * math.cos(x)
        f2 = e * math.sin(x)
        step = 5.0 * f / (f1 + math.sqrt(abs(16.0 * f1 * f1 - 20.0 * f * f2)))
        x -= step
        if abs(step) < _LAST_CORRECTION * f1:
            break
    return x + turns


@njit(cache=True)
def _stumpff(psi):
    """Stumpff functions c2, c3 of psi = alpha chi^2 (positive for ellipses)."""
    if abs(psi) < 0.1:
        c2 = c3 = 0.0
        for k in range(8, -1, -1):  # Horner on the alternating series
            c2 = 1.0 / ((2 * k + 1) * (2 * k + 2)) * (1.0 - psi * c2)
            c3 = 1.0 / ((2 * k + 2) * (2 * k + 3)) * (1.0 - psi * c3)
        return c2, c3
    if psi > 0.0:
        root = math.sqrt(psi)
        return (1.0 - math.cos(root)) / psi, (root - math.sin(root)) / (psi * root)
    root = math.sqrt(-psi)
    return (math.cosh(root) - 1.0) / -psi, (math.sinh(root) - root) / (-psi * root)


@njit(cache=True)
def _elliptic_anomaly(ec, es, m):
    """Change u of eccentric anomaly for a change `m` of mean anomaly, |m| <= pi; with its sine and cosine.

    Solves u - ec sin u + es (1 - cos u) = m [1, eq. 6.8.8] by Laguerre steps.
    """
    # Three terms of the series in m where it holds (short steps, moderate e), m itself elsewhere.
    w = 1.0 / (1.0 - ec)
    y = m * w
    a2 = 0.5 * es * w
    u = y * (1.0 - y * (a2 - y * (2.0 * a2 * a2 - ec * w / 6.0)))
    if not abs(u - m) < 0.3:
        u = m
    sin_u = cos_u = 0.0
    for _ in range(_MAX_ITERATIONS):
        sin_u = math.sin(u)
        cos_u = math.cos(u)
        f = u - ec * sin_u + es * (1.0 - cos_u) - m
        f1 = 1.0 - ec * cos_u + es * sin_u
        f2 = ec * sin_u + es * cos_u
        step = 5.0 * f / (f1 + math.sqrt(abs(16.0 * f1 * f1 - 20.0 * f * f2)))
        u -= step
        if abs(step) < _LAST_CORRECTION * f1:
            # addition theorem; the terms left out are below a double's resolution
            c = 1.0 - 0.5 * step * step
            return u, sin_u * c - cos_u * step, cos_u * c + sin_u * step
    return u, math.sin(u), math.cos(u)


@njit(cache=True)
def _bracketed_anomaly(r0, rv0, alpha, mu, dt):
    """chi for near-parabolic and hyperbolic motion, by Laguerre steps kept inside a bracket."""
    sqrt_mu = math.sqrt(mu)
    sigma = rv0 / sqrt_mu
    goal = sqrt_mu * dt
    low, high = 0.0, 0.0
    reach = abs(goal) / r0
    sign = 1.0 if dt >= 0.0 else -1.0
    # widen until the equation, which grows with chi, passes the goal
    edge = min(reach, 20.0 / math.sqrt(abs(alpha)) if alpha != 0.0 else reach)
    for _ in range(200):
        c2, c3 = _stumpff(alpha * edge * edge)
        chi = sign * edge
        value = sigma * chi * chi * c2 + (1.0 - alpha * r0) * chi**3 * c3 + r0 * chi
        if sign * (value - goal) >= 0.0:
            break
        edge *= 1.5
    low, high = min(0.0, sign * edge), max(0.0, sign * edge)
    chi = sign * min(edge, reach)
    for _ in range(100):
        psi = alpha * chi * chi
        c2, c3 = _stumpff(psi)
        f = sigma * chi * chi * c2 + (1.0 - alpha * r0) * chi**3 * c3 + r0 * chi - goal
        f1 = chi * chi * c2 + sigma * chi * (1.0 - psi * c3) + r0 * (1.0 - psi * c2)
        f2 = sigma * (1.0 - psi * c2) + (1.0 - alpha * r0) * chi * (1.0 - psi * c3)
        if f > 0.0:
            high = chi
        else:
            low = chi
        step = 5.0 * f / (f1 + math.sqrt(abs(16.0 * f1 * f1 - 20.0 * f * f2)))
        new = chi - step
        if not (low <= new <= high):
            new = 0.5 * (low + high)
        if abs(new - chi) <= 4e-16 * abs(new) or new == chi:
            return new
        chi = new
    return chi


@njit(cache=True)
def universal_anomaly(r0, rv0, alpha, mu, dt):
    """chi of the universal Kepler equation for any conic, whole turns of an ellipse included."""
    if alpha * r0 <= _NEAR_PARABOLIC:
        return _bracketed_anomaly(r0, rv0, alpha, mu, dt)
    m = math.sqrt(mu * alpha) * alpha * dt
    turns = np.round(m / _TWO_PI) * _TWO_PI
    u, _, _ = _elliptic_anomaly(1.0 - r0 * alpha, rv0 * math.sqrt(alpha / mu), m - turns)
    return (u + turns) / math.sqrt(alpha)


@njit(cache=True)
def drift(x, y, z, vx, vy, vz, mu, dt):
    """Move a state along its conic for `dt` (either sign); km, km/s, s. Returns six numbers."""
    r0 = math.sqrt(x * x + y * y + z * z)
    v2 = vx * vx + vy * vy + vz * vz
    rv0 = x * vx + y * vy + z * vz
    alpha = 2.0 / r0 - v2 / mu
    if alpha * r0 > _NEAR_PARABOLIC:
        a = 1.0 / alpha
        root_alpha = math.sqrt(alpha)
        root_mu = math.sqrt(mu)
        n = root_mu * root_alpha * alpha
        ec = 1.0 - r0 * alpha
        es = rv0 * root_alpha / root_mu
        m = n * dt
        m -= _TWO_PI * round(m / _TWO_PI)
        _, sin_u, cos_u = _elliptic_anomaly(ec, es, m)
        one_minus_cos = sin_u * sin_u / (1.0 + cos_u) if cos_u > 0.0 else 1.0 - cos_u
        r = a * (1.0 - ec * cos_u + es * sin_u)
        f = 1.0 - a / r0 * one_minus_cos
        g = (r0 * alpha * sin_u + es * one_minus_cos) / n
        fd = -root_mu / (root_alpha * r * r0) * sin_u
        gd = 1.0 - a / r * one_minus_cos
    else:
        chi = _bracketed_anomaly(r0, rv0, alpha, mu, dt)
        psi = alpha * chi * chi
        c2, c3 = _stumpff(psi)
        sqrt_mu = math.sqrt(mu)
        f = 1.0 - chi * chi / r0 * c2
        g = dt - chi**3 / sqrt_mu * c3
        r = chi * chi * c2 + rv0 / sqrt_mu * chi * (1.0 - psi * c3) + r0 * (1.0 - psi * c2)
        fd = sqrt_mu / (r * r0) * chi * (psi * c3 - 1.0)
        gd = 1.0 - chi * chi / r * c2
    return (
        f * x + g * vx,
        f * y + g * vy,
        f * z + g * vz,
        fd * x + gd * vx,
        fd * y + gd * vy,
        fd * z + gd * vz,
    )


@njit(cache=True)
def _rotate_from_perifocal(p, q, cn, sn, ci, si, cw, sw):
    """Perifocal (p, q) to the frame of the angles."""
    return (
        p * (cn * cw - sn * sw * ci) + q * (-cn * sw - sn * cw * ci),
        p * (sn * cw + cn * sw * ci) + q * (-sn * sw + cn * cw * ci),
        p * (sw * si) + q * (cw * si),
    )


@njit(cache=True)
def _states_from_elements(a_km, e, i_rad, node_rad, argp_rad, mean_anomaly_rad, mu):
    count = a_km.shape[0]
    r_km = np.empty((count, 3))
    v_km_s = np.empty((count, 3))
    for k in range(count):
        u = eccentric_anomaly(mean_anomaly_rad[k], e[k])
        minor = math.sqrt((1.0 - e[k]) * (1.0 + e[k]))
        cos_u, sin_u = math.cos(u), math.sin(u)
        speed = math.sqrt(mu / a_km[k]) / (1.0 - e[k] * cos_u)
        cn, sn = math.cos(node_rad[k]), math.sin(node_rad[k])
        ci, si = math.cos(i_rad[k]), math.sin(i_rad[k])
        cw, sw = math.cos(argp_rad[k]), math.sin(argp_rad[k])
        r = _rotate_from_perifocal(a_km[k] * (cos_u - e[k]), a_km[k] * minor * sin_u, cn, sn, ci, si, cw, sw)
        v = _rotate_from_perifocal(-speed * sin_u, speed * minor * cos_u, cn, sn, ci, si, cw, sw)
        for c in range(3):
            r_km[k, c] = r[c]
            v_km_s[k, c] = v[c]
    return r_km, v_km_s


def states_from_elements(
    a_km: np.ndarray,
    e: np.ndarray,
    i_rad: np.ndarray,
    node_rad: np.ndarray,
    argp_rad: np.ndarray,
    mean_anomaly_rad: np.ndarray,
    *,
    mu_km3_s2: float = GM_SUN_KM3_S2,
) -> tuple[np.ndarray, np.ndarray]:
    """States of elliptic orbits (0 <= e < 1), in the frame the angles are given in.

    Parameters are (n,) arrays or scalars that broadcast. Returns r_km (n, 3) and v_km_s (n, 3).
    """
    arrays = np.broadcast_arrays(
        *(
            np.atleast_1d(np.asarray(part, dtype=float))
            for part in (a_km, e, i_rad, node_rad, argp_rad, mean_anomaly_rad)
        )
    )
    return _states_from_elements(*(np.ascontiguousarray(part) for part in arrays), mu_km3_s2)


def elements_from_states(
    r_km: np.ndarray, v_km_s: np.ndarray, *, mu_km3_s2: float = GM_SUN_KM3_S2
) -> tuple[np.ndarray, ...]:
    """Osculating (a_km, e, i_rad, node_rad, argp_rad, true_anomaly_rad) of (n, 3) states.

    `a_km` is negative for hyperbolas. Where a plane or an apse line is undefined (i = 0, e = 0) the
    node is put on +X and the periapsis on the node, so that the state is still recovered.
    Checked against Vallado, Example 2-5.
    """
    r_km, v_km_s = np.atleast_2d(r_km), np.atleast_2d(v_km_s)
    r = np.linalg.norm(r_km, axis=1)
    h = np.cross(r_km, v_km_s)
    h_size = np.linalg.norm(h, axis=1)
    e_vector = np.cross(v_km_s, h) / mu_km3_s2 - r_km / r[:, None]
    e = np.linalg.norm(e_vector, axis=1)
    a_km = 1.0 / (2.0 / r - np.einsum("ij,ij->i", v_km_s, v_km_s) / mu_km3_s2)
    node = np.stack([-h[:, 1], h[:, 0], np.zeros_like(r)], axis=1)
    node_size = np.linalg.norm(node, axis=1)
    flat = node_size <= 1e-12 * h_size
    node[flat] = (1.0, 0.0, 0.0)
    node_size[flat] = 1.0
    node /= node_size[:, None]
    across = np.cross(h / h_size[:, None], node)
    round_ = e < 1e-12
    apse = np.where(round_[:, None], node, e_vector / np.where(round_, 1.0, e)[:, None])
    sideways = np.cross(h / h_size[:, None], apse)

    def turn(vector: np.ndarray, along: np.ndarray, left: np.ndarray) -> np.ndarray:
        angle = np.arctan2(np.einsum("ij,ij->i", vector, left), np.einsum("ij,ij->i", vector, along))
        return np.mod(angle, _TWO_PI)

    i_rad = np.arctan2(np.hypot(h[:, 0], h[:, 1]), h[:, 2])
    node_rad = np.mod(np.arctan2(node[:, 1], node[:, 0]), _TWO_PI)
    return a_km, e, i_rad, node_rad, turn(apse, node, across), turn(r_km, apse, sideways)


@njit(cache=True)
def _drift_states(r_km, v_km_s, dt_s, mu):
    count = r_km.shape[0]
    r_out = np.empty((count, 3))
    v_out = np.empty((count, 3))
    for k in range(count):
        state = drift(
            r_km[k, 0], r_km[k, 1], r_km[k, 2], v_km_s[k, 0], v_km_s[k, 1], v_km_s[k, 2], mu, dt_s[k]
        )
        for c in range(3):
            r_out[k, c] = state[c]
            v_out[k, c] = state[3 + c]
    return r_out, v_out


def drift_states(
    r_km: np.ndarray, v_km_s: np.ndarray, dt_s: np.ndarray | float, *, mu_km3_s2: float = GM_SUN_KM3_S2
) -> tuple[np.ndarray, np.ndarray]:
    """Move (n, 3) states along their conics by `dt_s` (scalar or (n,)), any eccentricity, either direction."""
    r_km = np.ascontiguousarray(np.atleast_2d(r_km), dtype=float)
    v_km_s = np.ascontiguousarray(np.atleast_2d(v_km_s), dtype=float)
    dt = np.ascontiguousarray(np.broadcast_to(np.asarray(dt_s, dtype=float), (r_km.shape[0],)))
    return _drift_states(r_km, v_km_s, dt, mu_km3_s2)
