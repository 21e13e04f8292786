"""Entries on one core: a way down, the corridor of a shell at a passage, and rows of an approach shot and judged."""

import math
import time

import numpy as np
import pytest

from swarm.encounter.entry.air_motion import COLUMNS, Course
from swarm.encounter.entry.arrival import arrival_state
from swarm.encounter.entry.descent import descend
from swarm.encounter.entry.entry_judging import judge_entries
from swarm.encounter.entry.setting import setting_at
from swarm.encounter.entry.shell import ShellLimits
from swarm.reach.approach.scene import approaches_of, scene_of
from tests.benchmarks.report import print_table
from tests.encounter.entry.test_corridor import Case
from tests.helpers.ledum import LEDUM, written_study

pytestmark = pytest.mark.benchmark


def seconds(run, rounds):
    """Processor time of one of several runs, after one that compiles."""
    run()
    began = time.process_time()
    for _ in range(rounds):
        run()
    return (time.process_time() - began) / rounds


@pytest.mark.parametrize("name", ["Venus", "Jupiter"])
def test_a_way_down_and_a_corridor(name):
    """Aims: 1 ms from the interface to where it is lost, 3 s for a corridor of three airs at twelve clock angles."""
    case = (
        Case(name) if name == "Venus" else Case(name, v_inf=(4.0, 3.5, 1.8), mass_kg=339.0, diameter_m=1.25)
    )
    state = case.turn @ arrival_state(case.asymptote, 0.7, math.radians(20.0), case.interface).reshape(2, 3).T
    start, nothing = np.ascontiguousarray(state.T.ravel()), np.empty((0, COLUMNS))
    air, deep = case.air(), Course(2e6, 0.0, case.course.ground_km)
    fast = seconds(lambda: descend(start, case.world, air, case.shell, case.course, nothing), 200)
    whole = seconds(lambda: descend(start, case.world, air, case.shell, deep, nothing), 200)
    found = seconds(lambda: case.corridor(ShellLimits(300.0, math.inf, 14_000.0)), 2)
    rows = [
        ("to Mach 2", f"{1e3 * fast:.2f} ms", ""),
        ("to 20 bar or the ground", f"{1e3 * whole:.2f} ms", ""),
        ("corridor", f"{found:.2f} s", ""),
    ]
    print_table(f"entries, {name}", rows)
    # no faster than the aims asked; these only tell that something broke
    assert fast < 0.05
    assert found < 60.0


def test_rows_of_the_demonstration(tmp_path):
    """Rows of an approach at its passage: shot in the field, flown down, judged."""
    study = written_study(tmp_path, LEDUM)
    (ask,) = approaches_of(study, "entry")
    with scene_of(study) as scene:
        (_, passage), *_ = scene.asked(ask)
        setting = setting_at(scene, ask, study.designs[1], passage)
        corridor = setting.corridor()
        scene.entries(ask, passage, checkout_days=3.0)
        began = time.process_time()
        rows = scene.entries(ask, passage, checkout_days=3.0)
        shot = time.process_time() - began
        judge_entries(rows, setting, corridor)
        began = time.process_time()
        judged = judge_entries(rows, setting, corridor)
        told = time.process_time() - began
    n = len(rows.burn_s)
    print_table("entries, rows", [
        (f"{n} rows shot", f"{shot:.1f} s", f"{1e3 * shot / n:.1f} ms a row"),
        (f"{len(judged.rows)} rows judged", f"{told:.1f} s", f"{1e3 * told / max(len(judged.rows), 1):.1f} ms a row"),
    ])  # fmt: skip
    assert len(judged.rows) > 0
