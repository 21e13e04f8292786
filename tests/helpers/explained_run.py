"""A run folder with invented tables: every step behind the screen, without the screen."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa

from swarm.decide.observing import observe
from swarm.plan.judged import chances_of, judge_all, judged_table
from swarm.plan.measures import with_measures
from swarm.run.folder import Run
from tests.helpers.flown_as_aimed import optimize, plan_data
from tests.helpers.small_cases import END_JD_TDB, START_JD_TDB, make_opportunities, make_targets
from tests.helpers.written import write_some

STUDY = f"""
[study]
name = "explained"
seed = 3
date = {START_JD_TDB - 700.0}
start = {START_JD_TDB}
end = {END_JD_TDB}
[catalogue]
format = "invented"
bodies = 100
[mothership]
kind = "elements"
epoch = {START_JD_TDB}
a_au = 1.9
e = 0.4
i_deg = 3.0
node_deg = 0.0
argp_deg = 0.0
mean_anomaly_deg = 0.0
[probe]
count = 3
class = "6U"
wet_mass_kg = 12.0
burn_limit_m_s = 150.0
[constraints]
event_clear_before_days = 0.0
event_clear_after_days = 0.0
recontact_km = 0.0  # these tables have no path of a mothership to keep clear of
pairs = true
[survival]
model = "weibull"
shared_fraction = 0.1
[[survival.groups]]
name = "first lot"
kind = "build-lot"
shared_fraction = 0.2
release_until = {START_JD_TDB + 60.0}
[[science.rows]]
name = "dark"
where = {{ taxonomy = ["C", "B"] }}
quality_min = 0.3
threshold = 1
baseline = 2
weight = 2.0
[[science.rows]]
name = "any, well seen"
where = {{ diameter_km_min = 0.01 }}
quality_min = 0.3
baseline = 2
"""
# Bodies: a large dark one known well, a small one known badly, a stony one, one of unknown class.
H_MAG, U_CODE = (14.0, 24.0, 15.0, 14.5), (0, 5, 1, 3)
FAR_DAYS = 150.0


class HerePool:
    """Runs tasks in this process."""

    workers = 1

    def map(self, func, items, *, shared=None, on_done=None):
        return [func(item, shared) for item in items]


def encounters() -> pa.Table:
    """Five opportunities that differ in body and release only; two of them at the first body."""
    n = 5
    release = START_JD_TDB + np.array([0.0, 20.0, 40.0, 80.0, 120.0])
    table = make_opportunities(
        [0, 1, 2, 3, 0],
        release_jd_tdb=release,
        burn_jd_tdb=release + 3.0,
        encounter_jd_tdb=release + 3.0 + FAR_DAYS,
        burn_m_s=np.full(n, 60.0),
        v_rel_km_s=np.full(n, 6.0),
        phase_in_deg=np.full(n, 60.0),
        sun_earth_probe_deg=np.full(n, 90.0),
    )
    sun_km = 2.0 * 1.495978707e8
    phase = np.radians(60.0)
    added = {
        "earth_range_au": np.full(n, 1.7),
        "sun_range_au": np.full(n, 2.0),
        "mothership_range_km": np.full(n, 8e5),
        "burn_x_m_s": np.zeros(n),
        "burn_y_m_s": np.full(n, 60.0),
        "burn_z_m_s": np.zeros(n),
        # the Sun stands at -target, the probe comes from -v_rel: the angle between target and v_rel
        "v_rel_x_km_s": np.full(n, 6.0 * np.cos(phase)),
        "v_rel_y_km_s": np.full(n, 6.0 * np.sin(phase)),
        "v_rel_z_km_s": np.zeros(n),
        "target_x_km": np.full(n, sun_km),
        "target_y_km": np.zeros(n),
        "target_z_km": np.zeros(n),
        # on a circle of 2 au
        "target_vx_km_s": np.zeros(n),
        "target_vy_km_s": np.full(n, 21.06),
        "target_vz_km_s": np.zeros(n),
    }
    for name, values in added.items():
        table = table.append_column(name, pa.array(values))
    return table


def bodies():
    return replace(
        make_targets(["C", "C", "S", ""], diameter_km=[10.0] * 4),
        h_mag=np.array(H_MAG),
        diameter_km=np.full(4, np.nan),
        u_code=np.array(U_CODE, dtype=np.int8),
    )


def make_explained_run(folder: Path) -> Run:
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    made = Run.create(folder / "out", folder / "study.toml")
    study, table, targets, pool = made.study, encounters(), bodies(), HerePool()
    judged = judge_all(study, table, targets, pool=pool)
    chances = chances_of(judged)
    data = plan_data(study, table, targets, judged=chances)
    found = optimize(study, table, targets, pool=pool, judged=chances)
    front = with_measures(found.front, found.plans, study, table, targets=targets, judged=chances)
    asked = observe(
        study, table, targets, front=front, plans=found.plans, judged=chances, mothership=None, pool=pool
    )
    write_some(made, "opportunities", table)
    write_some(made, "targets", targets.to_table())
    write_some(made, "judged", judged_table(study, table, judged, data=data))
    write_some(made, "plans", found.plans)
    write_some(made, "front", front)
    write_some(made, "observe", asked)
    return made
