"""The path of a low pass from its release until it has left, as nodes that Hermite polynomials join.

Flown in the field about the planet where the row was found; km, km/s, TDB s, ICRF. Nodes are as near to each other as
the nearest body asks. States are about the Sun outside the planet's sphere of influence, about the planet inside it,
and about a moon inside the moon's, so that its own error does not enter them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swarm.reach.approach.about import field_about, index_of
from swarm.reach.approach.field import OK, PlanetField, move_to, relative_to
from swarm.refine.stretches import DEGREE, Stretch, whole_microseconds
from targets.base.constants import DAY_S
from targets.base.timescale import tdb_s_from_jd
from targets.masses.massive import SUN, Mass, mass_named, planet_of
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]

# Nodes are this share of distance over speed apart: degree 7 then errs by less than a metre (read back in every run).
_SHARE, _STEP_LEAST_S, _STEP_MOST_S = 0.008, 0.2, 0.1 * DAY_S
# A stretch shorter than that is not given a centre of its own: no polynomial joins its nodes.
_NODES_LEAST = 2 * (DEGREE + 1)
# How far a probe is followed after its pass, and how long before and after it the moon's own states are given.
_AFTER_S, _MOON_S, _MOON_STEP_S = DAY_S, 2.0 * DAY_S, 900.0
_PLANET_STEP_S = 3600.0
_STATE = ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")


@dataclass(frozen=True, eq=False)
class About:
    """A stretch of a probe's path, and the name of the body that its states are about."""

    center: str
    stretch: Stretch


@dataclass(frozen=True, eq=False)
class PassPath:
    """A pass as it is handed over.

    before, after : of the burn, in order of date; without check-out there is nothing before
    planet, moon  : their own states as they were used, about the Sun and about the planet; no moon where a planet is
                    passed
    """

    before: list[About]
    after: list[About]
    planet: Stretch
    moon: Stretch | None

    @property
    def whole(self) -> list[About]:
        return [*self.before, *self.after]


class NotFollowed(Exception):
    """The path cannot be followed; says why."""


def release_s(row: dict[str, Any]) -> float:
    """Date of release, TDB s, to the microsecond; not after the burn."""
    date = float(whole_microseconds(np.atleast_1d(tdb_s_from_jd(row["release_jd_tdb"])))[0])
    return min(date, burn_s(row))


def burn_s(row: dict[str, Any]) -> float:
    return float(whole_microseconds(np.array([row["burn_tdb_s"]]))[0])


def burn_km_s(row: dict[str, Any]) -> Floats:
    return 1e-3 * np.array([row[f"burn_{axis}_m_s"] for axis in "xyz"])


def unburned_state(row: dict[str, Any], ephemeris: Ephemeris) -> Floats:
    """(6,) about the planet's centre at the date of the burn, `row["burn_tdb_s"]`, just before it."""
    ship = np.array([row[f"ship_{part}"] for part in _STATE])
    state: Floats = (
        ship - ephemeris.about_sun(planet_of(mass_named(row["target"])), np.array([row["burn_tdb_s"]]))[0]
    )
    return state


def impulse_km_s(row: dict[str, Any]) -> Floats:
    """What puts the probe on its way: its burn, and what a mothership that steers gave it."""
    return burn_km_s(row) + 1e-3 * np.array([row.get(f"aimed_{axis}_m_s") or 0.0 for axis in "xyz"])


def field_of_pass(row: dict[str, Any], ephemeris: Ephemeris) -> PlanetField:
    """The field in which a row of `opportunities`, as widened by `passes`, was flown, until it has left."""
    planet = planet_of(mass_named(row["target"]))
    return field_about(planet, release_s(row) - 1.0, row["encounter_tdb_s"] + _AFTER_S + 1.0, ephemeris)


def path_of_pass(
    row: dict[str, Any], field: PlanetField, ephemeris: Ephemeris, *, after_s: float = _AFTER_S
) -> PassPath:
    """Fly a row from its release until so long after the encounter, in its own field. Raises NotFollowed."""
    body = mass_named(row["target"])
    begin, burn, met = release_s(row), burn_s(row), float(row["encounter_tdb_s"])
    at_burn = unburned_state(row, ephemeris)
    after = at_burn + np.concatenate([np.zeros(3), impulse_km_s(row)])
    before = []
    if begin < burn:
        released = at_burn.copy()
        if move_to(released, float(row["burn_tdb_s"]), begin, field) != OK:
            raise NotFollowed("the path cannot be followed back to the release")
        before = _split(*_flown(released, begin, (burn,), body, field), body, field, ephemeris)
    marks = (met, met + after_s) if after_s > 0.0 else (met,)
    flown = _split(*_flown(after, burn, marks, body, field), body, field, ephemeris)
    end = float(flown[-1].stretch.epochs_tdb_s[-1])
    moon = None if body.parent == SUN else _moon(body, met, field, (begin, end))
    return PassPath(before, flown, _planet(body, (begin, end), ephemeris), moon)


