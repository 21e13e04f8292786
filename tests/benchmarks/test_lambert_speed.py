"""One Lambert call, compiled and batched, against pykep's compiled solver called from Python, in the same run."""

from __future__ import annotations

import time

import numpy as np
import pytest

from swarm.reach.arcs.lambert import lambert_many, normal_of_clockwise
from swarm.reach.arcs.pykep_core import lambert_branches
from tests.benchmarks.report import best_of, print_table

pytestmark = pytest.mark.benchmark


def test_lambert_call() -> None:
    rng = np.random.default_rng(1)
    count = 200_000
    r0 = rng.normal(size=(count, 3)) + np.array([2.0, 0.0, 0.0])
    r1 = rng.normal(size=(count, 3)) + np.array([-1.0, 2.0, 0.0])
    tof = rng.uniform(0.5, 8.0, count)
    normal = normal_of_clockwise(r0, r1, False)
    direct = best_of(lambda: lambert_many(r0, r1, tof, mu_km3_s2=1.0, normal=normal), 5) / count
    longer = rng.uniform(10.0, 20.0, count)
    revolved = (
        best_of(lambda: lambert_many(r0, r1, longer, mu_km3_s2=1.0, normal=normal, revolutions=1), 5) / count
    )
    begun = time.perf_counter()
    for k in range(20_000):
        lambert_branches(r0[k], r1[k], tof[k], mu_km3_s2=1.0, clockwise=False, revolutions_max=0)
    plain = (time.perf_counter() - begun) / 20_000
    print_table(
        "Lambert, one core",
        [
            ("compiled batch, direct arc", f"{direct * 1e6:.3f} us", f"{plain / direct:.0f} x"),
            ("compiled batch, one revolution", f"{revolved * 1e6:.3f} us", f"{plain / revolved:.0f} x"),
            ("pykep core through its door, from Python", f"{plain * 1e6:.3f} us", "1"),
        ],
    )
