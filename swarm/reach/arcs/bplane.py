"""B-plane of an encounter and the closed forms of a hyperbola; arrays of km, km/s, radians.

B points from the target to where the incoming asymptote (or the straight path past a small body) pierces the plane
through the target at right angles to the relative velocity:

    S = v_rel / |v_rel|,  T = S x k / |S x k|,  R = S x T,   k = ICRF +Z, or +X within 5 deg of it.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_POLE_COS = math.cos(math.radians(5.0))


@njit(cache=True)
def axes_of(sx, sy, sz):
    """Return T and R, six numbers, for a unit vector S."""
    if abs(sz) > _POLE_COS:
        tx, ty, tz = 0.0, sz, -sy  # S x (1, 0, 0)
    else:
        tx, ty, tz = sy, -sx, 0.0  # S x (0, 0, 1)
    size = math.sqrt(tx * tx + ty * ty + tz * tz)
    tx, ty, tz = tx / size, ty / size, tz / size
    return tx, ty, tz, sy * tz - sz * ty, sz * tx - sx * tz, sx * ty - sy * tx


@njit(cache=True)
def _axes_many(v_km_s):
    out = np.empty((v_km_s.shape[0], 3, 3))
    for n in range(v_km_s.shape[0]):
        x, y, z = v_km_s[n]
        size = math.sqrt(x * x + y * y + z * z)
        out[n, 0] = v_km_s[n] / size
        t_and_r = axes_of(x / size, y / size, z / size)
        for c in range(3):
            out[n, 1, c] = t_and_r[c]
            out[n, 2, c] = t_and_r[3 + c]
    return out


def b_plane_axes(v_rel_km_s: ArrayLike) -> Floats:
    """Return S, T, R as the rows of (n, 3, 3) for (n, 3) relative velocities (probe minus target), ICRF."""
    return _axes_many(np.atleast_2d(np.asarray(v_rel_km_s, dtype=float)))


def b_vector_km(r_rel_km: ArrayLike, v_rel_km_s: ArrayLike) -> Floats:
    """Return (B.T, B.R) in km, (n, 2), of straight relative motion: r_rel less its part along S."""
    axes = b_plane_axes(v_rel_km_s)
    return np.einsum("nij,nj->ni", axes[:, 1:], np.atleast_2d(np.asarray(r_rel_km, dtype=float)))


# --- hyperbola ----------------------------------------------------------------------------------------------


def eccentricity(periapsis_km: ArrayLike, v_inf_km_s: ArrayLike, *, mu_km3_s2: float) -> Floats:
    """Return e = 1 + rp v_inf^2 / mu."""
    return 1.0 + np.asarray(periapsis_km, float) * np.asarray(v_inf_km_s, float) ** 2 / mu_km3_s2


def turn_angle_rad(periapsis_km: ArrayLike, v_inf_km_s: ArrayLike, *, mu_km3_s2: float) -> Floats:
    """Return the angle between the asymptotes, sin(turn / 2) = 1 / e."""
    return 2.0 * np.arcsin(1.0 / eccentricity(periapsis_km, v_inf_km_s, mu_km3_s2=mu_km3_s2))


def impact_parameter_km(periapsis_km: ArrayLike, v_inf_km_s: ArrayLike, *, mu_km3_s2: float) -> Floats:
    """Return |B| = rp sqrt(1 + 2 mu / (rp v_inf^2))."""
    rp, v = np.asarray(periapsis_km, float), np.asarray(v_inf_km_s, float)
    return rp * np.sqrt(1.0 + 2.0 * mu_km3_s2 / (rp * v**2))


def periapsis_km(impact_km: ArrayLike, v_inf_km_s: ArrayLike, *, mu_km3_s2: float) -> Floats:
    """Return the periapsis distance of a hyperbola of impact parameter |B| (inverse of the one above)."""
    b, v = np.asarray(impact_km, float), np.asarray(v_inf_km_s, float)
    a = mu_km3_s2 / v**2
    # sqrt(a^2 + b^2) - a without losing digits where b is small
    return b**2 / (np.sqrt(a**2 + b**2) + a)


def outgoing_v_inf_km_s(v_inf_km_s: ArrayLike, b_km: ArrayLike, *, mu_km3_s2: float) -> Floats:
    """Return the (n, 3) outgoing asymptote for incoming (n, 3) v_inf and (n, 3) B vectors (any frame).

    The turn is towards the target, so away from B, in the plane of S and B.
    """
    v_in = np.atleast_2d(np.asarray(v_inf_km_s, float))
    b = np.atleast_2d(np.asarray(b_km, float))
    speed = np.linalg.norm(v_in, axis=1)
    s = v_in / speed[:, None]
    across = b - np.einsum("ij,ij->i", b, s)[:, None] * s
    size = np.linalg.norm(across, axis=1)
    turn = 2.0 * np.arctan2(mu_km3_s2, size * speed**2)
    toward = -across / size[:, None]
    return speed[:, None] * (np.cos(turn)[:, None] * s + np.sin(turn)[:, None] * toward)
