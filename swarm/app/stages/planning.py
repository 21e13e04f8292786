"""Opportunities -> front, beside its bound, with what the page draws of it."""

from __future__ import annotations

import hashlib

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from swarm.app.stages.record import Work
from swarm.decide.observing import observe
from swarm.decide.rests import rests_on
from swarm.decide.summary import select_plan
from swarm.optimize.polish import polished
from swarm.optimize.search import LEVELS_TO_START, Optimised, optimize
from swarm.optimize.starts import carried_over
from swarm.plan.data import plan_data
from swarm.plan.judged import (
    chances_from_table,
    chances_of,
    corrections_table,
    judge_all,
    judged_table,
    low_quality_share,
)
from swarm.plan.measures import with_measures
from swarm.plan.protection import PROTECTION, least_chances
from swarm.plan.verify import Tables as Reported
from swarm.plan.verify import verify
from swarm.report.drawn import arc_points, event_dates, planet_places, serves, successes
from swarm.run.csv_cells import csv_text
from swarm.run.folder import Run, sha256_of
from swarm.run.kinds import ENCOUNTERS
from swarm.run.tables.screening import OPPORTUNITY_COLUMNS
from swarm.study.schema import Study
from targets.catalogue.bodies import Catalogue


def work_optimize(work: Work) -> None:
    run, study, targets = work.run, work.study, work.targets()
    result = _searched(work, targets)
    opportunities, judged = work.table("opportunities"), work.table("judged")
    chances = chances_from_table(study, judged)
    if result.by_the_clock:
        run.warn("not repeatable: the search was told to stop by the clock (optimize.stop_after_s)")
    run.note("repeatable", not result.by_the_clock)
    verified = verify(
        study, reported(run, result.front, result.plans, opportunities, chances.relayed), pool=work.pool
    )
    run.note("verified_plans", verified)
    run.write_table("bound", result.bound)
    run.write_table("convergence", result.progress)
    _draw(work, result, opportunities, judged, targets=targets)
    run.write_table("plans", result.plans)
    front = with_measures(result.front, result.plans, study, opportunities, targets=targets, judged=chances)
    asked = observe(
        study,
        opportunities,
        targets,
        front=front,
        plans=result.plans,
        judged=chances,
        mothership=work.table("mothership"),
        pool=work.pool,
    )
    run.write_table("observe", asked)
    run.write_text("observe.csv", csv_text(asked))
    chosen, rule_met = select_plan(front, study)
    flown = _flown(chosen, result.plans, opportunities)
    low = low_quality_share(judged, flown["opportunity"].to_numpy())
    if barred := result.removed.get(PROTECTION):
        run.warn(
            f"protection.impact_chance_max bars {barred} of {opportunities.num_rows} opportunities from every plan: "
            f"{least_chances(study, opportunities)} (an entry, and an orbit's end, count 1)"
        )
    summary = _summary(study, opportunities, result, chosen=chosen, rule_met=rule_met)
    run.note("summary", summary | {"low_quality_share": low})
    run.write_table("rests_on", rests_on(study, flown, targets, pool=work.pool))
    run.write_table("front", front)


def _flown(plan: int, plans: pa.Table, opportunities: pa.Table) -> pa.Table:
    """The opportunities of a plan."""
    own = plans.filter(pc.equal(plans["plan"], plan))
    return opportunities.filter(
        pc.is_in(opportunities["opportunity"], value_set=own["opportunity"].combine_chunks())
    )


def _searched(work: Work, targets: Catalogue) -> Optimised:
    """The front; releases between the slots are found for its targets, judged, kept, and the search goes on."""
    study, mothership = work.study, work.table("mothership")
    opportunities = work.run.read_table("opportunities", whole=False)
    chances = chances_from_table(study, work.run.read_table("judged", whole=False))
    polishes = study.optimize.polish_steps > 1
    first = study
    if polishes:
        # what constraints cost is asked once, of the last front; so is the bound, of whose exact solutions at a few
        # levels this search begins
        levels = min(study.optimize.levels, LEVELS_TO_START)
        first = study.with_keys("optimize", constraint_costs=False, levels=levels)
    result = optimize(
        first,
        opportunities,
        targets,
        pool=work.pool,
        on_done=work.teller.stage("optimize"),
        judged=chances,
        mothership=mothership,
        starts=_starts(work, opportunities),
    )
    if not polishes:
        return result
    _polish(work, result, opportunities, targets)
    return optimize(
        study,
        work.table("opportunities"),
        targets,
        pool=work.pool,
        on_done=work.teller.stage("polish"),
        judged=chances_from_table(study, work.table("judged")),
        mothership=mothership,
        earlier=result,
    )


# Tables of an older run that the plans to start from are made of.
_STARTED_FROM = ("plans", "opportunities", "polished")


def fingerprint_of_starts(old: Run) -> str | None:
    """Hash of what a search that starts from an older run's front hangs on; None where it has no front."""
    if not old.has("plans"):
        return None
    hashes = [sha256_of(old.path(name)) for name in _STARTED_FROM]
    return hashlib.sha256(repr(hashes).encode()).hexdigest()


