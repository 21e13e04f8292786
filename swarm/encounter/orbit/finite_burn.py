"""A long insertion burn, flown: against the speed, in the plane, with falling mass. Compiled.

The burn starts at some time before periapsis of a hyperbola whose periapsis is aimed at some height, and ends at the
energy of the orbit wanted. What that leaves wrong of periapsis and apoapsis is mended by two impulses, which are
counted; start and aim are those that cost least in all. The loss is what finite thrust costs a flight planned for it.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from scipy.optimize import minimize

_STEPS = 240
_COAST_STEPS = 200
# Starts before periapsis in lengths of the burn, aims above it in shares of the radius.
_SIMPLEX = np.array([[0.5, 0.0], [0.7, 0.0], [0.5, 0.05]])


@njit(cache=True)
def _rates(y, mu, push, out):
    r3 = (y[0] * y[0] + y[1] * y[1]) ** 1.5
    speed = math.sqrt(y[2] * y[2] + y[3] * y[3])
    out[0], out[1] = y[2], y[3]
    out[2] = -mu * y[0] / r3 - push * y[2] / speed
    out[3] = -mu * y[1] / r3 - push * y[3] / speed


@njit(cache=True)
def _step(y, h, mu, pushes, k, new):
    """Runge-Kutta of order 4; pushes at begin, middle and end, km/s^2."""
    _rates(y, mu, pushes[0], k[0])
    _rates(y + 0.5 * h * k[0], mu, pushes[1], k[1])
    _rates(y + 0.5 * h * k[1], mu, pushes[1], k[2])
    _rates(y + h * k[2], mu, pushes[2], k[3])
    for i in range(4):
        new[i] = y[i] + h / 6.0 * (k[0, i] + 2.0 * k[1, i] + 2.0 * k[2, i] + k[3, i])


@njit(cache=True)
def _energy(y, mu):
    return 0.5 * (y[2] * y[2] + y[3] * y[3]) - mu / math.sqrt(y[0] * y[0] + y[1] * y[1])


@njit(cache=True)
def cost_km_s(before_s, aim_km, mu, v_inf, periapsis, apoapsis, thrust_kn, mass, exhaust_km_s):
    """Speed spent by a burn and by what mends its orbit; infinite where it does not get there."""
    if aim_km <= 0.0 or before_s < 0.0:
        return math.inf
    k, y, new, pushes = np.empty((4, 4)), np.empty(4), np.empty(4), np.zeros(3)
    y[0], y[1], y[2], y[3] = aim_km, 0.0, 0.0, math.sqrt(v_inf * v_inf + 2.0 * mu / aim_km)
    for _ in range(_COAST_STEPS):
        _step(y, -before_s / _COAST_STEPS, mu, pushes, k, new)
        y[:] = new
    wanted = -mu / (periapsis + apoapsis)
    flow = thrust_kn / exhaust_km_s
    whole = mass / flow
    h = max(before_s, 1.0) * 2.0 / _STEPS
    t = 0.0
    for _ in range(6 * _STEPS):
        if t + h >= 0.98 * whole:
            return math.inf
        for j in range(3):
            pushes[j] = thrust_kn / (mass - flow * (t + 0.5 * j * h))
        energy = _energy(y, mu)
        _step(y, h, mu, pushes, k, new)
        after = _energy(new, mu)
        if after <= wanted:
            part = h * (energy - wanted) / (energy - after)
            for j in range(3):
                pushes[j] = thrust_kn / (mass - flow * (t + 0.5 * j * part))
            _step(y, part, mu, pushes, k, new)
            t += part
            return exhaust_km_s * math.log(mass / (mass - flow * t)) + _mended(new, mu, periapsis, apoapsis)
        y[:] = new
        t += h
    return math.inf


@njit(cache=True)
def _mended(y, mu, periapsis, apoapsis):
    """Two impulses that make the orbit of y the one wanted: at its apoapsis, then at the new periapsis."""
    r = math.sqrt(y[0] * y[0] + y[1] * y[1])
    a = 1.0 / (2.0 / r - (y[2] * y[2] + y[3] * y[3]) / mu)
    h = y[0] * y[3] - y[1] * y[2]
    e = math.sqrt(max(1.0 - h * h / (mu * a), 0.0))
    low, high = a * (1.0 - e), a * (1.0 + e)
    first = math.sqrt(mu * (2.0 / high - 2.0 / (high + periapsis))) - math.sqrt(
        mu * (2.0 / high - 2.0 / (high + low))
    )
    second = math.sqrt(mu * (2.0 / periapsis - 2.0 / (periapsis + apoapsis))) - math.sqrt(
        mu * (2.0 / periapsis - 2.0 / (periapsis + high))
    )
    return abs(first) + abs(second)


def least_cost_km_s(
    mu_km3_s2: float, v_inf_km_s: float, periapsis_km: float, apoapsis_km: float, *, thrust_n: float, mass_kg: float,
    exhaust_km_s: float, typical_s: float,
) -> float:  # fmt: skip
    """The least speed a long burn takes to put a probe into an orbit, over its start and its aim."""

    def cost(x: np.ndarray) -> float:
        return cost_km_s(
            float(x[0]) * typical_s, periapsis_km * (1.0 + float(x[1])), mu_km3_s2, v_inf_km_s, periapsis_km,
            apoapsis_km, 1e-3 * thrust_n, mass_kg, exhaust_km_s,
        )  # fmt: skip

    best = minimize(
        cost, np.array([0.5, 0.0]), method="Nelder-Mead",
        options={"initial_simplex": _SIMPLEX, "xatol": 1e-4, "fatol": 1e-7, "maxiter": 200},
    )  # fmt: skip
    return float(best.fun)
