"""Refined probes are delivered as often as the judgement said, where not every sample can pay for what is planned."""

import math
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pytest

import swarm
from swarm.plan.data import column, plan_data
from swarm.plan.judged import chances_of, corrections_table, judge_all, judged_table
from swarm.refine.whole_plan import RunTables, refine_plan
from swarm.run.folder import Run
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.bodies import Catalogue
from tests.helpers.batch_of_four import BASE
from tests.helpers.serial_pool import Serial

SAMPLES = 4000
# A good thruster and a plain camera: what is corrected in sight of the target costs most, and nothing from the ground
# sees it.
PROBE = """burn_limit_m_s = 1200.0
execution_fixed_m_s = 0.001
execution_proportional = 0.0005
execution_pointing_mrad = 0.5
limiting_mag = 8.0
"""
# One spread of the spring on all axes, as the judgement has it; the tank holds no allowance for corrections.
DELIVERY = f"""[delivery]
samples = {SAMPLES}
spring_fraction = 0.05
spring_direction_deg = {math.degrees(0.05)}
correction_budget_m_s = 0.0
"""
REFINE = f"""[refine]
linear_samples = {SAMPLES}
full_samples = 10
"""


class Pool(Serial):
    def map(self, func, items, *, shared=None, on_done=None):
        return super().map(func, items, shared=shared)


@pytest.fixture(scope="module")
def screened(tmp_path_factory):
    """A screened study, its tables, and rows whose plan relies on corrections in sight of the target."""
    folder = tmp_path_factory.mktemp("judged")
    text = BASE.replace("[delivery]\nsamples = 100\n", DELIVERY + REFINE)
    text = text.replace("burn_limit_m_s = 1200.0\n", PROBE)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    run = Run.open(swarm.screen(folder / "study.toml", folder / "out").folder)
    study, table = run.study, run.read_table("opportunities")
    targets = Catalogue.from_table(run.read_table("targets"))
    rich = with_limit(study, 20_000.0)
    judged = judge_all(rich, table, targets, pool=Pool())
    rows = np.flatnonzero((judged.sight_limit_m_s > 0.0) & (judged.seen_chance > 0.5))
    return run, study, table.take(rows), targets, judged.dv99_needed_m_s[rows]


def with_limit(study, limit_m_s):
    changed = study.model_copy(update={"probe": study.probe.model_copy(update={"burn_limit_m_s": limit_m_s})})
    changed._base = study.base
    return changed


def tables_of_one(run, study, one, targets):
    """Tables of a run whose only plan flies one opportunity."""
    judged = judge_all(study, one, targets, pool=Pool())
    data = plan_data(study, one, targets, judged=chances_of(judged))
    plans = pa.table({"plan": [0], "probe": [0], "opportunity": one["opportunity"]})
    held = judged_table(study, one, judged, data=data)
    corrections = corrections_table(one, judged)
    return judged, RunTables(one, targets, run.read_table("mothership"), held, corrections, plans)


def apart(found, expected):
    """The difference of two shares in standard errors of sampling both."""
    both = 0.5 * (found + expected)
    return abs(found - expected) / math.sqrt(max(both * (1.0 - both), 1e-3) * 2.0 / SAMPLES)


@pytest.mark.parametrize("share", [0.1, 0.3])
@pytest.mark.parametrize("k", [0, 1, 4, 5])
def test_as_many_samples_are_delivered_as_were_judged(screened, k, share):
    run, study, table, targets, needed = screened
    one = table.slice(k, 1)
    # tanks for a burn so much larger that a share of what the corrections may need is left over
    spare_m_s = share * float(needed[k])
    limit_m_s = float(column(one, "burn_m_s")[0]) + spare_m_s / (1.0 + study.margins.deterministic_fraction)
    poor = with_limit(study, limit_m_s)
    judged, tables = tables_of_one(run, poor, one, targets)
    (flown,), lost = refine_plan(poor, tables, 0, pool=Pool())
    assert not lost
    found = flown.linear
    assert found.spare_km_s == pytest.approx(1e-3 * spare_m_s, rel=1e-9)
    assert found.relies_on_sight
    # few can pay for sight of the target
    assert 0.05 < judged.delivered_chance[0] < 0.7
    # 4 standard errors: one case in 16 000 by chance
    assert apart(found.carried, float(judged.delivered_chance[0])) < 4.0
    assert apart(found.success, float(judged.seen_chance[0])) < 4.0
    # the others fly without, and can: every pass of these bodies shows them, so what is shown is what could pay
    pays = float((found.spent_km_s <= found.spare_km_s).mean())
    assert judged.shown_chance[0] > 0.95
    assert apart(pays, float(judged.shown_chance[0])) < 4.0
    assert 1.0 - pays < 0.05


def test_dates_are_those_of_the_run_s_table(screened):
    run, study, table, targets, _ = screened
    rich = with_limit(study, 5000.0)
    _, tables = tables_of_one(run, rich, table.slice(0, 1), targets)
    (flown,), _ = refine_plan(rich, tables, 0, pool=Pool())
    stored = tdb_s_from_jd(column(tables.corrections, "jd_tdb"))
    shift_s = flown.made.encounter_tdb_s - flown.made.arc.encounter_tdb_s
    moved = np.where(np.array(tables.corrections["kind"].to_pylist()) == "after-burn", 0.0, shift_s)
    assert [date for date, _ in flown.linear.corrections_s] == pytest.approx(stored + moved, abs=1e-3)
    # other dates in the table are other dates flown
    k = tables.corrections.column_names.index("jd_tdb")
    later = pa.array(column(tables.corrections, "jd_tdb") + 0.25)
    moved_table = replace(tables, corrections=tables.corrections.set_column(k, "jd_tdb", later))
    (other,), _ = refine_plan(rich, moved_table, 0, pool=Pool())
    apart_s = np.subtract(
        [date for date, _ in other.linear.corrections_s], [date for date, _ in flown.linear.corrections_s]
    )
    assert apart_s == pytest.approx(21_600.0, abs=1e-3)
