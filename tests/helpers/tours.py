"""Paths of a mothership that pass a moon or a planet at a chosen place: flown backwards in the field."""

import numpy as np

from swarm.reach.approach.about import field_about, index_of
from swarm.reach.approach.field import move_to, place_of, velocity_of
from targets.base.constants import DAY_S
from targets.base.timescale import tdb_s_from_jd
from targets.masses.massive import mass_named, planet_of
from targets.masses.where import Ephemeris

MET_S = float(tdb_s_from_jd(2_463_000.5))


def field_of(name, *, days=20.0, met_s=MET_S):
    planet = planet_of(mass_named(name))
    return field_about(planet, met_s - days * DAY_S, met_s + 5.0 * DAY_S, Ephemeris())


def mothership_before(name, field, *, days, v_inf=(2.5, 2.0, 1.0), away_km=(0.0, 0.0, 9000.0), met_s=MET_S):
    """State (6,) about the planet's centre, `days` before it passes the body."""
    body = index_of(mass_named(name))
    y = np.concatenate([place_of(body, met_s, field), velocity_of(body, met_s, field)])
    y[:3] += away_km
    speed2 = np.dot(v_inf, v_inf)
    y[3:] += np.sqrt(1.0 + 2.0 * mass_named(name).gm_km3_s2 / np.linalg.norm(away_km) / speed2) * np.array(
        v_inf
    )
    assert move_to(y, met_s, met_s - days * DAY_S, field) == 0
    return y
