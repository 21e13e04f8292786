"""The averaged rates add zonals and all else apart, each at as many nodes as it needs: nothing is lost by it."""

import math

import numpy as np
import pytest

from swarm.encounter.orbit.mean_life import NODES, NODES_ECCENTRIC
from swarm.encounter.orbit.mean_rates import fill_rates
from swarm.encounter.orbit.surroundings import fill_axes, fill_others, pull_at, waves_at, zonals_at
from tests.helpers.lunar_orbits import BEGIN, about_moon


def test_the_parts_are_the_whole():
    """At places thrown about the Moon: the field as turned, against zonals by Legendre's recursion and the rest."""
    around = about_moon(5, 0.0)
    axes, places = np.empty((3, 3)), np.empty((len(around.other_gm), 3))
    fill_axes(BEGIN, around, axes)
    fill_others(BEGIN, around, places)
    columns = around.field.c.shape[1] + 2
    v, w = np.zeros((3, columns)), np.zeros((3, columns))
    rng = np.random.default_rng(1)
    for _ in range(30):
        r = rng.normal(size=3)
        r *= (1760.0 + 500.0 * rng.random()) / np.linalg.norm(r)
        whole, waves, zonals = np.empty(3), np.empty(3), np.empty(3)
        pull_at(r, around, axes, places, v, w, False, whole)
        waves_at(r, around, axes, places, v, w, waves)
        zonals_at(r, around, axes, zonals)
        assert np.linalg.norm(whole - waves - zonals) < 1e-12 * np.linalg.norm(whole)


@pytest.mark.parametrize(
    ("a_km", "e"), [(1769.0, 0.001), (1830.0, 0.02), (1980.0, 0.05), (2130.0, 0.09), (2800.0, 0.3)]
)
def test_more_nodes_change_nothing(a_km, e):
    around = about_moon(5, 0.0)
    pole = np.array([0.6, 0.0, 0.8])
    along = np.array([0.8, 0.0, -0.6])
    y = np.concatenate([pole * math.sqrt(1.0 - e * e), e * along])
    few, many = np.empty(6), np.empty(6)
    nodes = NODES if e < 0.1 else NODES_ECCENTRIC
    fill_rates(BEGIN, y, a_km, around.field.gm_km3_s2, around, nodes, few)
    fill_rates(BEGIN, y, a_km, around.field.gm_km3_s2, around, 512, many)
    assert np.linalg.norm(few - many) < 1e-9 * np.linalg.norm(many)
