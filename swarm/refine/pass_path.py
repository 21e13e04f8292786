"""The path of a low pass from its burn until it has left, as nodes that Hermite polynomials join.

Flown in the field about the planet where the row was found; km, km/s, TDB s, ICRF. Nodes are as near to each other as
the nearest body asks; within a moon's sphere of influence states are about the moon, so that its own error does not
enter them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swarm.reach.approach.about import field_about, index_of
from swarm.reach.approach.field import OK, PlanetField, move_to, relative_to
from swarm.refine.stretches import Stretch, whole_microseconds
from targets.base.constants import DAY_S
from targets.masses.massive import SUN, Mass, mass_named, planet_of
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]

# Nodes are this share of distance over speed apart: degree 7 then errs by less than a metre (read back in every run).
_SHARE, _STEP_LEAST_S, _STEP_MOST_S = 0.008, 0.2, 0.1 * DAY_S
# How far a probe is followed after its pass, and how long before and after it the moon's own states are given.
_AFTER_S, _MOON_S, _MOON_STEP_S = DAY_S, 2.0 * DAY_S, 900.0


@dataclass(frozen=True, eq=False)
class PassPath:
    """A pass as it is handed over.

    stretches, centers : in order; states of each about the body of that name
    moon               : the moon's own states about the planet; None where a planet is passed
    closest_tdb_s      : lowest point; relative (6,) to the body there
    """

    stretches: list[Stretch]
    centers: list[str]
    moon: Stretch | None
    closest_tdb_s: float
    relative: Floats


class NotFollowed(Exception):
    """The path cannot be followed; says why."""


def field_of_pass(row: dict[str, Any], ephemeris: Ephemeris) -> PlanetField:
    """The field in which a row of `opportunities`, as widened by `passes`, was flown, until it has left."""
    planet = planet_of(mass_named(row["target"]))
    return field_about(planet, row["burn_tdb_s"] - 1.0, row["encounter_tdb_s"] + _AFTER_S + 1.0, ephemeris)


def path_of_pass(row: dict[str, Any], field: PlanetField, ephemeris: Ephemeris) -> PassPath:
    """Fly a row from its burn on, in its own field. Raises NotFollowed."""
    body = mass_named(row["target"])
    begin, met = float(row["burn_tdb_s"]), float(row["encounter_tdb_s"])
    at = np.array([begin])
    ship = np.array(
        [row[f"ship_{part}"] for part in ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")]
    )
    start = ship - ephemeris.about_sun(planet_of(body), at)[0]
    start[3:] += 1e-3 * np.array([row[f"burn_{axis}_m_s"] + row[f"aimed_{axis}_m_s"] for axis in "xyz"])
    epochs, states = _flown(start, begin, (met, met + _AFTER_S), body, field)
    at_met = int(np.argmin(np.abs(epochs - met)))
    relative = np.array(relative_to(index_of(body), epochs[at_met], states[at_met], field))
    if body.parent == SUN:
        cuts = [(0, at_met, ""), (at_met, len(epochs) - 1, "")]
    else:
        cuts = _by_sphere(epochs, states, body, field)
    stretches, centers = [], []
    for first, last, center in cuts:
        own = slice(first, last + 1)
        about = states[own] if not center else _about(epochs[own], states[own], body, field)
        stretches.append(Stretch(epochs[own], about))
        centers.append(center or planet_of(body).name.upper())
    moon = None if body.parent == SUN else _moon(body, met, field, (epochs[0], epochs[-1]))
    return PassPath(stretches, centers, moon, met, relative)


def _flown(
    start: Floats, begin: float, marks: tuple[float, ...], body: Mass, field: PlanetField
) -> tuple[Floats, Floats]:
    """Epochs, whole microseconds, and states about the planet, from the burn to the last mark; marks are nodes."""
    y, t = np.ascontiguousarray(start), begin
    epochs, states = [begin], [start.copy()]
    for mark in marks:
        while t < mark:
            step = min(max(_SHARE * _nearest_s(y, t, body, field), _STEP_LEAST_S), _STEP_MOST_S)
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


def _by_sphere(epochs: Floats, states: Floats, body: Mass, field: PlanetField) -> list[tuple[int, int, str]]:
    """Stretches about the planet, about the moon while the probe is within its sphere of influence, and after."""
    away = np.linalg.norm(_about(epochs, states, body, field)[:, :3], axis=1)
    inside = np.flatnonzero(away < body.influence_km)
    first, last = int(inside[0]), int(inside[-1])
    return [(0, first, ""), (first, last, body.name.upper()), (last, len(epochs) - 1, "")]


def _about(epochs: Floats, states: Floats, body: Mass, field: PlanetField) -> Floats:
    return np.array([relative_to(index_of(body), t, y, field) for t, y in zip(epochs, states, strict=True)])


def _moon(body: Mass, met: float, field: PlanetField, span: tuple[float, float]) -> Stretch:
    first, last = max(span[0], met - _MOON_S), min(span[1], met + _MOON_S)
    epochs = whole_microseconds(np.linspace(first, last, math.ceil((last - first) / _MOON_STEP_S) + 1))
    still = np.zeros(6)
    return Stretch(epochs, -np.array([relative_to(index_of(body), t, still, field) for t in epochs]))


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
