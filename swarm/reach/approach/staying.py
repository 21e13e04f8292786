"""A mothership that stays at a planet: its elements about the planet's centre, flown in the field there.

The orbit is no ellipse for long: oblateness, moons and Sun turn it. So it is flown from its epoch on (`field`), with a
node every six hours; between two of them it is flown again. Nothing of it is two-body motion about the Sun, and no body
of a catalogue is offered from it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.reach.approach.about import field_about
from swarm.reach.approach.field import OK, PlanetField, move_to
from swarm.study.schema import Study
from targets.base.constants import DAY_S
from targets.base.errors import InputError
from targets.base.frames import icrf_from_ecliptic
from targets.masses.massive import Mass, mass_named
from targets.masses.where import Ephemeris
from targets.motion.twobody import states_from_elements

Floats = NDArray[np.float64]
NODE_S = 0.25 * DAY_S


@dataclass(frozen=True, eq=False)
class Staying:
    """Nodes (n, 6) about the planet's centre from `start_tdb_s` on, and the field between them."""

    planet: Mass
    field: PlanetField
    ephemeris: Ephemeris
    start_tdb_s: float
    nodes: Floats

    def about_planet(self, tdb_s: Floats) -> Floats:
        """(n, 6) about the planet's centre, ICRF."""
        out = np.empty((len(tdb_s), 6))
        _between(self.nodes, self.start_tdb_s, np.ascontiguousarray(tdb_s, dtype=float), self.field, out)
        return out

    def states(self, tdb_s: Floats) -> Floats:
        """(n, 6) heliocentric, ICRF."""
        return self.about_planet(tdb_s) + self.ephemeris.about_sun(
            self.planet, np.asarray(tdb_s, dtype=float)
        )


def first_state(study: Study) -> Floats:
    """(6,) about the planet's centre, ICRF, at the epoch of the elements (angles ecliptic J2000)."""
    ship = study.mothership
    planet = mass_named(ship.center or "")
    angles = [
        math.radians(angle or 0.0)
        for angle in (ship.i_deg, ship.node_deg, ship.argp_deg, ship.mean_anomaly_deg)
    ]
    r_km, v_km_s = states_from_elements(
        np.array([ship.a_km or 0.0]), np.array([ship.e or 0.0]), *(np.array([x]) for x in angles),
        mu_km3_s2=planet.gm_km3_s2,
    )  # fmt: skip
    return np.concatenate([icrf_from_ecliptic(r_km)[0], icrf_from_ecliptic(v_km_s)[0]])


def staying(
    study: Study, span_tdb_s: tuple[float, float], epoch_tdb_s: float, ephemeris: Ephemeris
) -> Staying:
    """Fly the orbit of a study over a span. Raises InputError where it does not stay, or falls on the planet."""
    planet = mass_named(study.mothership.center or "")
    start, end = span_tdb_s
    field = field_about(planet, min(start, epoch_tdb_s) - DAY_S, max(end, epoch_tdb_s) + DAY_S, ephemeris)
    y = first_state(study)
    fine = move_to(y, epoch_tdb_s, start, field) == OK
    nodes = np.full((math.ceil((end - start) / NODE_S) + 1, 6), np.nan)
    if fine:
        _march(y, start, field, nodes)
    away = np.linalg.norm(nodes[:, :3], axis=1)
    wrong = ~((away > planet.radius_km + planet.lowest_km) & (away < planet.influence_km))
    if wrong.any():
        days = float(np.flatnonzero(wrong)[0]) * NODE_S / DAY_S
        raise InputError(
            f"the mothership does not stay at {planet.name}", place="mothership.center",
            found=f"{away[wrong][0]:.6g} km from its centre, {days:.2f} d after study.start",
            expected=f"an orbit between {planet.radius_km + planet.lowest_km:.0f} and {planet.influence_km:.0f} km",
        )  # fmt: skip
    return Staying(planet, field, ephemeris, start, nodes)


@njit(cache=True)
def _march(y: Floats, start: float, field: PlanetField, nodes: Floats) -> None:
    """Fill nodes from a state at the first; what cannot be followed stays NaN."""
    nodes[0] = y
    for k in range(1, nodes.shape[0]):
        if move_to(y, start + (k - 1) * NODE_S, start + k * NODE_S, field) != OK:
            return
        nodes[k] = y


@njit(cache=True)
def _between(nodes: Floats, start: float, epochs: Floats, field: PlanetField, out: Floats) -> None:
    """Fly on from the nearest node."""
    for n in range(epochs.size):
        k = min(max(int(math.floor((epochs[n] - start) / NODE_S + 0.5)), 0), nodes.shape[0] - 1)
        y = nodes[k].copy()
        if move_to(y, start + k * NODE_S, epochs[n], field) != OK:
            y[:] = np.nan
        out[n] = y
