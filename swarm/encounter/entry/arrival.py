"""States at the interface from the incoming asymptote: where and how a clock angle and an angle enter. Compiled.

On the hyperbola, with S the asymptote and b the unit of B, the direction of periapsis and the one 90 deg on are

    P = S/e + b sqrt(1 - 1/e^2),   Q = S sqrt(1 - 1/e^2) - b/e

The angle is inertial, below the horizon of the spheroid; radius and aim are iterated until both are met over it.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.reach.approach.entry_goals import Interface, angle_below_horizon, height_and_up
from swarm.reach.arcs.bplane import axes_of

Floats = NDArray[np.float64]

_ITERATIONS = 12


class Asymptote(NamedTuple):
    """Of the way in: unit vector, excess speed, the body's GM; vectors in the axes of `interface.pole`."""

    s: tuple[float, float, float]
    v_inf: float
    mu: float


def asymptote_of(v_inf_km_s: Floats, mu: float) -> Asymptote:
    """The asymptote of an excess velocity (3,)."""
    speed = float(np.linalg.norm(v_inf_km_s))
    x, y, z = (float(part) / speed for part in v_inf_km_s)
    return Asymptote((x, y, z), speed, mu)


@njit(cache=True)
def _on_hyperbola(asymptote, clock, r, angle, out):
    """Fill (6,) at a radius, on the way in, with a path angle below the level across the radius."""
    mu, v_inf = asymptote.mu, asymptote.v_inf
    sx, sy, sz = asymptote.s
    tx, ty, tz, rx, ry, rz = axes_of(sx, sy, sz)
    c, s = math.cos(clock), math.sin(clock)
    bx, by, bz = c * tx + s * rx, c * ty + s * ry, c * tz + s * rz
    speed = math.sqrt(v_inf * v_inf + 2.0 * mu / r)
    h = r * speed * math.cos(angle)
    e = math.sqrt(1.0 + (h * v_inf / mu) ** 2)
    k, w = 1.0 / e, math.sqrt(max(1.0 - 1.0 / (e * e), 0.0))
    # r = p/(1 + e cos nu) with h near 0 would be 0/0: the place follows from speed and angle instead
    radial, level = -speed * math.sin(angle), speed * math.cos(angle)
    ecos, esin = h * level / mu - 1.0, h * radial / mu
    cosine, sine = ecos / e, esin / e
    size = math.hypot(cosine, sine)
    cosine, sine = cosine / size, sine / size
    px, py, pz = k * sx + w * bx, k * sy + w * by, k * sz + w * bz
    qx, qy, qz = w * sx - k * bx, w * sy - k * by, w * sz - k * bz
    for i, (p, q) in enumerate(((px, qx), (py, qy), (pz, qz))):
        out_dir, along = cosine * p + sine * q, -sine * p + cosine * q
        out[i] = r * out_dir
        out[3 + i] = radial * out_dir + level * along


@njit(cache=True)
def fill_arrival(asymptote, clock, angle, interface, out):
    """Fill (6,), from the body's centre, of an angle and a clock angle, rad, at the interface."""
    r, centric = interface.radius_km + interface.height_km, angle
    for _ in range(_ITERATIONS):
        _on_hyperbola(asymptote, clock, r, centric, out)
        off_km = height_and_up(out, interface)[0] - interface.height_km
        off_rad = angle_below_horizon(out, interface) - angle
        if abs(off_km) < 1e-7 and abs(off_rad) < 1e-11:
            break
        r -= off_km
        centric = min(max(centric - off_rad, 1e-6), 0.5 * math.pi)


def arrival_state(asymptote: Asymptote, clock_rad: float, angle_rad: float, interface: Interface) -> Floats:
    """(6,) as `fill_arrival` has it."""
    out = np.empty(6)
    fill_arrival(asymptote, clock_rad, angle_rad, interface, out)
    return out
