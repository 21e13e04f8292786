"""Into a low orbit by weeks of low thrust: how much speed, how many days.

    circle to circle, plane turned by di:  dv = sqrt(V0^2 - 2 V0 Vf cos(pi/2 di) + Vf^2)      [1, 2]
    arrival with excess speed             : dv <= v_inf + the spiral from the edge of the sphere of influence
    circle to ellipse                     : thrust against the speed in an arc about apoapsis, averaged by Gauss

The second is an upper bound, and is called one: it takes the excess off far out, where it costs itself, and gains
nothing from the depth of the well. In the shadow of the body there is no thrust: the lit share of a revolution goes
into the days, for a Sun in the plane of the orbit unless the angle is given (the worst case).

References
----------
[1] Edelbaum 1961, "Propulsion requirements for controllable satellites", ARS J. 31:1079
[2] Kechichian 1997, "Reformulation of Edelbaum's low-thrust transfer problem using optimal control theory",
    J. Guid. Control Dyn. 20:988
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from swarm.encounter.orbit.insertion import Thruster
from targets.base.constants import DAY_S
from targets.base.constants import STANDARD_GRAVITY_M_S2 as G0_M_S2

Floats = NDArray[np.float64]

_SLICES = 400
# Half width of the arc about apoapsis in eccentric anomaly. Own choice: within 5 % of the impulse's speed.
ARC_RAD = math.radians(50.0)
_ARC_NODES, _ARC_STEPS = 24, 100


@dataclass(frozen=True)
class Spiral:
    """What a spiral comes to; m/s, days with the duty and the shadow in them.

    excess_m_s   : taken off far out, an upper bound of what that costs
    circle_m_s   : from circle to circle
    ellipse_m_s  : from the circle to the periapsis wanted
    lit_share    : of the time, on average
    propellant_kg: for all of it
    """

    excess_m_s: float
    circle_m_s: float
    ellipse_m_s: float
    days: float
    lit_share: float
    propellant_kg: float

    @property
    def total_m_s(self) -> float:
        return self.excess_m_s + self.circle_m_s + self.ellipse_m_s

    @property
    def upper_bound(self) -> bool:
        return self.excess_m_s > 0.0


@dataclass(frozen=True)
class Well:
    """The body a spiral goes down to."""

    mu_km3_s2: float
    radius_km: float


def circle_to_circle_km_s(
    from_km: float, to_km: float, *, mu_km3_s2: float, turned_rad: float = 0.0
) -> float:
    """Speed for a spiral between circles [1]; radii from the centre, the plane turned by no more than 114.6 deg."""
    begin, end = math.sqrt(mu_km3_s2 / from_km), math.sqrt(mu_km3_s2 / to_km)
    return math.sqrt(begin**2 - 2.0 * begin * end * math.cos(0.5 * math.pi * turned_rad) + end**2)


def shadow_share(radius_km: ArrayLike, body_km: float, *, sun_from_plane_rad: float = 0.0) -> Floats:
    """Share of a circle in the shadow of a body, a cylinder: any text on satellites."""
    r = np.asarray(radius_km, float)
    level = math.cos(sun_from_plane_rad)
    inside = np.sqrt(np.maximum(r**2 - body_km**2, 0.0)) / (r * max(level, 1e-12))
    return np.where(inside < 1.0, np.arccos(np.minimum(inside, 1.0)) / math.pi, 0.0)


def spiral_in(
    well: Well, thruster: Thruster, *, v_inf_km_s: float, from_km: float, periapsis_km: float, apoapsis_km: float,
    duty: float, turned_rad: float = 0.0, sun_from_plane_rad: float = 0.0,
) -> Spiral:  # fmt: skip
    """The whole way: excess speed, circle to the apoapsis, ellipse to the periapsis. Radii from the centre."""
    exhaust = thruster.isp_s * G0_M_S2
    flow = thruster.thrust_n / exhaust

    def after(spent_m_s: float) -> float:
        return thruster.wet_mass_kg * math.exp(-spent_m_s / exhaust)

    excess = 1e3 * v_inf_km_s
    ellipse, share, circle_km = 0.0, 1.0, apoapsis_km
    if periapsis_km < apoapsis_km * (1.0 - 1e-9):
        ellipse, share, circle_km = lower_periapsis(well.mu_km3_s2, apoapsis_km, periapsis_km)
    seconds = burning = (thruster.wet_mass_kg - after(excess)) / flow
    circle = 1e3 * circle_to_circle_km_s(from_km, circle_km, mu_km3_s2=well.mu_km3_s2, turned_rad=turned_rad)
    slices = np.linspace(0.0, circle, _SLICES + 1)
    radii = _radii_along(0.5e-3 * (slices[1:] + slices[:-1]), from_km, circle_km, well.mu_km3_s2, turned_rad)
    masses = np.array([after(excess + spent) for spent in slices])
    parts = -np.diff(masses) / flow
    lit = 1.0 - shadow_share(radii, well.radius_km, sun_from_plane_rad=sun_from_plane_rad)
    seconds += float((parts / lit).sum())
    burning += float(parts.sum())
    if ellipse:
        part = (after(excess + circle) - after(excess + circle + ellipse)) / flow
        dark = float(shadow_share(apoapsis_km, well.radius_km, sun_from_plane_rad=sun_from_plane_rad))
        seconds += part / (share * (1.0 - dark))
        burning += part
    total = excess + circle + ellipse
    return Spiral(
        excess, circle, ellipse, seconds / duty / DAY_S, burning / seconds if seconds else 1.0,
        thruster.wet_mass_kg - after(total),
    )  # fmt: skip


def _radii_along(spent_km_s: Floats, from_km: float, to_km: float, mu: float, turned_rad: float) -> Floats:
    """Radius of the circle after so much of the spiral: V^2 = V0^2 - 2 V0 dv cos(b) + dv^2, b the first yaw [2]."""
    begin, end = math.sqrt(mu / from_km), math.sqrt(mu / to_km)
    angle = 0.5 * math.pi * turned_rad
    # tan b = sin(angle)/(V0/Vf - cos(angle))
    yaw = math.atan2(math.sin(angle), begin / end - math.cos(angle))
    squared = begin**2 - 2.0 * begin * spent_km_s * math.cos(yaw) + spent_km_s**2
    return mu / squared


def lower_periapsis(mu_km3_s2: float, apoapsis_km: float, periapsis_km: float) -> tuple[float, float, float]:
    """From a circle to an ellipse by arcs of thrust about apoapsis: m/s, share of time in them, radius of the circle.

    Averaged: dr_p/d(dv) and dr_a/d(dv) by Gauss's equations for a push against the speed, weighted by the time spent at
    each eccentric anomaly of the arc. Apoapsis sinks with it: the circle is that much higher than the apoapsis wanted.
    """

    def too_high(circle_km: float) -> float:
        return _lowered(mu_km3_s2, circle_km, periapsis_km)[2] - apoapsis_km

    circle = brentq(too_high, apoapsis_km, 3.0 * apoapsis_km, xtol=1e-3)
    spent, share, _ = _lowered(mu_km3_s2, circle, periapsis_km)
    return 1e3 * spent, share, circle


def _lowered(mu: float, circle_km: float, periapsis_km: float) -> tuple[float, float, float]:
    """km/s, share of time, and the apoapsis it ends with."""
    low = high = circle_km
    spent = whole = 0.0
    nodes, weights = np.polynomial.legendre.leggauss(_ARC_NODES)
    angles, weights = math.pi + ARC_RAD * nodes, ARC_RAD * weights
    sink = (circle_km - periapsis_km) / _ARC_STEPS
    for _ in range(_ARC_STEPS):
        a, e = 0.5 * (low + high), (high - low) / (high + low)
        by_low, by_high = _slopes(mu, a, e, angles, weights)
        burnt = sink / -by_low
        low -= sink
        high += by_high * burnt
        spent += burnt
        whole += burnt * 2.0 * math.pi / float(weights @ (1.0 - e * np.cos(angles)))
    return spent, spent / whole, high


def _slopes(mu: float, a: float, e: float, angles: Floats, weights: Floats) -> tuple[float, float]:
    """d(r_p), d(r_a) by a km/s of dv against the speed, averaged over the arc."""
    times = weights * (1.0 - e * np.cos(angles))
    times = times / times.sum()
    r = a * (1.0 - e * np.cos(angles))
    speed = np.sqrt(mu * (2.0 / r - 1.0 / a))
    cos_f = (np.cos(angles) - e) / (1.0 - e * np.cos(angles))
    # push along -v: da = -2 a^2 v/mu, de = -2 (e + cos f)/v
    by_a, by_e = -2.0 * a * a * speed / mu, -2.0 * (e + cos_f) / speed
    return float(times @ (by_a * (1.0 - e) - a * by_e)), float(times @ (by_a * (1.0 + e) + a * by_e))
