"""The field about a planet over a span of dates, from the ephemerides: made once, in the driver."""

from __future__ import annotations

import math

import numpy as np

from swarm.reach.approach.field import PLANET, PlanetField
from targets.base import constants as k
from targets.base.constants import DAY_S, GM_SUN_KM3_S2
from targets.ephemeris import spice
from targets.masses.massive import Mass, mass_named, moons_of, planet_of
from targets.masses.rotation import body_axes
from targets.masses.where import Ephemeris

# A moon turns by no more than this between nodes: the cubic between two of them is then good to a few metres.
_NODE_RAD = 0.03
_FAR_STEP_S = 0.5 * DAY_S
# System number in DE440, GM: what pulls besides the planet's own system.
_FAR = (
    (1, k.GM_MERCURY_KM3_S2),
    (2, k.GM_VENUS_KM3_S2),
    (3, k.GM_EARTH_KM3_S2 + k.GM_MOON_KM3_S2),
    (4, k.GM_MARS_SYSTEM_KM3_S2),
    (5, k.GM_JUPITER_SYSTEM_KM3_S2),
    (6, k.GM_SATURN_SYSTEM_KM3_S2),
)


def field_about(planet: Mass, first_tdb_s: float, last_tdb_s: float, ephemeris: Ephemeris) -> PlanetField:
    """The field of a planet for paths between two epochs."""
    moons = moons_of(planet)
    step = _moon_step_s(planet)
    near = _grid(first_tdb_s, last_tdb_s, step)
    placed = ephemeris.moons_about_planet(planet, near) if moons else {}
    far = _grid(first_tdb_s, last_tdb_s, _FAR_STEP_S)
    centre = ephemeris.about_sun(planet, far)
    others = [(number, gm) for number, gm in _FAR if number != planet.number // 100]
    middle = np.array([0.5 * (first_tdb_s + last_tdb_s)])
    return PlanetField(
        gm=planet.gm_km3_s2, radius_km=planet.radius_km, j2=planet.j2, j4=planet.j4,
        j_radius_km=planet.j_radius_km or planet.radius_km, pole=body_axes(planet, middle)[0, 2].copy(),
        moons=np.stack([placed[moon.name] for moon in moons]) if moons else np.zeros((0, 2, 6)),
        moons_start_s=float(near[0]), moons_step_s=step,
        moon_gm=np.array([moon.gm_km3_s2 for moon in moons]),
        moon_radius_km=np.array([moon.radius_km for moon in moons]),
        moon_j2=np.array([moon.j2 for moon in moons]),
        moon_j_radius_km=np.array([moon.j_radius_km for moon in moons]),
        moon_pole=np.array([body_axes(moon, middle)[0, 2] for moon in moons]).reshape(-1, 3),
        far=np.stack([-centre, *(spice.sample(number, far) - centre for number, _ in others)]),
        far_start_s=float(far[0]), far_step_s=_FAR_STEP_S,
        far_gm=np.array([GM_SUN_KM3_S2, *(gm for _, gm in others)]),
    )  # fmt: skip


def index_of(body: Mass) -> int:
    """What the compiled field calls a body: PLANET, or its row among the moons."""
    planet = planet_of(body)
    return PLANET if body is planet else moons_of(planet).index(body)


def without_planet(field: PlanetField) -> PlanetField:
    """The field with the planet's own pull switched off (for tests and what-ifs)."""
    return field._replace(gm=0.0)


def _moon_step_s(planet: Mass) -> float:
    rates = [math.sqrt(mass_named(moon.parent).gm_km3_s2 / moon.distance_km**3) for moon in moons_of(planet)]
    return float(min((_NODE_RAD / max(rates)) if rates else DAY_S, 3600.0))


def _grid(first: float, last: float, step: float) -> np.ndarray:
    return np.arange(math.floor(first / step) - 2, math.ceil(last / step) + 3) * step
