"""How long the dispersion of twelve probes takes, and what is left of them is followed. Prints; asserts no time."""

import time

import numpy as np
import pytest

from swarm.refine.continuation import follow_to_impact
from swarm.refine.correct import refine_arc
from swarm.refine.dispersion import disperse, draws_of
from swarm.refine.nbody import make_field, propagate
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2, JULIAN_YEAR_S
from tests.benchmarks.report import best_of, print_table
from tests.helpers.refined_arc import make_arc, make_forces, make_known, make_study

pytestmark = pytest.mark.benchmark


def test_twelve_probes_ten_thousand_and_a_thousand_samples():
    study, field = make_study(), make_forces()
    made = refine_arc(study, field, make_arc(field))
    known = make_known(made)
    disperse(study, field, made, known=known, full=True, draws=draws_of(0, 0, 2))
    begun = time.perf_counter()
    for probe in range(12):
        draws = draws_of(1, probe, study.refine.linear_samples)
        disperse(study, field, made, known=known, full=False, draws=draws)
        some = draws.first(study.refine.full_samples)
        disperse(study, field, made, known=known, full=True, draws=some)
    print(f"\n12 probes, 203 days: {time.perf_counter() - begun:.1f} s on one core")  # noqa: T201


def test_a_century_of_the_belt_and_of_the_earth_s_orbit():
    """Against the integrator of the refinement, one body after the other, for as long and at its own tolerance."""
    begin, span_s = 983_361_600.0, 100.0 * JULIAN_YEAR_S
    forces = make_field(begin - DAY_S, begin + span_s + DAY_S)
    rows = []
    for where, a_au, e in (("main belt", 2.5, 0.1), ("near the Earth", 1.5, 0.35)):
        speed = np.sqrt(GM_SUN_KM3_S2 / (a_au * AU_KM) * (1.0 + e) / (1.0 - e))
        nominal = np.array([a_au * (1.0 - e) * AU_KM, 0.0, 0.0, 0.0, 0.998 * speed, 0.06 * speed])
        states = nominal + np.random.default_rng(2).standard_normal((128, 6)) * ([100.0] * 3 + [1e-4] * 3)
        together = best_of(lambda s=states: follow_to_impact(forces.tables, s, begin, span_s), 3) / 128.0
        plain = best_of(lambda s=states[:8]: propagate(forces, s, begin, begin + span_s), 3) / 8.0
        rows.append((f"{where}, one by one", f"{1e3 * plain:.2f} ms", "1"))
        rows.append((f"{where}, common steps", f"{1e3 * together:.2f} ms", f"{plain / together:.1f}"))
    print_table("a body followed for a century", rows)


def test_samples_of_fifty_years_in_blocks_that_share_the_planets():
    """Against blocks of one, which look the planets up for every body: the plain way of the same code."""
    begin, span_s = 983_361_600.0, 50.0 * JULIAN_YEAR_S
    tables = make_field(begin - DAY_S, begin + span_s + DAY_S).tables
    speed = np.sqrt(GM_SUN_KM3_S2 / (2.5 * AU_KM))
    nominal = np.array([2.5 * AU_KM, 0.0, 0.0, 0.0, 0.998 * speed, 0.06 * speed])
    states = nominal + np.random.default_rng(2).standard_normal((600, 6)) * ([100.0] * 3 + [1e-4] * 3)
    together = best_of(lambda: follow_to_impact(tables, states, begin, span_s), 3)
    alone = best_of(lambda: [follow_to_impact(tables, state[None], begin, span_s) for state in states], 1)
    rows = [
        ("600 samples, one by one", f"{alone:.2f} s", "1"),
        ("600 samples, together", f"{together:.2f} s", f"{alone / together:.1f}"),
    ]
    print_table("50 years of the main belt", rows)
