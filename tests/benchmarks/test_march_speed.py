"""The march of a catalogue, bodies side by side, beside the plain march of one after the other. Asserts no time."""

from __future__ import annotations

import numpy as np
import pytest

from targets.base.constants import JULIAN_YEAR_S
from targets.ephemeris.planets import sample_planets
from targets.motion.perturbed import DEFAULT_STEP_S, march
from tests.benchmarks.report import best_of, print_table
from tests.helpers.invented_bodies import START_TDB_S, belt, near_earth
from tests.helpers.plain_march import plain_march

pytestmark = pytest.mark.benchmark
STEPS = 16
# Sums, products, divisions and roots of a body and step: drift 2 x 150, kick 2 x (8 x 25 + 45), nearness 8 x 21.
OPERATIONS = 958


@pytest.mark.parametrize(
    ("name", "draw", "count"), [("belt", belt, 12_800), ("near-Earth", near_earth, 2_560)]
)
def test_march_speed(name: str, draw, count: int) -> None:
    """A year in one process, rounds of both interleaved."""
    planets = sample_planets(START_TDB_S - JULIAN_YEAR_S, START_TDB_S + 2.0 * JULIAN_YEAR_S)
    bodies, end = draw(count, 3), START_TDB_S + JULIAN_YEAR_S
    lanes, plain = np.inf, np.inf
    for _ in range(5):
        lanes = min(lanes, best_of(lambda: march(bodies, START_TDB_S, end, planets=planets), 2))
        plain = min(
            plain,
            best_of(lambda: plain_march(bodies, START_TDB_S, end, planets=planets, step_s=DEFAULT_STEP_S), 2),
        )
    each = 1e9 / (count * STEPS)
    rows = [
        ("one after the other, a body-step", f"{each * plain:.0f} ns", "1"),
        ("side by side", f"{each * lanes:.1f} ns", f"{plain / lanes:.2f}"),
        ("operations, nearness to planets aside", f"{OPERATIONS / (each * lanes):.1f} G/s", ""),
    ]
    print_table(f"march of {count} {name} bodies, a year", rows)
