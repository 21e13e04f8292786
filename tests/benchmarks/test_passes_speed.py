"""How long low passes take: shot in the field and judged, on two workers. Asserts no time."""

import time

import pytest

from swarm.encounter.pass_screen import screen_passes
from swarm.plan.judged import judge_all
from swarm.run.workers import open_workers
from swarm.study.study_file import read_study
from targets.catalogue.reading import read_catalogue
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
