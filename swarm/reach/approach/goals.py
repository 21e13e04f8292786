"""What a low pass asks for, as a point of the B-plane at the body. Compiled; km, km/s, radians.

S and v_inf are those of the two-body hyperbola of the unburned path where it comes near, mu the body's GM:

    h = r x v,   e = v x h / mu - r/|r|,   v_inf^2 = v^2 - 2 mu/|r|,   S = (v_inf/mu (h x e) + e) / |e|^2

In this form S has no 0/0 on a head-on path. The aim of a flown state is the point whose hyperbola has its plane and its
periapsis, r_p = h^2 / (mu (1 + |e|)):

    B = |B| (S x h)/|S x h|,   |B| = r_p sqrt(1 + 2 mu / (r_p v_inf^2))

So B gives the periapsis that is flown, and stays smooth where the energy at periapsis is not that of the hyperbola: J2
takes 25 km^2/s^2 of it low over Jupiter's pole. Closed forms: Kizner 1961, "A method of describing miss distances for
lunar and interplanetary trajectories", Planet. Space Sci. 7:125.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from swarm.reach.arcs.bplane import axes_of

Floats = NDArray[np.float64]


class Frame(NamedTuple):
    """The B-plane that aims are points of."""

    t: tuple[float, float, float]
    r: tuple[float, float, float]
    s: tuple[float, float, float]
    v_inf: float
    mu: float


@njit(cache=True)
def _plane_and_shape(state, mu):
    """h and e of a state."""
    x, y, z, vx, vy, vz = state[0], state[1], state[2], state[3], state[4], state[5]
    r = math.sqrt(x * x + y * y + z * z)
    hx, hy, hz = y * vz - z * vy, z * vx - x * vz, x * vy - y * vx
    return (
        hx, hy, hz,
        (vy * hz - vz * hy) / mu - x / r, (vz * hx - vx * hz) / mu - y / r, (vx * hy - vy * hx) / mu - z / r,
    )  # fmt: skip


@njit(cache=True)
def frame_of(state, mu):
    """The B-plane of a state relative to the body; v_inf is NaN where it is bound."""
    hx, hy, hz, ex, ey, ez = _plane_and_shape(state, mu)
    r = math.sqrt(state[0] ** 2 + state[1] ** 2 + state[2] ** 2)
    speed2 = state[3] ** 2 + state[4] ** 2 + state[5] ** 2 - 2.0 * mu / r
    v_inf = math.sqrt(speed2) if speed2 > 0.0 else math.nan
    k = v_inf / mu
    sx = k * (hy * ez - hz * ey) + ex
    sy = k * (hz * ex - hx * ez) + ey
    sz = k * (hx * ey - hy * ex) + ez
    size = math.sqrt(sx * sx + sy * sy + sz * sz)
    sx, sy, sz = sx / size, sy / size, sz / size
    tx, ty, tz, rx, ry, rz = axes_of(sx, sy, sz)
    return Frame((tx, ty, tz), (rx, ry, rz), (sx, sy, sz), v_inf, mu)


@njit(cache=True)
def aim_km(periapsis_km, v_inf, mu):
    """|B| of a periapsis distance."""
    return periapsis_km * math.sqrt(1.0 + 2.0 * mu / (periapsis_km * v_inf * v_inf))


@njit(cache=True)
def aim_of(state, frame):
    """B.T and B.R of a state relative to the body."""
    hx, hy, hz, ex, ey, ez = _plane_and_shape(state, frame.mu)
    sx, sy, sz = frame.s
    h2 = hx * hx + hy * hy + hz * hz
    if h2 == 0.0:
        return 0.0, 0.0
    periapsis = h2 / (frame.mu * (1.0 + math.sqrt(ex * ex + ey * ey + ez * ez)))
    bx, by, bz = sy * hz - sz * hy, sz * hx - sx * hz, sx * hy - sy * hx
    scale = aim_km(periapsis, frame.v_inf, frame.mu) / math.sqrt(bx * bx + by * by + bz * bz)
    t, r = frame.t, frame.r
    return scale * (bx * t[0] + by * t[1] + bz * t[2]), scale * (bx * r[0] + by * r[1] + bz * r[2])


@njit(cache=True)
def miss_of(state, goal, frame):
    """B less the B that the goal (periapsis km, clock) asks for."""
    b_t, b_r = aim_of(state, frame)
    size = aim_km(goal[0], frame.v_inf, frame.mu)
    return b_t - size * math.cos(goal[1]), b_r - size * math.sin(goal[1])


@njit(cache=True)
def fill_aim_by_state(state, frame, out):
    """Write the derivative (2, 6) of `aim_of` by central differences: B is smooth on the scale of the steps."""
    r = math.sqrt(state[0] ** 2 + state[1] ** 2 + state[2] ** 2)
    v = math.sqrt(state[3] ** 2 + state[4] ** 2 + state[5] ** 2)
    moved = state.copy()
    for k in range(6):
        step = 1e-5 * (r if k < 3 else v)
        moved[k] = state[k] + step
        more = aim_of(moved, frame)
        moved[k] = state[k] - step
        less = aim_of(moved, frame)
        moved[k] = state[k]
        out[0, k] = (more[0] - less[0]) / (2.0 * step)
        out[1, k] = (more[1] - less[1]) / (2.0 * step)


def straight_latitude_deg(s: ArrayLike, pole: ArrayLike, clock_deg: ArrayLike) -> Floats:
    """Latitude below closest approach of a straight path (v_inf without bound) at clock angles.

    The path is nearest where B points: sin(latitude) = pole . (T cos(clock) + R sin(clock)).
    """
    s, pole = np.asarray(s, dtype=float), np.asarray(pole, dtype=float)
    axes = np.array(axes_of(*(float(c) for c in s))).reshape(2, 3)
    clock = np.radians(np.atleast_1d(np.asarray(clock_deg, dtype=float)))
    return np.degrees(np.arcsin(np.cos(clock) * (axes[0] @ pole) + np.sin(clock) * (axes[1] @ pole)))
