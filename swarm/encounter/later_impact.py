"""What stays bound to the planet after its pass of a moon meets the moon again: Opik's rate, a chance for some years.

A probe has no plan for where it goes then, working or dead, so that its chance adds to that of the pass itself against
a limit. Each row is followed half a day past the moon in the field; where it is bound to the planet then, the mean rate
of Opik (1951), Proc. R. Irish Acad. 54A:165, for orbits that cross the moon's and precess, is taken for the years that
the study counts:

    P = tau^2 U / (pi |U_x| sin i) a revolution
    U^2 = 3 - 1/A - 2 sqrt(A (1 - e^2)) cos i,  U_x^2 = 2 - 1/A - A (1 - e^2)

with A = a / a_moon and tau the impact parameter over a_moon (from memory). An orbit in the moon's plane is taken as
inclined by tau: nearer, no path misses for its inclination. A mean over nodes and periapses: resonances and what the
other moons do are left to refinement, which follows samples (`bound_after`) and says where they hit more often.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from swarm.reach.approach.about import index_of
from swarm.reach.approach.field import OK, PlanetField, move_to, place_of, velocity_of
from swarm.reach.approach.rows import LowPasses
from swarm.reach.arcs.bplane import impact_parameter_km
from targets.base.constants import DAY_S, JULIAN_YEAR_S
from targets.masses.massive import SUN, Mass, planet_of

Floats = NDArray[np.float64]

# So long after closest approach a probe has left the moon. Own choice; the field of the rows covers it.
LEFT_S = 0.5 * DAY_S


def later_chances(rows: LowPasses, which: NDArray[np.int64], years: float) -> Floats:
    """(n,) chance that some rows that were met hit their moon again within so many years; 0 for what leaves it all.

    What passes a planet leaves it. Where a row cannot be followed past its moon, 1.
    """
    body, field = rows.passage.body, rows.field
    if body.parent == SUN or years <= 0.0:
        return np.zeros(len(which))
    planet = planet_of(body)
    found = np.ones(len(which))
    for j, k in enumerate(which):
        t, y = float(rows.shots.closest_s[k]), rows.shots.state[k].copy()
        if move_to(y, t, t + LEFT_S, field) != OK:
            continue
        bound = orbital_energy(y, planet) < 0.0
        found[j] = min(years * opik_rate_per_year(y, t + LEFT_S, body, field), 1.0) if bound else 0.0
    return found


def opik_rate_per_year(y: Floats, tdb_s: float, body: Mass, field: PlanetField) -> float:
    """Opik's chance a year to hit a moon, of an orbit about its planet; 0 where it does not cross the moon's."""
    planet, index = planet_of(body), index_of(body)
    r, v = np.array(place_of(index, tdb_s, field)), np.array(velocity_of(index, tdb_s, field))
    mu, of_moon, h = planet.gm_km3_s2, np.cross(r, v), np.cross(y[:3], y[3:])
    a_moon = 1.0 / (2.0 / float(np.linalg.norm(r)) - float(v @ v) / mu)
    a = -0.5 * mu / orbital_energy(y, planet)
    cosine = float(h @ of_moon / np.linalg.norm(h) / np.linalg.norm(of_moon))
    return opik_rate(a / a_moon, float(h @ h) / (mu * a_moon), cosine, a_moon, body, mu)


def opik_rate(
    ratio: float, parameter: float, cosine: float, a_moon_km: float, body: Mass, mu_km3_s2: float
) -> float:
    """The same by A, by A (1 - e^2), and by the cosine of the inclination to the moon's orbit."""
    e = math.sqrt(max(1.0 - parameter / ratio, 0.0))
    if ratio <= 0.0 or not ratio * (1.0 - e) < 1.0 < ratio * (1.0 + e):
        return 0.0
    speed = math.sqrt(mu_km3_s2 / a_moon_km)
    u = math.sqrt(max(3.0 - 1.0 / ratio - 2.0 * math.sqrt(parameter) * cosine, 1e-12))
    u_x = math.sqrt(max(2.0 - 1.0 / ratio - parameter, 1e-12))
    hit_km = float(impact_parameter_km(body.radius_km, u * speed, mu_km3_s2=body.gm_km3_s2))
    tau = hit_km / a_moon_km
    sine = max(math.sqrt(max(1.0 - cosine * cosine, 0.0)), tau)
    revolutions = JULIAN_YEAR_S / (2.0 * math.pi * math.sqrt((ratio * a_moon_km) ** 3 / mu_km3_s2))
    return tau**2 * u / (math.pi * u_x * sine) * revolutions


def orbital_energy(y: Floats, planet: Mass) -> float:
    """Energy about the planet, km^2/s^2, of a state (6,) about its centre: below 0 where it stays."""
    return 0.5 * float(y[3:] @ y[3:]) - planet.gm_km3_s2 / float(np.linalg.norm(y[:3]))
