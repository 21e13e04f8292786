"""Part of the separate checker: two-body motion by a solution of Kepler's equation of its own.

As `swarm.plan.verify`, whose part it is, it uses nothing of the search.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from targets.base.constants import GM_SUN_KM3_S2

Floats = NDArray[np.float64]


def kepler(state: Floats, dt_s: Floats) -> Floats:
    """Move one heliocentric state by each of `dt_s`, (n, 6): Kepler's equation, or integration off the ellipses."""
    r, v = state[:3], state[3:]
    distance, speed2 = math.sqrt(float(r @ r)), float(v @ v)
    alpha = 2.0 / distance - speed2 / GM_SUN_KM3_S2
    eccentricity = ((speed2 - GM_SUN_KM3_S2 / distance) * r - float(r @ v) * v) / GM_SUN_KM3_S2
    e = math.sqrt(float(eccentricity @ eccentricity))
    if alpha <= 0.0 or not 1e-6 < e < 0.99:
        return np.array([_integrated(state, float(dt)) for dt in dt_s]).reshape(-1, 6)
    a = 1.0 / alpha
    normal = _cross(r, v)
    p_axis = eccentricity / e
    q_axis = _cross(normal / math.sqrt(float(normal @ normal)), p_axis)
    b = a * math.sqrt(1.0 - e * e)
    anomaly0 = math.atan2(float(r @ q_axis) / b, float(r @ p_axis) / a + e)
    n = math.sqrt(GM_SUN_KM3_S2 / a**3)
    anomaly = _eccentric_anomaly(anomaly0 - e * math.sin(anomaly0) + n * dt_s, e)
    cos, sin = np.cos(anomaly), np.sin(anomaly)
    rate = n / (1.0 - e * cos)
    position = (a * (cos - e))[:, None] * p_axis + (b * sin)[:, None] * q_axis
    velocity = (-a * sin * rate)[:, None] * p_axis + (b * cos * rate)[:, None] * q_axis
    return np.hstack([position, velocity])


def _cross(a: Floats, b: Floats) -> Floats:
    """The cross product of two vectors; the library's, made for many, takes most of this module's time."""
    return np.array(
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]], dtype=float
    )


def _eccentric_anomaly(mean: Floats, e: float) -> Floats:
    """Solve E - e sin E = M by Newton's method from the far side, from where it converges."""
    anomaly = mean + e * np.sign(np.sin(mean))
    for _ in range(100):
        step = (anomaly - e * np.sin(anomaly) - mean) / (1.0 - e * np.cos(anomaly))
        anomaly = anomaly - step
        if np.abs(step).max(initial=0.0) < 1e-14:
            break
    return anomaly


def _integrated(state: Floats, dt_s: float) -> Floats:
    if dt_s == 0.0:
        return state
    solved = solve_ivp(_pull, (0.0, dt_s), state, method="DOP853", rtol=1e-12, atol=1e-9)
    return solved.y[:, -1]


def _pull(_: float, state: Floats) -> Floats:
    return np.concatenate([state[3:], -GM_SUN_KM3_S2 * state[:3] / float(state[:3] @ state[:3]) ** 1.5])
