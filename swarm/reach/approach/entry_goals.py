"""What an entry asks for: the angle at the interface, the clock angle of the aim, the arrival. Compiled; km, km/s, s.

For a two-body path about a sphere

    |B| = r_E v_E cos(angle) / v_inf,   v_E^2 = v_inf^2 + 2 mu / r_E,   d|B|/d angle = -r_E v_E sin(angle) / v_inf

(Kizner 1961). The angle that is asked for is that of the flown state, inertial, below the horizon of the spheroid; the
formula gives the first aim and the slope of Newton's method.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from swarm.reach.approach.field import (
    HIT,
    NOT_MET,
    OK,
    STEPS_MAX,
    TOO_MANY_STEPS,
    Met,
    fill_field_rates,
    longest_in_field_s,
    range_and_rate,
    relative_to,
    step_in_field,
)
from targets.masses.spheroid import spheroid_height
from targets.motion.order8 import next_factor

Floats = NDArray[np.float64]

# A path whose range turns above the interface: it does not enter.
ABOVE = 7


class Interface(NamedTuple):
    """The height over a spheroid at which an entry begins; pole (3,) of ICRF."""

    height_km: float
    radius_km: float
    polar_km: float
    pole: Floats


@njit(cache=True)
def height_and_up(relative, interface):
    """Height over the spheroid of a place from the body's centre, and the upward direction."""
    x, y, z = relative[0], relative[1], relative[2]
    p = interface.pole
    along = x * p[0] + y * p[1] + z * p[2]
    ax, ay, az = x - along * p[0], y - along * p[1], z - along * p[2]
    rho = math.sqrt(ax * ax + ay * ay + az * az)
    height, cosine, sine = spheroid_height(rho, along, interface.radius_km, interface.polar_km)
    k = cosine / max(rho, 1e-12)
    return height, k * ax + sine * p[0], k * ay + sine * p[1], k * az + sine * p[2]


@njit(cache=True)
def angle_below_horizon(relative, interface):
    """Inertial path angle below the horizon, rad."""
    _, ux, uy, uz = height_and_up(relative, interface)
    vx, vy, vz = relative[3], relative[4], relative[5]
    speed = math.sqrt(vx * vx + vy * vy + vz * vz)
    return -math.asin(max(-1.0, min(1.0, (vx * ux + vy * uy + vz * uz) / speed)))


@njit(cache=True)
def entry_aim_km(angle, v_inf, mu, interface):
    """|B| of an angle about a sphere of the equatorial radius."""
    r = interface.radius_km + interface.height_km
    return r * math.sqrt(v_inf * v_inf + 2.0 * mu / r) * math.cos(angle) / v_inf


@njit(cache=True)
def entry_aim_slope(relative, angle, v_inf):
    """d|B|/d angle at a state at the interface."""
    r = math.sqrt(relative[0] ** 2 + relative[1] ** 2 + relative[2] ** 2)
    v = math.sqrt(relative[3] ** 2 + relative[4] ** 2 + relative[5] ** 2)
    return -r * v * math.sin(angle) / v_inf


def angle_sigma_deg(
    sigma_b_km: ArrayLike,
    angle_deg: ArrayLike,
    *,
    v_inf_km_s: ArrayLike,
    v_entry_km_s: ArrayLike,
    radius_km: ArrayLike,
) -> Floats:
    """One sigma of the entry angle that an error of the aim along B makes: sigma_B v_inf / (r_E v_E sin(angle))."""
    lever = np.asarray(radius_km) * np.asarray(v_entry_km_s) * np.sin(np.radians(angle_deg))
    return np.degrees(np.asarray(sigma_b_km) * np.asarray(v_inf_km_s) / lever)


@njit(cache=True)
def _height(t, y, target, interface, field, relative):
    relative[:] = relative_to(target, t, y, field)
    return height_and_up(relative, interface)[0] - interface.height_km


@njit(cache=True)
def _crossing(t, y, h, target, interface, field, stages, work, gradient, new, relative):
    """Length of the step, between 0 and h, that ends at the interface; `new` is the state there."""
    low, high = 0.0, h
    before, after = (
        _height(t, y, target, interface, field, relative),
        _height(t + h, new, target, interface, field, relative),
    )
    tried = h
    for k in range(60):
        share = before / (before - after) if k % 3 < 2 else 0.5
        tried = low + (high - low) * min(max(share, 0.02), 0.98)
        step_in_field(t, y, tried, field, stages, work, gradient, new)
        value = _height(t + tried, new, target, interface, field, relative)
        if abs(value) < 1e-6 or high - low < 1e-6:
            break
        if value > 0.0:
            low, before = tried, value
        else:
            high, after = tried, value
    return tried


@njit(cache=True)
def fly_to_interface(y, begin, target, window, interface, field):
    """Move y in place to the interface of `target`; ABOVE where the range turns before, y then near the closest."""
    size = y.size
    stages, work, new = np.empty((13, size)), np.empty(size), np.empty(size)
    gradient, relative = np.zeros((3, 3)), np.empty(6)
    t, h = begin, 3600.0
    fill_field_rates(t, y, field, stages[0], gradient)
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
        if t + h >= window[0]:
            if _height(t + h, new, target, interface, field, relative) <= 0.0:
                done = _crossing(t, y, h, target, interface, field, stages, work, gradient, new, relative)
                y[:] = new
                return Met(OK if t + done <= window[1] else NOT_MET, t + done)
            r, rate, _ = range_and_rate(target, t + h, new, field)
            if rate > 0.0 and r < 50.0 * interface.radius_km:
                y[:] = new
                return Met(ABOVE, t + h)
        y[:] = new
        stages[0, :] = stages[12]
        t += h
        if t > window[1]:
            return Met(NOT_MET, t)
        h *= factor
    return Met(TOO_MANY_STEPS, t)
