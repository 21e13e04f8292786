"""What moves an orbit about a body: its field, how it turns, and the bodies beside it; made once, in the driver."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from targets.base.constants import DAY_S, GM_SUN_KM3_S2
from targets.ephemeris.planets import hermite_position
from targets.gravity.acceleration import Harmonics, acceleration_at
from targets.gravity.harmonic_field import GravityField
from targets.masses.massive import SUN, Mass, mass_named
from targets.masses.rotation import pole_and_meridian_deg
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]

_ANGLES_STEP_S = 3600.0
_OTHERS_STEP_S = 7200.0


class Surroundings(NamedTuple):
    """What compiled code reads; ICRF, about the centre of the body.

    field, zonal, waves : the whole field; its zonals alone, (3, degree + 1) coefficients, not normalised, and factors
        of Legendre's recursion; all but the zonals
    radius_km, polar_radius_km : of the ground's ellipsoid; ground_km : what stands on it
    angles : (n, 3) right ascension and declination of the pole and W, rad, from angles_start_s by angles_step_s
    others : (k, m, 6) states of what else pulls, from others_start_s by others_step_s; other_gm : (k,)
    """

    field: Harmonics
    zonal: Floats
    waves: Harmonics
    radius_km: float
    polar_radius_km: float
    ground_km: float
    angles: Floats
    angles_start_s: float
    angles_step_s: float
    others: Floats
    others_start_s: float
    others_step_s: float
    other_gm: Floats


def surroundings_of(
    body: Mass,
    field: GravityField,
    span_tdb_s: tuple[float, float],
    *,
    ground_km: float,
    ephemeris: Ephemeris,
) -> Surroundings:
    """Sun, parent and moons of a body over a span of dates. A parent is taken as a point."""
    turned = _grid(*span_tdb_s, _ANGLES_STEP_S)
    angles = np.radians(np.stack(pole_and_meridian_deg(body, turned), axis=-1))
    placed = _grid(*span_tdb_s, _OTHERS_STEP_S)
    about_sun = ephemeris.about_sun(body, placed)
    others, gms = [-about_sun], [GM_SUN_KM3_S2]
    if body.parent == SUN:
        for name, states in ephemeris.moons_about_planet(body, placed).items():
            others.append(states)
            gms.append(mass_named(name).gm_km3_s2)
    else:
        others.append(-ephemeris.about_planet(body, placed))
        gms.append(mass_named(body.parent).gm_km3_s2)
    return Surroundings(
        *_parted(field), body.radius_km, body.polar_radius_km, ground_km, angles, float(turned[0]), _ANGLES_STEP_S,
        np.stack(others), float(placed[0]), _OTHERS_STEP_S, np.array(gms),
    )  # fmt: skip


def alone(
    body: Mass, field: GravityField, *, ground_km: float = 0.0, turn_s: float, days: float = 400.0
) -> Surroundings:
    """A body that turns evenly about ICRF's z, from its x on, with nothing beside it: for checks against others."""
    t = np.arange(-2.0, days * DAY_S / _ANGLES_STEP_S + 3.0) * _ANGLES_STEP_S
    # the node of the pole's equator is at right ascension + 90 deg: W counts from there
    angles = np.stack(
        [np.full_like(t, -0.5 * np.pi), np.full_like(t, 0.5 * np.pi), 2.0 * np.pi * t / turn_s], -1
    )
    return Surroundings(
        *_parted(field), body.radius_km, body.polar_radius_km, ground_km, angles, float(t[0]), _ANGLES_STEP_S,
        np.zeros((0, 2, 6)), 0.0, 1.0, np.zeros(0),
    )  # fmt: skip


def _parted(field: GravityField) -> tuple[Harmonics, Floats, Harmonics]:
    """The field as it is, its zonals, and the rest of it, which needs fewer nodes where it is of lower degree."""
    n = np.arange(field.degree + 1.0)
    least = np.maximum(n, 1.0)
    zonal = np.stack([field.c[0] * np.sqrt(2.0 * n + 1.0), (2.0 * n - 1.0) / least, (n - 1.0) / least])
    top = field.top.copy()
    top[0] = int(top[1:].max(initial=0))
    c, s = field.c[:, : top[0] + 1].copy(), field.s[:, : top[0] + 1].copy()
    c[0, 1:] = 0.0
    rest = replace(field, c=c, s=s, top=top)
    return field.compiled(), zonal, rest.compiled()


def turn_s_of(body: Mass) -> float:
    """Time of one turn of a body, s."""
    w = pole_and_meridian_deg(body, np.array([0.0, DAY_S]))[2]
    return 360.0 / abs(float(w[1] - w[0])) * DAY_S