def _starts(work: Work, opportunities: pa.Table) -> pa.Table | None:
    """The plans of the older run in terms of this run's opportunities."""
    old = work.old
    if old is None or not old.has("plans"):
        return None
    found = carried_over(
        old.read_table("plans"),
        old.read_table("opportunities"),
        opportunities,
        slot_days=work.study.search.slot_days,
        probes=work.study.probe.count,
    )
    plans = len(found["plan"].unique())
    work.teller.say(f"optimize: starts from {plans} plans of {old.folder}")
    work.run.manifest["stages"]["optimize"]["from"]["starts"] = plans
    return found


def _polish(work: Work, result: Optimised, opportunities: pa.Table, targets: Catalogue) -> None:
    """Write the polished opportunities of the front's targets, and what they come to."""
    study = work.study
    finer = polished(
        study, opportunities, targets, used=used_rows(opportunities, result.plans), pool=work.pool
    )
    judged = judge_all(study, finer, targets, pool=work.pool)
    data = plan_data(study, finer, targets, judged=chances_of(judged))
    own = {column.name for column in OPPORTUNITY_COLUMNS}
    work.run.write_table("polished", finer.select([name for name in finer.column_names if name in own]))
    work.run.write_table("polished_judged", judged_table(study, finer, judged, data=data))
    work.run.write_table("polished_corrections", corrections_table(finer, judged))


def used_rows(opportunities: pa.Table, plans: pa.Table) -> NDArray[np.int64]:
    """Rows of `opportunities` that some plan uses, in order."""
    used = np.unique(plans["opportunity"].to_numpy())
    return np.flatnonzero(np.isin(opportunities["opportunity"].to_numpy(), used))


def _draw(
    work: Work, result: Optimised, opportunities: pa.Table, judged: pa.Table, *, targets: Catalogue
) -> None:
    """Tables of what the page draws, for the opportunities that some plan of the front uses."""
    run, study = work.run, work.study
    rows = used_rows(opportunities, result.plans)
    flown, come_to = opportunities.take(rows), judged.take(rows)
    chances = chances_from_table(study, come_to)
    run.write_table("arcs", arc_points(flown, work.table("mothership")))
    run.write_table("planets", planet_places(work.table("mothership")))
    run.write_table("events", event_dates(flown, come_to, work.table("corrections")))
    run.write_table("aims", _aims(study, flown, come_to))
    for table in _images(study, flown, come_to, targets):
        run.write_table("images", table)
    for name, table in _followed(study, flown).items():
        run.write_table(name, table)
    returned = successes(study, flown, targets, front=result.front, plans=result.plans, judged=chances)
    run.write_table("successes", returned)
    run.write_table("serves", serves(study, flown, targets, judged=chances))


def _followed(study: Study, flown: pa.Table) -> dict[str, pa.Table]:
    """How rows that are drawn go, in time, by table, of the kinds that have such a thing to draw."""
    made: dict[str, pa.Table] = {}
    for kind in ENCOUNTERS.values():
        own = flown.filter(pc.equal(flown["kind"], kind.name)) if kind.follow else flown.slice(0, 0)
        if own.num_rows:
            made |= kind.function("follow")(study, own)
    return made


def _images(study: Study, flown: pa.Table, come_to: pa.Table, targets: Catalogue) -> list[pa.Table]:
    """What is seen of bodies that are seen whole: one table, or none where no row is of such a kind."""
    whole = [kind for kind in ENCOUNTERS.values() if kind.images]
    rows = [(kind, np.flatnonzero(pc.equal(flown["kind"], kind.name).to_numpy())) for kind in whole]
    made = [
        kind.function("images")(study, flown.take(own), come_to.take(own), targets)
        for kind, own in rows
        if len(own)
    ]
    return [pa.concat_tables(made)] if made else []


def _aims(study: Study, flown: pa.Table, come_to: pa.Table) -> pa.Table:
    """What is drawn of the B-planes, by each row's kind of encounter."""
    kinds = np.asarray(flown["kind"].to_pylist(), dtype=object)
    rows = {name: np.flatnonzero(kinds == name) for name in ENCOUNTERS}
    drawn = [
        ENCOUNTERS[name].function("draw")(study, flown.take(own), come_to.take(own))
        for name, own in rows.items()
        if len(own) or not len(kinds)
    ]
    return pa.concat_tables(drawn)


def reported(
    run: Run, front: pa.Table, plans: pa.Table, opportunities: pa.Table, relayed: NDArray[np.bool_]
) -> Reported:
    """What the separate checker looks at: code that shares nothing with the search."""
    numbers = opportunities["opportunity"].to_pylist()
    return Reported(
        opportunities=opportunities,
        front=front,
        plans=plans,
        mothership=run.read_table("mothership"),
        relayed=dict(zip(numbers, relayed.tolist(), strict=True)),
    )


def _summary(
    study: Study, opportunities: pa.Table, result: Optimised, *, chosen: int, rule_met: bool
) -> dict[str, object]:
    return {
        "rule": study.compare.rule,
        "rule_met": rule_met,
        "plan": chosen,
        "targets": len(opportunities["target"].unique()),
        "opportunities": opportunities.num_rows,
        "usable": result.allowed,
        "removed": result.removed,
        "exact": result.exact,
        "hypervolume": list(result.hypervolume),
        "hypervolume_reference": result.reference,
        "stopped_by": result.stopped_by,
        "bounded": result.bounded,
        "within": result.within,
        "constraint_costs": result.costs.to_pylist(),
    }
