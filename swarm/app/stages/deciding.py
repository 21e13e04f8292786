"""Front -> probe counts and budgets; what the answer hangs on."""

from __future__ import annotations

import pyarrow as pa
import pyarrow.compute as pc

from swarm.app.stages.asked import slip_hashes
from swarm.app.stages.planning import reported
from swarm.app.stages.record import Work
from swarm.app.stages.screening import read_again
from swarm.decide.counts import Compared, compare
from swarm.decide.grounds import needs_screen
from swarm.decide.recourse import recourse
from swarm.decide.risk_table import FlownPlan as Probes
from swarm.decide.risk_table import risk_table
from swarm.decide.sensitivity import Inputs, sensitivity
from swarm.decide.summary import select_plan
from swarm.plan.budgets import delta_v_budget, flown_by_design, mass_budget, power_budget, recoil_table
from swarm.plan.data import Chances
from swarm.plan.judged import chances_from_table
from swarm.plan.measures import plans_matrix
from swarm.plan.verify import verify
from swarm.refine.whole_plan import chosen_plan


def work_compare(work: Work) -> None:
    run, study, targets = work.run, work.study, work.targets()
    opportunities, mothership = work.table("opportunities"), work.table("mothership")
    chances = chances_from_table(study, work.table("judged"))
    result = compare(
        study,
        opportunities,
        targets,
        pool=work.pool,
        on_done=work.teller.stage("compare"),
        judged=chances,
        mothership=mothership,
    )
    run.note("verified_count_plans", _verified(work, result, opportunities, chances))
    run.write_table("count_fronts", result.fronts)
    run.write_table("count_plans", result.plans)
    run.write_table("descope", result.descope)
    front = work.table("front")
    chosen, _ = select_plan(front, study)
    plans = plans_matrix(work.table("plans"), opportunities, front.num_rows, probes=study.probe.count)
    plan = plans[front["plan"].to_pylist().index(chosen)]
    run.write_table("mass_budget", mass_budget(study, flown_by_design(study, opportunities, plan[None])[0]))
    run.write_table("delta_v_budget", delta_v_budget(study, opportunities, plan, dv99_m_s=chances.dv99_m_s))
    run.write_table("power_budget", power_budget(study, opportunities, plan))
    run.write_table("recoil", recoil_table(study, opportunities, plan))
    later = recourse(
        study,
        opportunities,
        targets,
        plan,
        number=chosen,
        judged=chances,
        mothership=mothership,
        pool=work.pool,
    )
    run.write_table("recourse", later.probes)
    run.write_table("alternates", later.alternates)
    run.write_table("counts", result.counts)


def _verified(work: Work, result: Compared, opportunities: pa.Table, chances: Chances) -> int:
    """Have the plans of every probe count looked at again; how many there are."""
    run, study, total = work.run, work.study, 0
    for count in result.counts["probes"].to_pylist():
        front, members = result.of_count(count)
        plans = reported(run, front, members, opportunities, chances.relayed)
        total += verify(study, plans, probes=count, pool=work.pool)
    return total


def work_sensitivity(work: Work) -> None:
    """Sensitivities of the plan the rule chose; none where no plan flies a probe."""
    run, study, front, plans = work.run, work.study, work.table("front"), work.table("plans")
    plan = chosen_plan(front, plans, study=study)
    if plan is None:
        run.warn("no plan of the front flies a probe: no sensitivities")
        return
    bodies = read_again(work).catalogue if needs_screen(study) else None
    opportunities, targets = work.table("opportunities"), work.targets()
    chances = chances_from_table(study, work.table("judged"))
    tables = Inputs(opportunities, targets, chances, work.table("mothership"), front, plans)
    result = sensitivity(
        study, tables, plan=plan, catalogue=bodies, pool=work.pool, on_done=work.teller.stage("sensitivity")
    )
    flown = plans.filter(pc.equal(plans["plan"], plan))["opportunity"]
    rows = pc.index_in(flown, value_set=opportunities["opportunity"]).to_numpy()
    probes = Probes(opportunities.take(rows), targets, chances.take(rows))
    run.write_table("risk_table", risk_table(study, probes, result))
    run.write_table("left_out", result.left_out)
    run.note("sensitivity", {"plan": plan, "slip_files": slip_hashes(study)})
    run.write_table("sensitivity", result.table)
