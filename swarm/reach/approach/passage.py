"""Where the mothership passes a body with mass, from its path as given; before any burn is looked for."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from swarm.reach.approach.goals import frame_of
from targets.base.constants import DAY_S
from targets.ephemeris.planets import PlanetTable
from targets.masses.massive import MASSES, SUN, Mass, mass_named, moons_of, planet_of
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]
States = Callable[[Floats], Floats]

# Row of targets.ephemeris.planets.BODIES of each planet.
_ROWS = {
    "Mercury": 0, "Venus": 1, "Earth": 8, "Mars": 3, "Jupiter": 4, "Saturn": 5, "Uranus": 6, "Neptune": 7,
}  # fmt: skip
_GRID_S = 0.25 * DAY_S
# A moon is passed where it is nearer than so many of its spheres of influence, or of its radii if those are more.
_SPHERES, _RADII = 4.0, 20.0
_LEG_END_S = 5.0 * DAY_S
_TURN_RAD = 0.06  # of a moon between two looks


@dataclass(frozen=True, eq=False)
class Passage:
    """Closest approach of the mothership to a body.

    relative   : (6,) ICRF, from the body's centre; the place is NaN where a two-body leg meets the centre itself
    v_inf_km_s : (3,) incoming excess velocity; NaN where the mothership is bound to the body
    sun_km, earth_km : (3,) from the body to Sun and Earth
    """

    body: Mass
    closest_tdb_s: float
    relative: Floats
    v_inf_km_s: Floats
    sun_km: Floats
    earth_km: Floats

    @property
    def distance_km(self) -> float:
        return float(np.linalg.norm(self.relative[:3]))


@dataclass(frozen=True, eq=False)
class Meeting:
    """A planet whose centre a two-body leg meets; (3,) excess velocity of the leg that leads there."""

    body: Mass
    tdb_s: float
    v_inf_km_s: Floats


@dataclass(frozen=True)
class Nearest:
    """How near a path comes to a body at all: for those who ask for one that is never passed."""

    distance_km: float
    tdb_s: float


def passages(
    states: States,
    span_tdb_s: tuple[float, float],
    *,
    planets: PlanetTable,
    ephemeris: Ephemeris,
    meetings: Sequence[Meeting] = (),
) -> list[Passage]:
    """Every passage of a planet's sphere of influence and of its moons, in order of date.

    meetings : of two-body legs, that end at a planet's centre: their passages follow from the excess velocity alone
    """
    grid, scene = _grid(span_tdb_s), _Scene(states, planets, ephemeris)
    found: list[Passage] = []
    for planet in (body for body in MASSES if body.parent == SUN):
        relative = scene.roughly(planet, grid)
        distance = np.linalg.norm(relative[:, :3], axis=1)
        for stay in _runs(_widened(distance < planet.influence_km + _reach_km(relative))):
            fine = np.linspace(grid[stay][0], grid[stay][-1], 6 * (stay.stop - stay.start))
            turns = _turns(partial(scene.roughly, planet), partial(scene.exactly, planet), fine)
            found += [scene.passage(planet, t) for t in turns]
            for moon in moons_of(planet):
                found += _of_moon(scene, moon, grid[stay])
    found = [each for each in found if each.distance_km < _limit_km(each.body) and not _met(each, meetings)]
    found += [scene.meeting(each) for each in meetings]
    return sorted(found, key=lambda each: (each.closest_tdb_s, each.body.number))


def nearest(body: Mass, states: States, span_tdb_s: tuple[float, float], *, planets: PlanetTable) -> Nearest:
    """The least distance on a grid of six hours from a body, or from the planet of a moon."""
    grid = _grid(span_tdb_s)
    planet = planet_of(body)
    away = np.linalg.norm((states(grid) - planets.state(_ROWS[planet.name], grid))[:, :3], axis=1)
    k = int(np.argmin(away))
    return Nearest(float(away[k]), float(grid[k]))


def _met(found: Passage, meetings: Sequence[Meeting]) -> bool:
    """Whether a passage is what a two-body leg looks like where it meets a planet: no path there is."""
    planet = planet_of(found.body)
    return any(
        planet is each.body and abs(found.closest_tdb_s - each.tdb_s) < _LEG_END_S for each in meetings
    )


def _grid(span: tuple[float, float]) -> Floats:
    return np.linspace(span[0], span[1], max(2, math.ceil((span[1] - span[0]) / _GRID_S) + 1))


def _limit_km(body: Mass) -> float:
    if body.parent == SUN:
        return body.influence_km
    return max(_SPHERES * body.influence_km, _RADII * body.radius_km)


def _reach_km(relative: Floats) -> Floats:
    """How far the path may come between two looks: what lies between the grid's points is not missed."""
    return np.linalg.norm(relative[:, 3:], axis=1) * _GRID_S


