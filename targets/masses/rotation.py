"""How a body with mass is turned at an epoch, and where over its ground a place is."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from targets.base.constants import DAY_S
from targets.masses.massive import Mass
from targets.masses.orientation import ANGLES, ORIENTATIONS, Terms

Floats = NDArray[np.float64]

_CENTURY_DAYS = 36_525.0
_DIFFERENCE_S = 300.0


def body_axes(body: Mass, tdb_s: ArrayLike) -> Floats:
    """Rows x, y, z of the frame that turns with the body, in ICRF, (n, 3, 3): fixed = axes @ vector.

    z is the pole of the report (north of the invariable plane for planets), x the prime meridian.
    """
    alpha, delta, w = (np.radians(angle) for angle in pole_and_meridian_deg(body, tdb_s))
    zero = np.zeros_like(alpha)
    node = np.stack([-np.sin(alpha), np.cos(alpha), zero], axis=-1)
    pole = np.stack([np.cos(delta) * np.cos(alpha), np.cos(delta) * np.sin(alpha), np.sin(delta)], axis=-1)
    across = np.cross(pole, node)
    x = np.cos(w)[:, None] * node + np.sin(w)[:, None] * across
    return np.stack([x, np.cross(pole, x), pole], axis=1)


def pole_and_meridian_deg(body: Mass, tdb_s: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Right ascension and declination of the pole, and W, (n,) each."""
    days = np.atleast_1d(np.asarray(tdb_s, dtype=float)) / DAY_S
    centuries = days / _CENTURY_DAYS
    of = ORIENTATIONS[body.name]
    angles = [np.radians(_power_sum(row, centuries)) for row in ANGLES.get(body.number // 100, ())]
    return (
        _power_sum(of.alpha, centuries) + _periodic(of.alpha_terms, angles, np.sin),
        _power_sum(of.delta, centuries) + _periodic(of.delta_terms, angles, np.cos),
        _power_sum(of.w, days) + _periodic(of.w_terms, angles, np.sin),
    )


def _power_sum(terms: Terms, t: Floats) -> Floats:
    return np.polynomial.polynomial.polyval(t, np.asarray(terms))


def _periodic(terms: Terms, angles: list[Floats], wave: np.ufunc) -> Floats | float:
    return sum(size * wave(angle) for size, angle in zip(terms, angles, strict=False))


def spin_rad_s(body: Mass, tdb_s: ArrayLike) -> Floats:
    """Angular velocity of the body in ICRF, (n, 3): the rate of W about the pole; the pole's own motion is left out."""
    t = np.atleast_1d(np.asarray(tdb_s, dtype=float))
    turned_deg = (
        pole_and_meridian_deg(body, t + _DIFFERENCE_S)[2] - pole_and_meridian_deg(body, t - _DIFFERENCE_S)[2]
    )
    return np.radians(turned_deg / (2.0 * _DIFFERENCE_S))[:, None] * body_axes(body, t)[:, 2]


def place_over_ground(body: Mass, r_km: ArrayLike, tdb_s: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Height above the ellipsoid km, planetographic latitude deg, longitude east deg in [0, 360), (n,) each.

    r_km : (n, 3) from the centre of the body, ICRF
    """
    fixed = np.einsum("nij,nj->ni", body_axes(body, tdb_s), np.atleast_2d(np.asarray(r_km, dtype=float)))
    longitude = np.degrees(np.arctan2(fixed[:, 1], fixed[:, 0])) % 360.0
    height, latitude = _over_spheroid(
        np.hypot(fixed[:, 0], fixed[:, 1]), fixed[:, 2], body.radius_km, body.polar_radius_km
    )
    return height, np.degrees(latitude), longitude


def surface_normal(body: Mass, latitude_deg: Floats, longitude_e_deg: Floats, tdb_s: ArrayLike) -> Floats:
    """Unit vectors up, (n, 3), ICRF, at places over the ground."""
    latitude, longitude = np.radians(latitude_deg), np.radians(longitude_e_deg)
    fixed = np.stack(
        [np.cos(latitude) * np.cos(longitude), np.cos(latitude) * np.sin(longitude), np.sin(latitude)],
        axis=-1,
    )
    return np.einsum("nij,ni->nj", body_axes(body, tdb_s), fixed)


def _over_spheroid(rho: Floats, z: Floats, a: float, c: float) -> tuple[Floats, Floats]:
    """Height and latitude (rad) by Newton's method on the normal through the point; converges from the reduced one."""
    squash = c / a
    excess = (a * a - c * c) / a
    beta = np.arctan2(z, squash * rho)
    for _ in range(10):
        # the nearest point of the ellipse (a cos b, c sin b): its distance has no slope in b
        f = rho * np.sin(beta) - (z * squash) * np.cos(beta) - excess * np.sin(beta) * np.cos(beta)
        slope = rho * np.cos(beta) + (z * squash) * np.sin(beta) - excess * np.cos(2.0 * beta)
        beta = beta - f / slope
    latitude = np.arctan2(np.sin(beta), squash * np.cos(beta))
    height = (rho - a * np.cos(beta)) * np.cos(latitude) + (z - c * np.sin(beta)) * np.sin(latitude)
    return height, latitude
