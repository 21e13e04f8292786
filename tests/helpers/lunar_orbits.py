"""Orbits about the Moon for tests: round ones in a given plane, and what is about them on a date."""

from functools import cache

import numpy as np

from swarm.encounter.orbit.mean_life import MeanOrbit
from swarm.encounter.orbit.surroundings import alone, surroundings_of, turn_s_of
from targets.base.constants import DAY_S
from targets.gravity.harmonic_field import gravity_of
from targets.masses.massive import mass_named
from targets.masses.rotation import body_axes
from targets.masses.where import Ephemeris

MOON = mass_named("Moon")
BEGIN = 9.0e8
TURN_S = turn_s_of(MOON)


def orbit(height_km, inclination_deg, node_deg=0.0, e=0.0, argp_deg=0.0, axes=None):
    """To the Moon's equator of BEGIN, or that of `axes`; the height is of the mean radius."""
    at = body_axes(MOON, np.array([BEGIN]))[0] if axes is None else axes
    i, n, w = np.radians([inclination_deg, node_deg, argp_deg])
    node = np.array([np.cos(n), np.sin(n), 0.0])
    pole = np.array([np.sin(i) * np.sin(n), -np.sin(i) * np.cos(n), np.cos(i)])
    along = np.cos(w) * node + np.sin(w) * np.cross(pole, node)
    return MeanOrbit(1737.4 + height_km, at.T @ pole * np.sqrt(1.0 - e * e), at.T @ along * e)


@cache
def about_moon(days, ground_km, field=None):
    """The shipped field, or another, with Earth and Sun, on BEGIN."""
    span = BEGIN - DAY_S, BEGIN + (days + 1.0) * DAY_S
    return surroundings_of(MOON, field or gravity_of(MOON), span, ground_km=ground_km, ephemeris=Ephemeris())


def lone_moon(field, ground_km=-1e3):
    """Turning evenly in a sidereal month, nothing beside it."""
    return alone(MOON, field, turn_s=27.321661 * DAY_S, ground_km=ground_km)
