"""Low lunar orbits: 500 rows judged for a month, and a month of a full field of degree 50, on one core."""

import time

import numpy as np
import pytest

from swarm.encounter.orbit.full_field import fly
from swarm.encounter.orbit.osculating import state_of
from targets.gravity.harmonic_field import GravityField, gravity_of
from tests.benchmarks.report import print_table
from tests.encounter.orbit.test_judged_orbits import ask, judge, met, study
from tests.helpers.lunar_orbits import BEGIN, MOON, about_moon, orbit

pytestmark = pytest.mark.benchmark


def test_rows_of_orbits():
    arrivals = [met(60.0 + 0.05 * k) for k in range(500)]
    judge(study(), ask(), arrivals[:1])
    began = time.process_time()
    assert len(judge(study(), ask(science_days=27.0), arrivals)) == 500
    print_table("orbits judged", [("500 rows of 27 d", f"{time.process_time() - began:.1f} s", "")])


def test_a_month_in_the_full_field():
    """Terms of any size take as long: those above degree 10 are thrown by Kaula's rule, 2.5e-4/n^2."""
    shipped, rng = gravity_of(MOON), np.random.default_rng(50)
    n = np.arange(51.0)
    size = 2.5e-4 / np.maximum(n, 1.0) ** 2
    c, s = (np.triu(rng.normal(size=(51, 51)) * size) for _ in range(2))
    c[:11] = np.where(shipped.c != 0.0, shipped.c, c[:11])
    c[:2, 1] = s[:2, 1] = s[0] = 0.0
    field = GravityField(shipped.gm_km3_s2, shipped.radius_km, c, s, np.full(51, 50), "thrown")
    around = about_moon(30, -50.0, field)
    start = state_of(orbit(50.0, 90.0), 0.3, field.gm_km3_s2)
    fly(start, BEGIN, 0.1, around)
    began = time.process_time()
    flown = fly(start, BEGIN, 27.0, around)
    assert len(flown.low_km) > 100
    print_table("full field", [("27 d of 50x50", f"{time.process_time() - began:.1f} s", "")])
