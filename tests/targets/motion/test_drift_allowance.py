"""Guarantee of `prepare`: two-body motion strays from the perturbed path by no more than the allowance."""

from __future__ import annotations

import numpy as np
import pytest

from targets.base.constants import DAY_S, JULIAN_YEAR_S
from targets.ephemeris.planets import sample_planets
from targets.motion.perturbed import march, prepare
from targets.motion.twobody import drift_states
from tests.helpers.invented_bodies import START_TDB_S, belt, near_earth

YEARS = 4


@pytest.fixture(scope="module")
def planets():
    return sample_planets(START_TDB_S - JULIAN_YEAR_S, START_TDB_S + (YEARS + 1) * JULIAN_YEAR_S)


def largest_share(bodies: np.ndarray, planets) -> np.ndarray:
    """(bodies,) largest drift seen as a share of the allowance, over all nodes and many dates."""
    prepared = prepare(
        bodies, start_tdb_s=START_TDB_S, end_tdb_s=START_TDB_S + YEARS * JULIAN_YEAR_S, planets=planets
    )
    share = np.zeros(len(bodies))
    for k, node in enumerate(prepared.nodes_tdb_s):
        for part in (-0.5, -0.37, -0.21, 0.13, 0.29, 0.5):
            t = node + part * JULIAN_YEAR_S
            if not prepared.nodes_tdb_s[0] <= t <= prepared.nodes_tdb_s[-1]:
                continue
            true, _ = march(prepared.states[k], node, t, planets=planets, step_s=8.0 * DAY_S)
            kepler, _ = drift_states(prepared.states[k][:, :3], prepared.states[k][:, 3:], t - node)
            share = np.maximum(share, np.linalg.norm(true[:, :3] - kepler, axis=1) / prepared.allowance_km[k])
    return share


def test_drift_allowance_holds_for_belt_and_near_earth_bodies(planets) -> None:
    share = np.concatenate(
        [largest_share(belt(600, 21), planets), largest_share(near_earth(2500, 22), planets)]
    )
    assert np.isfinite(share).all()
    assert share.max() <= 1.0
    # and it is no empty promise: some body uses a good part of it
    assert share.max() > 0.3


def test_states_at_the_nodes_are_the_perturbed_ones(planets) -> None:
    bodies = belt(20, 23)
    end = START_TDB_S + YEARS * JULIAN_YEAR_S
    prepared = prepare(bodies, start_tdb_s=START_TDB_S, end_tdb_s=end, planets=planets)
    assert np.array_equal(prepared.states[0], bodies)
    direct, _ = march(bodies, START_TDB_S, end, planets=planets)
    # the steps of a year and of four years differ by a day or two: what is seen is twice the map's own error
    assert np.median(np.linalg.norm(prepared.states[-1][:, :3] - direct[:, :3], axis=1)) < 300.0


def test_forward_and_back_closes(planets) -> None:
    bodies = belt(50, 24)
    end = START_TDB_S + YEARS * JULIAN_YEAR_S
    there, _ = march(bodies, START_TDB_S, end, planets=planets)
    back, _ = march(there, end, START_TDB_S, planets=planets)
    # the map is time-symmetric away from planets: 1 km in four years
    assert np.median(np.linalg.norm(back[:, :3] - bodies[:, :3], axis=1)) < 1.0
