"""A body as compiled descents see it: pull, figure, turning; and states in its axes. Compiled; km, km/s, s.

Axes: the body's own, stopped at the epoch of the interface; z is its pole. They do not turn.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from targets.masses.massive import Mass
from targets.masses.rotation import body_axes, spin_rad_s
from targets.masses.spheroid import spheroid_height

Floats = NDArray[np.float64]


class Globe(NamedTuple):
    """gm, J2 of `j_radius_km`; a spheroid; how fast ground and air turn about the pole, rad/s.

    air_rad_s : of the air: the ground's turning and a wind along latitudes that is the same turning everywhere
    """

    gm: float
    j2: float
    j_radius_km: float
    radius_km: float
    polar_km: float
    spin_rad_s: float
    air_rad_s: float


def world_of(body: Mass, tdb_s: float, *, wind_m_s: float = 0.0) -> Globe:
    """The world of a body at an epoch; `wind_m_s` at the equator, positive to the east."""
    axes = body_axes(body, tdb_s)[0]
    spin = float(spin_rad_s(body, tdb_s)[0] @ axes[2])
    air = spin + 1e-3 * wind_m_s / body.radius_km
    return Globe(
        body.gm_km3_s2,
        body.j2,
        body.j_radius_km or body.radius_km,
        body.radius_km,
        body.polar_radius_km,
        spin,
        air,
    )


def in_axes(body: Mass, states: ArrayLike, tdb_s: float) -> Floats:
    """States (n, 6) of ICRF, from the body's centre, in its axes stopped at an epoch."""
    axes = body_axes(body, tdb_s)[0]
    given = np.atleast_2d(np.asarray(states, dtype=float))
    return np.hstack([given[:, :3] @ axes.T, given[:, 3:] @ axes.T])


@njit(cache=True)
def height_over(x, y, z, world):
    """Height over the spheroid, and the upward direction as (cos, sin) of its latitude."""
    return spheroid_height(math.sqrt(x * x + y * y), z, world.radius_km, world.polar_km)


@njit(cache=True)
def fill_ups(places, world, out):
    """Upward directions (m, 3) over the spheroid at places (m, 3)."""
    for n in range(places.shape[0]):
        x, y, z = places[n]
        _, along, up = height_over(x, y, z, world)
        k = along / max(math.sqrt(x * x + y * y), 1e-12)
        out[n, 0], out[n, 1], out[n, 2] = k * x, k * y, up


@njit(cache=True)
def pull_of(x, y, z, world):
    """Acceleration of gravity with J2, and its potential."""
    r2 = x * x + y * y + z * z
    r = math.sqrt(r2)
    s2 = z * z / r2
    k2 = world.j2 * world.j_radius_km * world.j_radius_km / r2
    size = -world.gm / (r2 * r)
    level = size * (1.0 + 1.5 * k2 * (1.0 - 5.0 * s2))
    polar = size * (1.0 + 1.5 * k2 * (3.0 - 5.0 * s2))
    potential = -world.gm / r * (1.0 - 0.5 * k2 * (3.0 * s2 - 1.0))
    return level * x, level * y, polar * z, potential


def angles_deg(state: ArrayLike, world: Globe, *, turning_rad_s: float) -> tuple[float, float, float]:
    """Speed km/s, path angle below the local horizon and heading from north to east, deg, against air so turning.

    state : (6,) in the body's axes; `turning_rad_s` 0 for the inertial speed and angle
    """
    x, y, z, vx, vy, vz = (float(part) for part in np.asarray(state, dtype=float))
    v = np.array([vx + turning_rad_s * y, vy - turning_rad_s * x, vz])
    _, along, up = height_over(x, y, z, world)
    rho = math.hypot(x, y)
    out = (x / rho, y / rho) if rho > 0.0 else (1.0, 0.0)
    vertical = np.array([along * out[0], along * out[1], up])
    east = np.array([-out[1], out[0], 0.0])
    north = np.cross(vertical, east)
    speed = float(np.linalg.norm(v))
    angle = -math.degrees(math.asin(max(-1.0, min(1.0, float(v @ vertical) / speed))))
    return speed, angle, math.degrees(math.atan2(float(v @ east), float(v @ north))) % 360.0
