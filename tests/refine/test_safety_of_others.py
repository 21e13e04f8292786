"""Counts and their interval; impacts that are certain and passes that are not."""

import numpy as np
import pytest

from swarm.refine.nbody import NAMES, make_field, moved, place
from swarm.refine.safety import binomial_interval, follow
from targets.constants import DAY_S

T0 = 983_361_600.0


def test_the_interval_is_clopper_and_pearsons():
    # closed form for no hits: 1 - (0.025)^(1/n); for all hits its mirror image
    assert binomial_interval(0, 30) == pytest.approx((0.0, 1.0 - 0.025 ** (1 / 30)))
    assert binomial_interval(30, 30) == pytest.approx((0.025 ** (1 / 30), 1.0))
    # 1 of 10: 0.0025 to 0.4450 (tables of Clopper and Pearson, from memory)
    assert binomial_interval(1, 10) == pytest.approx((0.0025, 0.4450), abs=5e-5)
    assert binomial_interval(0, 0) == (0.0, 1.0)


def test_a_body_aimed_at_the_earth_hits_it_and_one_beside_it_does_not():
    field = make_field(T0 - 400 * DAY_S, T0 + 400 * DAY_S)
    earth = place(field, "Earth", T0)[0]
    out = np.array([0.48, 0.6, 0.64])
    states = []
    for side_km in (0.0, 3e4):
        # ten days before: coming in along `out` at 10 km/s, aside by so much
        off = np.concatenate([out * 9e5 + side_km * np.array([0.8, -0.64, 0.0]), -10.0 * out])
        states.append(moved(field, earth + off, T0, T0 - 10 * DAY_S))
    hit, when, status = follow(field.tables, np.array(states), T0 - 10 * DAY_S, 30 * DAY_S)
    assert (status == 0).all()
    assert hit.tolist() == [NAMES.index("Earth"), 0]
    assert 10.0 < when[0] / DAY_S < 11.2
