"""Two-body transition matrix, compiled.

Reference: Battin, An Introduction to the Mathematics and Methods of Astrodynamics, 1987,
eqs. 9.74 (the secular term C) and 9.84-9.87 (the four blocks), with universal functions U_k.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

from targets.base.constants import GM_SUN_KM3_S2
from targets.motion.twobody import universal_anomaly

# Under this |alpha chi^2| the closed forms lose digits and the series need few terms.
_SERIES_BELOW = 0.5


@njit(cache=True)
def _stumpff_series(psi, k):
    """c_k(psi) = sum (-psi)^j / (k + 2 j)! for small psi."""
    value = 1.0
    for j in range(9, 0, -1):
        value = 1.0 - psi * value / ((k + 2 * j - 1) * (k + 2 * j))
    factorial = 1.0
    for j in range(2, k + 1):
        factorial *= j
    return value / factorial


@njit(cache=True)
def _universal_functions(chi, alpha):
    """U1..U5 at chi; whole turns of an ellipse are kept in chi."""
    psi = alpha * chi * chi
    if abs(psi) < _SERIES_BELOW:
        c2 = _stumpff_series(psi, 2)
        c3 = _stumpff_series(psi, 3)
        c4 = _stumpff_series(psi, 4)
        c5 = _stumpff_series(psi, 5)
    else:
        root = math.sqrt(abs(psi))
        if psi > 0.0:
            c2 = (1.0 - math.cos(root)) / psi
            c3 = (root - math.sin(root)) / (psi * root)
        else:
            c2 = (math.cosh(root) - 1.0) / -psi
            c3 = (math.sinh(root) - root) / (-psi * root)
        c4 = (0.5 - c2) / psi
        c5 = (1.0 / 6.0 - c3) / psi
    chi2 = chi * chi
    return chi * (1.0 - psi * c3), chi2 * c2, chi2 * chi * c3, chi2 * chi2 * c4, chi2 * chi2 * chi * c5


@njit(cache=True)
def transition_terms(x, y, z, vx, vy, vz, mu, dt):
    """F, G, Fdot, Gdot, C of a step, and the moved state: what the blocks are built from."""
    r0 = math.sqrt(x * x + y * y + z * z)
    rv0 = x * vx + y * vy + z * vz
    alpha = 2.0 / r0 - (vx * vx + vy * vy + vz * vz) / mu
    chi = universal_anomaly(r0, rv0, alpha, mu, dt)
    u1, u2, _, u4, u5 = _universal_functions(chi, alpha)
    sqrt_mu = math.sqrt(mu)
    sigma0 = rv0 / sqrt_mu
    r = r0 * (1.0 - alpha * u2) + sigma0 * u1 + u2
    f = 1.0 - u2 / r0
    g = (r0 * u1 + sigma0 * u2) / sqrt_mu
    fd = -sqrt_mu / (r * r0) * u1
    gd = 1.0 - u2 / r
    c = (3.0 * u5 - chi * u4 - sqrt_mu * dt * u2) / sqrt_mu
    return f, g, fd, gd, c, r0, r


@njit(cache=True)
def fill_position_by_velocity(x, y, z, vx, vy, vz, mu, dt, block):
    """Write d r(dt) / d v(0), (3, 3) in s, into `block`; return the moved state."""
    f, g, fd, gd, c, r0, _ = transition_terms(x, y, z, vx, vy, vz, mu, dt)
    a = (x, y, z)
    va = (vx, vy, vz)
    b = (f * x + g * vx, f * y + g * vy, f * z + g * vz)
    vb = (fd * x + gd * vx, fd * y + gd * vy, fd * z + gd * vz)
    scale = r0 / mu * (1.0 - f)
    for i in range(3):
        for j in range(3):
            block[i, j] = scale * ((b[i] - a[i]) * va[j] - (vb[i] - va[i]) * a[j]) + c / mu * vb[i] * va[j]
        block[i, i] += g
    return b[0], b[1], b[2], vb[0], vb[1], vb[2]


@njit(cache=True)
def fill_transition(x, y, z, vx, vy, vz, mu, dt, stm):
    f, g, fd, gd, c, r0, r = transition_terms(x, y, z, vx, vy, vz, mu, dt)
    a = np.array([x, y, z])
    va = np.array([vx, vy, vz])
    b = f * a + g * va
    vb = fd * a + gd * va
    for i in range(3):
        for j in range(3):
            d_v = (vb[i] - va[i]) * (vb[j] - va[j])
            stm[i, j] = r / mu * d_v + (r0 * (1.0 - f) * b[i] * a[j] + c * vb[i] * a[j]) / r0**3
            stm[i, 3 + j] = (
                r0 / mu * (1.0 - f) * ((b[i] - a[i]) * va[j] - (vb[i] - va[i]) * a[j])
                + c / mu * vb[i] * va[j]
            )
            stm[3 + i, 3 + j] = r0 / mu * d_v + (r0 * (1.0 - f) * b[i] * a[j] - c * b[i] * va[j]) / r**3
        stm[i, i] += f
        stm[i, 3 + i] += g
        stm[3 + i, 3 + i] += gd
    # velocity by position, eq. 9.86
    for i in range(3):
        for j in range(3):
            term = -(vb[i] - va[i]) * a[j] / r0**2 - b[i] * (vb[j] - va[j]) / r**2
            swing = 0.0
            for k in range(3):
                swing += (b[i] * vb[k] - vb[i] * b[k]) * b[k] * (vb[j] - va[j])
            term -= fd / r**2 * b[i] * b[j]
            term += fd / (mu * r) * swing
            term -= mu * c / (r**3 * r0**3) * b[i] * a[j]
            stm[3 + i, j] = term
        stm[3 + i, i] += fd


def transition_matrix(
    r_km: np.ndarray, v_km_s: np.ndarray, dt_s: float, *, mu_km3_s2: float = GM_SUN_KM3_S2
) -> np.ndarray:
    """(6, 6) derivative of the moved state with respect to the initial one, in km, km/s and s.

    Checked against central differences, pykep and symplecticity in tests/reach/arcs/test_transition.py.
    """
    stm = np.zeros((6, 6))
    fill_transition(*(float(c) for c in r_km), *(float(c) for c in v_km_s), mu_km3_s2, float(dt_s), stm)
    return stm


@njit(cache=True)
def _position_by_velocity_many(states, dt_s, mu):
    out = np.empty((states.shape[0], 3, 3))
    for n in range(states.shape[0]):
        s = states[n]
        fill_position_by_velocity(s[0], s[1], s[2], s[3], s[4], s[5], mu, dt_s[n], out[n])
    return out


def position_by_velocity(
    states: np.ndarray, dt_s: np.ndarray, *, mu_km3_s2: float = GM_SUN_KM3_S2
) -> np.ndarray:
    """d r(dt) / d v(0) of (n, 6) states after (n,) s each: (n, 3, 3) in s."""
    states = np.ascontiguousarray(states, dtype=float)
    return _position_by_velocity_many(states, np.ascontiguousarray(dt_s, dtype=float), mu_km3_s2)
