"""Judging opportunities: encounter, link, delivery and aim of a whole table on one core."""

from __future__ import annotations

import time

import numpy as np
import pytest

from swarm.encounter.judging import judge
from tests.benchmarks.report import print_table
from tests.helpers.made_encounters import make_opportunities, make_study, make_targets

pytestmark = pytest.mark.benchmark


def test_judging_speed() -> None:
    rng = np.random.default_rng(1)
    count = 2000
    u_code = rng.choice(6, count, p=[0.5, 0.2, 0.1, 0.1, 0.05, 0.05])
    targets = make_targets(list(rng.uniform(12.0, 20.0, count)), list(u_code))
    table = make_opportunities(targets, list(range(count)))
    study = make_study()
    judge(study, table.slice(0, 5), targets, qualities=(0.3,))
    begun = time.process_time()
    found = judge(study, table, targets, qualities=(0.3, 0.5))
    spent = time.process_time() - begun
    rows = [
        ("opportunities", f"{count}", ""),
        ("samples each", f"{study.delivery.samples}", ""),
        ("processor time each", f"{1e3 * spent / count:.2f} ms", ""),
        ("for 60 000", f"{60_000 * spent / count:.0f} s", ""),
    ]
    print_table("Judging opportunities on one core", rows)
    assert found.reason.shape == (count,)
