"""A low pass at closest approach: height, ground below, light, speed over ground, and how long it stays low."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from swarm.reach.approach.about import index_of
from swarm.reach.approach.field import OK, PlanetField, move_to, relative_to
from targets.masses.massive import Mass
from targets.masses.rotation import place_over_ground, spin_rad_s, surface_normal

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PassGeometry:
    """n passes; speeds relative to the body that turns. Local time: 12 where the Sun stands highest."""

    altitude_km: Floats
    latitude_deg: Floats
    longitude_e_deg: Floats
    ground_speed_km_s: Floats
    periapsis_speed_km_s: Floats
    sun_elevation_deg: Floats
    local_time_h: Floats


def pass_geometry(body: Mass, relative: ArrayLike, tdb_s: ArrayLike, sun_km: ArrayLike) -> PassGeometry:
    """What passes look like at closest approach.

    Parameters
    ----------
    relative : (n, 6) of the probe to the body's centre, ICRF
    tdb_s    : (n,)
    sun_km   : (n, 3) from the body to the Sun
    """
    state = np.atleast_2d(np.asarray(relative, dtype=float))
    epochs = np.atleast_1d(np.asarray(tdb_s, dtype=float))
    r, v = state[:, :3], state[:, 3:]
    altitude, latitude, longitude = place_over_ground(body, r, epochs)
    over_ground = v - np.cross(spin_rad_s(body, epochs), r)
    up = surface_normal(body, latitude, longitude, epochs)
    level = over_ground - np.einsum("ij,ij->i", over_ground, up)[:, None] * up
    sun = np.atleast_2d(np.asarray(sun_km, dtype=float))
    towards = sun / np.linalg.norm(sun, axis=1)[:, None]
    elevation = np.degrees(np.arcsin(np.clip(np.einsum("ij,ij->i", up, towards), -1.0, 1.0)))
    _, _, noon = place_over_ground(body, sun, epochs)
    # the ground speed is of the point below: nearer the centre than the probe
    below = np.linalg.norm(r, axis=1) - altitude
    return PassGeometry(
        altitude_km=altitude,
        latitude_deg=latitude,
        longitude_e_deg=longitude,
        ground_speed_km_s=np.linalg.norm(level, axis=1) * below / np.linalg.norm(r, axis=1),
        periapsis_speed_km_s=np.linalg.norm(v, axis=1),
        sun_elevation_deg=elevation,
        local_time_h=(12.0 + (longitude - noon) / 15.0) % 24.0,
    )


def dwell_s(
    periapsis_km: ArrayLike, v_inf_km_s: ArrayLike, *, within_km: ArrayLike, mu_km3_s2: float
) -> Floats:
    """Time within a distance of the centre on a hyperbola: 2 sqrt(a^3/mu) (e sinh H - H), a = mu/v_inf^2.

    cosh H = (1 + r/a)/e. Zero where the pass stays outside.
    """
    a = mu_km3_s2 / np.asarray(v_inf_km_s, float) ** 2
    e = 1.0 + np.asarray(periapsis_km, float) / a
    h = np.arccosh(np.maximum((1.0 + np.asarray(within_km, float) / a) / e, 1.0))
    return 2.0 * np.sqrt(a**3 / mu_km3_s2) * (e * np.sinh(h) - h)


def dwell_in_field_s(
    state: ArrayLike,
    closest_s: float,
    body: Mass,
    *,
    within_km: float,
    field: PlanetField,
    longest_s: float = 86_400.0,
) -> float:
    """The same, flown in the field: where third bodies matter."""
    begin = np.asarray(state, dtype=float)
    target = index_of(body)

    def outside(after_s: float) -> float:
        y = begin.copy()
        if move_to(y, closest_s, closest_s + after_s, field) != OK:
            return math.nan
        r = relative_to(target, closest_s + after_s, y, field)[:3]
        return math.sqrt(sum(c * c for c in r)) - within_km

    if outside(0.0) >= 0.0:
        return 0.0
    total = 0.0
    for sign in (1.0, -1.0):
        far = 60.0
        while outside(sign * far) < 0.0 and far < longest_s:
            far *= 2.0
        if outside(sign * far) < 0.0:
            return math.inf
        total += abs(brentq(lambda t, sign=sign: outside(sign * t), 0.0, far, xtol=1e-3))
    return total