def _widened(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    wide = mask.copy()
    wide[:-1] |= mask[1:]
    wide[1:] |= mask[:-1]
    return wide


def _runs(mask: NDArray[np.bool_]) -> list[slice]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(int)))
    return [slice(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 1]


def _turns(away: Callable[[Floats], Floats], exact: Callable[[Floats], Floats], grid: Floats) -> list[float]:
    """Epochs at which a range turns from falling to rising: seen by one ephemeris, found by another.

    away, exact : (n,) epochs -> (n, 6) relative states; the first is the cheap one
    """
    values = _rate(away(grid))

    def at(t: float) -> float:
        return float(_rate(exact(np.array([t])))[0])

    found = []
    for k in np.flatnonzero((values[:-1] < 0.0) & (values[1:] >= 0.0)):
        low, high = float(grid[k]), float(grid[k + 1])
        # what the cheap one sees at the edge of a step the other may see just beside it
        widened = (2.0 * low - high, 2.0 * high - low)
        first, last = at(low), at(high)
        if first * last > 0.0:
            low, high = max(widened[0], float(grid[0])), min(widened[1], float(grid[-1]))
            first, last = at(low), at(high)
        if first < 0.0 <= last:
            found.append(float(brentq(at, low, high, xtol=1e-2)))
    return found


def _rate(relative: Floats) -> Floats:
    return np.einsum("ij,ij->i", relative[:, :3], relative[:, 3:])


def _of_moon(scene: _Scene, moon: Mass, grid: Floats) -> list[Passage]:
    """Passages of a moon, looked for only while the mothership is about as far from the planet as the moon is."""
    planet = planet_of(moon)
    step = _TURN_RAD * math.sqrt(moon.distance_km**3 / planet.gm_km3_s2)
    fine = np.linspace(grid[0], grid[-1], max(2, math.ceil((grid[-1] - grid[0]) / step)))
    about = scene.roughly(planet, fine)
    away = np.abs(np.linalg.norm(about[:, :3], axis=1) - moon.distance_km)
    speed = np.linalg.norm(about[:, 3:], axis=1)
    near = away < (moon.eccentricity + 0.01) * moon.distance_km + _limit_km(moon) + speed * step
    found = []
    for run in _runs(_widened(near)):

        def roughly(t: Floats) -> Floats:
            return scene.roughly(planet, t) - scene.ephemeris.about_planet(moon, t)

        found += [scene.passage(moon, t) for t in _turns(roughly, partial(scene.exactly, moon), fine[run])]
    return found


@dataclass(frozen=True, eq=False)
class _Scene:
    states: States
    planets: PlanetTable
    ephemeris: Ephemeris

    def roughly(self, planet: Mass, t: Floats) -> Floats:
        """Relative to the planet's system, some hundred kilometres from its centre."""
        return self.states(t) - self.planets.state(_ROWS[planet.name], t)

    def exactly(self, body: Mass, t: Floats) -> Floats:
        return self.states(t) - self.ephemeris.about_sun(body, t)

    def passage(self, body: Mass, tdb_s: float) -> Passage:
        at = np.array([tdb_s])
        relative = self.exactly(body, at)[0]
        frame = frame_of(relative, body.gm_km3_s2)
        return Passage(body, tdb_s, relative, frame.v_inf * np.array(frame.s), *self._lights(body, at))

    def meeting(self, met: Meeting) -> Passage:
        relative = np.concatenate([np.full(3, np.nan), met.v_inf_km_s])
        lights = self._lights(met.body, np.array([met.tdb_s]))
        return Passage(met.body, met.tdb_s, relative, met.v_inf_km_s, *lights)

    def _lights(self, body: Mass, at: Floats) -> tuple[Floats, Floats]:
        """Sun and Earth from the body."""
        centre = self.ephemeris.about_sun(body, at)[0, :3]
        return -centre, self.ephemeris.about_sun(mass_named("Earth"), at)[0, :3] - centre