def _flown(
    start: Floats, begin: float, marks: tuple[float, ...], body: Mass, field: PlanetField
) -> tuple[Floats, Floats]:
    """Epochs, whole microseconds, and states about the planet, from the start to the last mark; marks are nodes."""
    y, t = np.ascontiguousarray(start), begin
    epochs, states = [begin], [start.copy()]
    most = min(_STEP_MOST_S, (marks[0] - begin) / _NODES_LEAST)
    for mark in marks:
        while t < mark:
            step = min(max(_SHARE * _nearest_s(y, t, body, field), _STEP_LEAST_S), most)
            until = mark if mark - t < 1.5 * step else t + step
            until = float(whole_microseconds(np.array([until]))[0])
            if move_to(y, t, until, field) != OK:
                raise NotFollowed("the path cannot be followed in the field about its planet")
            t = until
            epochs.append(t)
            states.append(y.copy())
            if t >= mark - 1e-6:
                break
    return np.array(epochs), np.array(states)


def _nearest_s(y: Floats, t: float, body: Mass, field: PlanetField) -> float:
    """Distance over speed, of planet or passed moon, whichever is shorter."""
    own = np.array(relative_to(index_of(body), t, y, field))
    return min(_length(each[:3]) / max(_length(each[3:]), 1e-9) for each in (y, own))


# --- what states are about -----------------------------------------------------------------------------------


def _split(
    epochs: Floats, states: Floats, body: Mass, field: PlanetField, ephemeris: Ephemeris
) -> list[About]:
    """Stretches about the Sun, the planet, the moon; two that follow each other share a node."""
    planet = planet_of(body)
    near = _about(epochs, states, body, field)
    inside = np.linalg.norm(states[:, :3], axis=1) < planet.influence_km
    at = np.where(inside, 1, 0)
    if body is not planet:
        at[np.linalg.norm(near[:, :3], axis=1) < body.influence_km] = 2
    own = (states + ephemeris.about_sun(planet, epochs), states, near)
    names = ("SUN", planet.name.upper(), body.name.upper())
    found = []
    for first, last in _runs(at):
        which = int(at[first])
        end = min(last + 1, len(epochs))
        found.append(About(names[which], Stretch(epochs[first:end], own[which][first:end])))
    return found


def _runs(at: NDArray[np.int64]) -> list[tuple[int, int]]:
    """First node, and the one after the last, of stretches of one centre; a short one goes with its neighbour."""
    while True:
        edges = [0, *(np.flatnonzero(np.diff(at)) + 1).tolist(), len(at)]
        runs = list(itertools.pairwise(edges))
        short = [run for run in runs if run[1] - run[0] < _NODES_LEAST]
        if not short or len(runs) == 1:
            return runs
        first, last = short[0]
        at[first:last] = at[last] if first == 0 else at[first - 1]


def _about(epochs: Floats, states: Floats, body: Mass, field: PlanetField) -> Floats:
    return np.array([relative_to(index_of(body), t, y, field) for t, y in zip(epochs, states, strict=True)])


def about_planet(
    center: str, epochs: Floats, states: Floats, *, body: Mass, field: PlanetField, ephemeris: Ephemeris
) -> Floats:
    """States about what a stretch says as states about the planet."""
    planet = planet_of(body)
    if center == "SUN":
        return states - ephemeris.about_sun(planet, epochs)
    if center == planet.name.upper():
        return states
    return states - _about(epochs, np.zeros((len(epochs), 6)), body, field)


def _moon(body: Mass, met: float, field: PlanetField, span: tuple[float, float]) -> Stretch:
    first, last = max(span[0], met - _MOON_S), min(span[1], met + _MOON_S)
    epochs = whole_microseconds(np.linspace(first, last, math.ceil((last - first) / _MOON_STEP_S) + 1))
    return Stretch(epochs, -_about(epochs, np.zeros((len(epochs), 6)), body, field))


def _planet(body: Mass, span: tuple[float, float], ephemeris: Ephemeris) -> Stretch:
    count = max(math.ceil((span[1] - span[0]) / _PLANET_STEP_S) + 1, _NODES_LEAST)
    epochs = whole_microseconds(np.linspace(*span, count))
    return Stretch(epochs, ephemeris.about_sun(planet_of(body), epochs))


def _length(vector: Floats) -> float:
    return float(np.linalg.norm(vector))


def followed(start: Floats, begin: float, field: PlanetField) -> Callable[[Floats], Floats]:
    """States about the planet at rising epochs, from one state on: for reading back."""

    def at(epochs: Floats) -> Floats:
        y, t, out = start.copy(), begin, []
        for epoch in epochs:
            if move_to(y, t, float(epoch), field) != OK:
                raise NotFollowed("the path cannot be followed from the first state of the message")
            t = float(epoch)
            out.append(y.copy())
        return np.array(out)

    return at