@njit(cache=True)
def fill_axes(t, around, axes):
    """Write rows x, y, z of the turning frame into axes (3, 3); angles by a cubic through four nodes."""
    at = (t - around.angles_start_s) / around.angles_step_s
    k = min(max(int(math.floor(at)), 1), around.angles.shape[0] - 3)
    u = at - k
    w0, w1 = -u * (u - 1.0) * (u - 2.0) / 6.0, (u + 1.0) * (u - 1.0) * (u - 2.0) / 2.0
    w2, w3 = -(u + 1.0) * u * (u - 2.0) / 2.0, (u + 1.0) * u * (u - 1.0) / 6.0
    angles = around.angles
    alpha = w0 * angles[k - 1, 0] + w1 * angles[k, 0] + w2 * angles[k + 1, 0] + w3 * angles[k + 2, 0]
    delta = w0 * angles[k - 1, 1] + w1 * angles[k, 1] + w2 * angles[k + 1, 1] + w3 * angles[k + 2, 1]
    turned = w0 * angles[k - 1, 2] + w1 * angles[k, 2] + w2 * angles[k + 1, 2] + w3 * angles[k + 2, 2]
    sa, ca, sd, cd = math.sin(alpha), math.cos(alpha), math.sin(delta), math.cos(delta)
    sw, cw = math.sin(turned), math.cos(turned)
    # node (-sa, ca, 0); across = pole x node
    axes[0, 0], axes[0, 1], axes[0, 2] = -cw * sa - sw * sd * ca, cw * ca - sw * sd * sa, sw * cd
    axes[1, 0], axes[1, 1], axes[1, 2] = sw * sa - cw * sd * ca, -sw * ca - cw * sd * sa, cw * cd
    axes[2, 0], axes[2, 1], axes[2, 2] = cd * ca, cd * sa, sd


@njit(cache=True)
def fill_others(t, around, places):
    """Write where the others are into places (k, 3)."""
    for k in range(around.other_gm.size):
        x, y, z = hermite_position(around.others[k], around.others_start_s, around.others_step_s, t)
        places[k, 0], places[k, 1], places[k, 2] = x, y, z


@njit(cache=True)
def pull_at(r, around, axes, places, v, w, central, out):
    """Write the acceleration at r (3,) of the field as turned and of the others, less what the body feels of them."""
    _pull(r, around.field, around, axes, places, v, w, central, out)


@njit(cache=True)
def waves_at(r, around, axes, places, v, w, out):
    """The same without the pull of the body as a point and without its zonals."""
    _pull(r, around.waves, around, axes, places, v, w, False, out)


@njit(cache=True)
def zonals_at(r, around, axes, out):
    """Write the acceleration of the zonals alone: grad of r^-(n+1) P_n(s), with (n + 1) P_n + s P_n' = P_(n+1)'."""
    r2 = r[0] * r[0] + r[1] * r[1] + r[2] * r[2]
    distance = math.sqrt(r2)
    s = (axes[2, 0] * r[0] + axes[2, 1] * r[1] + axes[2, 2] * r[2]) / distance
    share = around.field.radius_km / distance
    before, here, slope, power = 1.0, s, 1.0, share  # P_0, P_1, P_1'
    outward = along = 0.0
    for n in range(2, around.zonal.shape[1]):
        power *= share
        following = around.zonal[1, n] * s * here - around.zonal[2, n] * before
        steeper = s * slope + n * here
        c = around.zonal[0, n] * power
        along += c * steeper
        outward -= c * (s * steeper + (n + 1.0) * following)
        before, here, slope = here, following, steeper
    scale = around.field.gm_km3_s2 / r2
    for i in range(3):
        out[i] = scale * (outward * r[i] / distance + along * axes[2, i])


@njit(cache=True)
def _pull(r, field, around, axes, places, v, w, central, out):
    x = axes[0, 0] * r[0] + axes[0, 1] * r[1] + axes[0, 2] * r[2]
    y = axes[1, 0] * r[0] + axes[1, 1] * r[1] + axes[1, 2] * r[2]
    z = axes[2, 0] * r[0] + axes[2, 1] * r[1] + axes[2, 2] * r[2]
    ax, ay, az = acceleration_at(x, y, z, field, v, w, central)
    for i in range(3):
        out[i] = axes[0, i] * ax + axes[1, i] * ay + axes[2, i] * az
    for k in range(around.other_gm.size):
        px, py, pz = places[k, 0], places[k, 1], places[k, 2]
        dx, dy, dz = px - r[0], py - r[1], pz - r[2]
        d2, p2 = dx * dx + dy * dy + dz * dz, px * px + py * py + pz * pz
        near, far = around.other_gm[k] / (d2 * math.sqrt(d2)), around.other_gm[k] / (p2 * math.sqrt(p2))
        out[0] += near * dx - far * px
        out[1] += near * dy - far * py
        out[2] += near * dz - far * pz


@njit(cache=True)
def ground_radius(sine, around):
    """Distance of the ground from the centre where the pole's component of the direction is `sine`, geocentric."""
    a, c = around.radius_km, around.polar_radius_km
    level2 = 1.0 - sine * sine
    return a * c / math.sqrt(c * c * level2 + a * a * sine * sine) + around.ground_km


def _grid(first: float, last: float, step: float) -> Floats:
    nodes: Floats = np.arange(math.floor(first / step) - 2, math.ceil(last / step) + 3, dtype=float) * step
    return nodes
