"""How long low passes take: shot in the field and judged, on two workers. Asserts no time."""

import time

import numba
import numpy as np
import pytest

from swarm.encounter.pass_screen import screen_passes
from swarm.plan.judged import judge_all
from swarm.run.workers import open_workers
from swarm.study.study_file import read_study
from targets.catalogue.reading import read_catalogue
from targets.motion.order8 import A, to_stage
from tests.benchmarks.report import print_table
from tests.helpers.skimming import demonstration, study_in

pytestmark = pytest.mark.benchmark


def test_two_thousand_rows_shot_and_judged(tmp_path):
    """Passes of Europa in the field of Jupiter, its moons and the Sun, on two workers; the aim is 20 s."""
    heights = ", ".join(str(height) for height in range(150, 950, 25))
    text = demonstration(
        "sorrel",
        altitudes_km=f"[{heights}]",
        release_days_before="[60, 50, 40, 30, 20, 10]",
        clock_step_deg="20",
    )
    study = read_study(study_in(tmp_path, text))
    catalogue = read_catalogue(study.catalogue, study.base).catalogue
    rows = []
    with open_workers(2) as pool:
        screen_passes((study,), catalogue, pool=pool)  # kernels and imports on the workers
        began = time.perf_counter()
        found = screen_passes((study,), catalogue, pool=pool)[0]
        shot_s = time.perf_counter() - began
        judge_all(study, found.opportunities, found.targets, pool=pool)
        began = time.perf_counter()
        judge_all(study, found.opportunities, found.targets, pool=pool)
        judged_s = time.perf_counter() - began
    asked = 32 * 6 * 18
    rows = [
        (
            f"{asked} rows shot, {found.opportunities.num_rows} left",
            f"{shot_s:.1f} s",
            f"{1e3 * shot_s / asked:.1f} ms",
        ),
        (
            "those judged as opportunities",
            f"{judged_s:.1f} s",
            f"{1e3 * judged_s / max(found.opportunities.num_rows, 1):.1f} ms",
        ),
    ]
    print_table("low passes of Europa, two workers", rows)
    assert found.opportunities.num_rows > 0


@numba.njit
def value_by_value(s, y, h, stages, work):
    """What `to_stage` does, the plain way: one value after the other."""
    for i in range(y.size):
        total = 0.0
        for j in range(s):
            if A[s, j] != 0.0:
                total += A[s, j] * stages[j, i]
        work[i] = y[i] + h * total


@numba.njit
def all_stages(stage, y, stages, work, times):
    for _ in range(times):
        for s in range(1, 12):
            stage(s, y, 1e-9, stages, work)


def test_a_step_of_the_transition_matrix():
    """Eleven stages of 42 values, place and velocity with their matrix: side by side against one by one."""
    rng = np.random.default_rng(3)
    y, stages, work = rng.normal(size=42), rng.normal(size=(13, 42)), np.empty(42)
    took = {}
    for name, stage in (("one by one", value_by_value), ("side by side", to_stage)):
        all_stages(stage, y, stages, work, 1)
        began = time.process_time()
        all_stages(stage, y, stages, work, 20_000)
        took[name] = (time.process_time() - began) / 20_000, work.copy()
    np.testing.assert_array_equal(took["one by one"][1], took["side by side"][1])
    rows = [(name, f"{1e6 * seconds:.2f} us", "") for name, (seconds, _) in took.items()]
    ratio = took["one by one"][0] / took["side by side"][0]
    print_table("stages of a step of 42 values, same bytes", [*rows, ("ratio", f"{ratio:.1f}", "")])
