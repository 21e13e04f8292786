"""Small things that every run does thousands of times, beside the plain way to do them. Asserts no time."""

from __future__ import annotations

import ast
from collections.abc import Callable

import numpy as np
import pytest
import spiceypy
from scipy.optimize import linprog

from swarm.optimize.row_bound import RowTable, row_table, tightest_cut
from swarm.run.kernel_cache import kernel_sources
from targets.base.constants import DAY_S
from targets.ephemeris import spice
from tests.benchmarks.report import best_of, print_table
from tests.helpers.places import ROOT

pytestmark = pytest.mark.benchmark


def beside(what: str, plain: Callable[[], object], ours: Callable[[], object], *, each: int) -> None:
    slow, fast = best_of(plain, 3), best_of(ours, 3)
    print_table(
        what,
        [
            ("the plain way", f"{1e6 * slow / each:.0f} us", "1"),
            ("ours", f"{1e6 * fast / each:.0f} us", f"{slow / fast:.1f}"),
        ],
    )


def by_a_solver(table: RowTable, weights: np.ndarray) -> None:
    linprog(
        -table.expected,
        A_ub=table.counts.T,
        b_ub=weights,
        A_eq=np.ones((1, len(table.counts))),
        b_eq=[1.0],
        method="highs",
    )


def test_a_cut_of_twelve_probes() -> None:
    """All multisets of six chances, taken in between: one programme for a general solver."""
    rng = np.random.default_rng(1)
    table = row_table(rng.random(200), 12, 4)
    asked = [rng.dirichlet(np.ones(len(table.knots))) * 12.0 * rng.random() for _ in range(10)]
    beside(
        "a cut",
        lambda: [by_a_solver(table, weights) for weights in asked],
        lambda: [tightest_cut(table, weights) for weights in asked],
        each=len(asked),
    )


def test_places_from_spice() -> None:
    epochs = np.arange(0, 2000) * DAY_S + 9e8
    spice.load_kernels()
    beside(
        "a place from SPICE",
        lambda: [spiceypy.spkgeo(301, float(epoch), "J2000", 10)[0] for epoch in epochs],
        lambda: spice.sample(301, epochs),
        each=len(epochs),
    )


def test_the_name_of_the_kernels_folder() -> None:
    sources = [path for name in ("swarm", "targets") for path in (ROOT / name).rglob("*.py")]
    beside(
        "imports of all sources",
        lambda: [ast.parse(path.read_text(encoding="utf-8")) for path in sources],
        lambda: kernel_sources(ROOT),
        each=1,
    )
