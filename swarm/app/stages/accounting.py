"""Front -> what a team keeps in its spreadsheet: launch mass, cost, stations, releases, categories, outcomes."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from swarm.app.stages.record import Work
from swarm.decide.account.launch_mass import launch_mass, left_kg
from swarm.decide.account.outcomes import outcomes
from swarm.decide.account.prices import carried_of, costs
from swarm.decide.account.protection_categories import protection_checklist
from swarm.decide.account.release_attitudes import release_attitudes
from swarm.decide.account.station_load import short_days, station_load
from swarm.decide.summary import select_plan
from swarm.plan.budgets import flown_of_front, recoil_table, swarm_masses
from swarm.plan.data import plan_data
from swarm.plan.judged import chances_from_table
from swarm.plan.measures import plans_matrix
from swarm.plan.tracking import plan_hours

# The mean of all outcomes is the plan's science: where both were added up they agree to rounding.
_SAME = 1e-9
_SAME_DRAWN = 0.01


def work_account(work: Work) -> None:
    run, study, targets = work.run, work.study, work.targets()
    opportunities, front = work.table("opportunities"), work.table("front")
    chosen, _ = select_plan(front, study)
    row = front["plan"].to_pylist().index(chosen)
    plans = plans_matrix(work.table("plans"), opportunities, front.num_rows, probes=study.probe.count)
    plan = plans[row]
    used = plan[plan >= 0]
    chances = chances_from_table(study, work.table("judged")).take(used)
    flown = opportunities.take(used)
    own = np.arange(len(used))
    data = plan_data(study, flown, targets, judged=chances)
    told = outcomes(own, data, seed=study.study.seed)
    _require_same(told, float(front["science"][row].as_py()))
    load = station_load(study, opportunities, plan)
    recoil = recoil_table(study, opportunities, plan)
    run.note("account", {"plan": chosen, "short_days": short_days(load)})
    if (launched := launch_mass(study)) is not None:
        run.write_table("launch_mass", launched)
        if left_kg(launched) < 0.0:
            run.warn(f"the launch does not close: {-left_kg(launched):.1f} kg over launch.capability_kg")
    if (priced := costs(study, _asked(work, front, row, plan))) is not None:
        run.write_table("costs", priced)
    run.write_table("station_load", load)
    run.write_table(
        "release_attitudes",
        release_attitudes(work.table("mothership"), recoil, flown, places=study.probe.count),
    )
    met = zip(flown["target"].to_pylist(), flown["kind"].to_pylist(), strict=True)
    passed = [leg.body for leg in study.mothership.legs[1:]]
    run.write_table("protection_checklist", protection_checklist(met, targets, passed))
    run.write_table("outcomes", told)


def _require_same(told: pa.Table, science: float) -> None:
    """The distribution is of the plan whose science the front says; else something is broken, and loudly so."""
    mean, exact = float(told["mean"][0].as_py()), bool(told["exact"][0].as_py())
    if abs(mean - science) > (_SAME if exact else _SAME_DRAWN):
        raise AssertionError(f"outcomes of the plan have mean science {mean!r}, the front says {science!r}")


def _asked(
    work: Work, front: pa.Table, row: int, plan: np.ndarray
) -> list[tuple[str, dict[str, int], float, float, float]]:
    """The chosen plan, then the plan of each probe count where counts were compared and probes are of one design."""
    study = work.study
    masses = swarm_masses(study, flown_of_front(study, front)[row : row + 1])
    asked = [
        (
            f"plan {front['plan'][row].as_py()}",
            carried_of(study),
            float(masses.maximum_kg[0]),
            plan_hours(study, work.table("opportunities"), plan),
            float(front["science"][row].as_py()),
        )
    ]
    if not work.run.has("counts") or study.designs:
        return asked
    return asked + [
        (
            f"{each['probes']} carried",
            carried_of(study, each["probes"]),
            each["swarm_mass_with_margins_kg"],
            each["tracking_hours"],
            each["science"],
        )
        for each in work.run.read_table("counts").to_pylist()
    ]
