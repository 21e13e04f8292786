"""How many probes: a front for each count under one reference point, and what the next probe is worth.

Every plan for N probes is a plan for any larger count, and a plan for a larger count less some of its probes is
one for N: each search starts from the front of the count below, and after the searches each front is joined with
those of its neighbours, so the front for more probes is nowhere worse. The searches are repeated with seeds of their
own, which share nothing that hangs on chance: what the answer owes to it is reported. The bound of a count hangs on
none; it is proven once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from swarm.decide.summary import select_plan
from swarm.encounter.propellant import loaded_kg, loaded_of
from swarm.optimize.archive import Archive, costs_of, merged, taken
from swarm.optimize.pruning import searchable
from swarm.optimize.search import LEVELS_TO_START, Optimised, measure_of, prepare, search_from
from swarm.optimize.short import short_search
from swarm.plan.budgets import columns_by_design, flown_by_design, swarm_masses
from swarm.plan.constraints import UNUSED
from swarm.plan.data import Chances, PlanData, column
from swarm.plan.flight import Flight
from swarm.plan.measures import measures, plans_matrix
from swarm.plan.objectives import chance_of_data, evaluate
from swarm.plan.question import Question, pose
from swarm.plan.tracking import plan_hours
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
OnDone = Callable[[int, int], None]
# Seeds of the repeated searches lie this far apart: a prime of its own, so that they meet no other repetition.
_SEED_STEP = 7_368_787
# Rounds of the short search for one probe more, as for what a constraint costs.
_ROUNDS = 2


@dataclass(frozen=True)
class Compared:
    """What each count comes to.

    counts  : a row a probe count, the plan the rule selects (columns of the contract and more)
    fronts  : a row a plan: count, plan (within the count), probes, science, propellant_kg, risk
    plans   : a row a probe of the selected plans: count, probe, opportunity
    members : a row a probe of every plan of the fronts: count, plan, probe, opportunity, success, propellant_kg
    descope : a row a probe left out, in order, from the selected plan of the largest count
    """

    counts: pa.Table
    fronts: pa.Table
    plans: pa.Table
    members: pa.Table
    descope: pa.Table

    def of_count(self, count: int) -> tuple[pa.Table, pa.Table]:
        """The front of one count, and the probes of its plans."""
        front, members = (
            table.filter(pc.equal(table["count"], count)).drop_columns(["count"])
            for table in (self.fronts, self.members)
        )
        return front, members


def compare(
    study: Study,
    opportunities: pa.Table,
    targets: Catalogue,
    *,
    pool: Any,
    on_done: OnDone | None = None,
    judged: Chances,
    mothership: pa.Table | None,
) -> Compared:
    """Return the fronts of every count of `compare.counts` and the plan the study's rule selects from each.

    mothership : the mothership's path, as `swarm.optimize.search.optimize` needs it

    Guarantee
    ---------
    The front for a larger count weakly dominates that for a smaller one. Tested in tests/compare.
    """
    counts = sorted(set(study.compare.counts))
    most = max(counts)
    flight = None if mothership is None else Flight(opportunities, mothership)
    question = Question(_without_costs(study), opportunities, targets, judged, flight, most)
    posed = pose(question)
    usable, data = posed.table, posed.data
    flown = [count for count in counts if count and usable.num_rows]
    begun = dict(
        zip(flown, prepare([replace(question, probes=count) for count in flown], pool=pool), strict=True)
    )
    by_seed = []
    for k in range(study.compare.seeds):
        seed = (study.study.seed + _SEED_STEP * k) % 2**63
        found, starts = [_empty(data)] * len(counts), None
        for j, count in enumerate(counts):
            if count in begun:
                answer = search_from(begun[count], seed=seed, pool=pool, starts=starts)
                starts = answer.plans
                found[j] = merged([_archive_of(answer, usable, data), _empty(data)])
            if on_done is not None:
                on_done(k * len(counts) + j + 1, study.compare.seeds * len(counts))
        by_seed.append(nested(found, counts, data))
    fronts = nested([merged(list(same)) for same in zip(*by_seed, strict=True)], counts, data)
    fronts = [_in_order(front) for front in fronts]
    more = pool.map(_science_with_one_more, _with_one_more(counts, fronts), shared=question)
    return _tables(study, usable, data, counts=counts, fronts=fronts, by_seed=by_seed, more=more)


def _without_costs(study: Study) -> Study:
    """The same search; what each constraint costs is asked once, of the study's own count.

    The bound is proven there too: here its exact solutions at a few levels are starting plans, no more.
    """
    levels = min(study.optimize.levels, LEVELS_TO_START)
    return study.with_keys("optimize", constraint_costs=False, levels=levels)


def _with_one_more(counts: list[int], fronts: list[Archive]) -> list[tuple[int, Ints]]:
    """For each count one probe more, and plans to start from: its front, and the next one's less their extra probes."""
    items = []
    for k, count in enumerate(counts):
        above = fronts[min(k + 1, len(fronts) - 1)].plans
        starts = np.unique(np.concatenate([fronts[k].plans, _with_at_most(above, count + 1)]), axis=0)
        wider = np.column_stack([starts, np.full(len(starts), UNUSED)])
        items.append((count + 1, wider[:, : count + 1]))
    return items


def _science_with_one_more(item: tuple[int, Ints], question: Question) -> float:
    """Most science that a short search finds for a count, from plans of the whole question's table."""
    count, starts = item
    posed = searchable(pose(replace(question, probes=count)))
    if not len(posed.rows):
        return 0.0
    return _best_science(short_search(posed, starts, rounds=_ROUNDS))


def _empty(data: PlanData) -> Archive:
    plans = np.full((1, data.probes), UNUSED, dtype=np.int64)
    return Archive(plans, costs_of(evaluate(plans, data)))


def _archive_of(answer: Optimised, usable: pa.Table, data: PlanData) -> Archive:
    plans = plans_matrix(answer.plans, usable, answer.front.num_rows, probes=data.probes)
    return Archive(plans, costs_of(evaluate(plans, data)))


def nested(fronts: list[Archive], counts: list[int], data: PlanData) -> list[Archive]:
    """Join each front with its neighbours': from above less their extra probes, from below as they are.

    fronts : of `counts`, rising; a plan has at most as many probes as its count
    """
    joined = list(fronts)
    for k in range(len(counts) - 2, -1, -1):
        fewer = _with_at_most(joined[k + 1].plans, counts[k])
        if len(fewer):
            joined[k] = merged([joined[k], Archive(fewer, costs_of(evaluate(fewer, data)))])
    for k in range(1, len(counts)):
        joined[k] = merged([joined[k], joined[k - 1]])
    return joined


def _in_order(front: Archive) -> Archive:
    """By propellant, then science, then risk, to the last digit: the order of `front.parquet`."""
    return taken(front, np.lexsort((front.costs[:, 2], -front.costs[:, 0], front.costs[:, 1])))


def _with_at_most(plans: Ints, count: int) -> Ints:
    """Plans with at most so many probes; one probe too many is left out in every way, more are passed over."""
    flown = (plans >= 0).sum(axis=1)
    kept = [plans[flown <= count]]
    over = plans[flown == count + 1]
    for place in range(plans.shape[1]):
        fewer = over[over[:, place] >= 0].copy()
        fewer[:, place:-1] = fewer[:, place + 1 :]
        fewer[:, -1] = UNUSED
        kept.append(fewer)
    return np.unique(np.concatenate(kept), axis=0)


# --- tables -------------------------------------------------------------------------------------------------


def _tables(
    study: Study,
    usable: pa.Table,
    data: PlanData,
    *,
    counts: list[int],
    fronts: list[Archive],
    by_seed: list[list[Archive]],
    more: list[float],
) -> Compared:
    loaded = loaded_kg(study, usable)
    tables = [_front_table(front, loaded, columns_by_design(study, usable, front.plans)) for front in fronts]
    chosen = [select_plan(table, study) for table in tables]
    selected = [front.plans[plan] for front, (plan, _) in zip(fronts, chosen, strict=True)]
    if study.compare.rule == "science-in-mass":
        selected = _best_so_far(selected, data)
    plans = np.stack(selected)
    rows = _counts_table(study, usable, data, counts=counts, plans=plans)
    volume = measure_of(study, data)  # of the largest count: one reference point for all
    best = [_best_science(front) for front in fronts]
    worth = _next_worth(counts, best)
    seeds = np.array([_next_worth(counts, [_best_science(f) for f in own]) for own in by_seed])
    added = {
        "rule_met": np.array([met for _, met in chosen]),
        "plans": np.array([len(front.plans) for front in fronts]),
        "hypervolume": np.array([volume(front.costs) for front in fronts]),
        "hypervolume_sd": _spread(np.array([[volume(f.costs) for f in own] for own in by_seed])),
        "science_best": np.array(best),
        "one_more_science": np.maximum(np.array(more) - best, 0.0),
        "next_probe_science": worth,
        "next_probe_science_sd": _spread(seeds),
    }
    for name, values in added.items():
        rows = rows.append_column(name, pa.array(values))
    return Compared(
        counts=rows,
        fronts=pa.concat_tables(
            [_with_count(table, count) for table, count in zip(tables, counts, strict=True)]
        ),
        plans=_plans_table(plans, counts, usable, data),
        members=pa.concat_tables(
            [
                _with_count(_members_table(front.plans, usable, data), count)
                for front, count in zip(fronts, counts, strict=True)
            ]
        ),
        descope=descope_order(plans[-1], data, usable),
    )


def _best_so_far(selected: list[Ints], data: PlanData) -> list[Ints]:
    """Keep the plan of a smaller count where it has more science.

    A mass limit is no axis of the front: a lighter plan may be missing there, beaten by one of more probes.
    """
    values, best, kept = evaluate(np.stack(selected), data), 0, []
    for k in range(len(selected)):
        if values[k, 0] > values[best, 0]:
            best = k
        kept.append(selected[best])
    return kept


def _front_table(front: Archive, loaded: Floats, by_design: dict[str, Ints]) -> pa.Table:
    probes = (front.plans >= 0).sum(axis=1)
    return pa.table(
        {
            "plan": np.arange(len(front.plans)),
            "probes": probes,
            "science": 0.0 - front.costs[:, 0],
            "propellant_kg": front.costs[:, 1],
            "risk": front.costs[:, 2],
            "loaded_kg": loaded_of(front.plans, loaded),
            **by_design,
        }
    )


def _with_count(table: pa.Table, count: int) -> pa.Table:
    return table.add_column(0, "count", pa.array(np.full(table.num_rows, count)))


def _counts_table(
    study: Study, usable: pa.Table, data: PlanData, *, counts: list[int], plans: Ints
) -> pa.Table:
    values, levels = evaluate(plans, data), measures(plans, data)
    flown = (plans >= 0).sum(axis=1)
    masses = swarm_masses(study, flown_by_design(study, usable, plans))
    return pa.table(
        {
            "probes": np.array(counts),
            "science": values[:, 0],
            "propellant_kg": values[:, 1],
            "risk": values[:, 2],
            "swarm_mass_kg": masses.best_kg,
            "swarm_mass_with_margins_kg": masses.maximum_kg,
            "loaded_kg": loaded_of(plans, loaded_kg(study, usable)),
            "probes_flown": flown,
            "p_threshold": levels.p_threshold,
            "p_baseline": levels.p_baseline,
            "p_none": levels.p_none,
            "cvar10_science": levels.cvar_science,
            "measures_exact": levels.exact,
            "tracking_hours": np.array([plan_hours(study, usable, plan) for plan in plans]),
        }
    )


def _best_science(front: Archive) -> float:
    return float(0.0 - front.costs[:, 0].min())


def _next_worth(counts: list[int], best: list[float]) -> Floats:
    """Most science with this count less that of the count before, per probe; NaN for the first."""
    return np.concatenate([[np.nan], np.diff(best) / np.diff(counts)])


def _spread(values: Floats) -> Floats:
    """Standard deviation over seeds (rows), of the sample; NaN with one seed."""
    return values.std(axis=0, ddof=1) if len(values) > 1 else np.full(values.shape[1], np.nan)


def _plans_table(plans: Ints, counts: list[int], usable: pa.Table, data: PlanData) -> pa.Table:
    number, place = np.nonzero(plans >= 0)
    chosen = plans[plans >= 0]
    return pa.table(
        {
            "count": np.array(counts)[number],
            "probe": place,
            "opportunity": column(usable, "opportunity")[chosen],
            "propellant_kg": data.propellant_kg[chosen],
        }
    )


def _members_table(plans: Ints, usable: pa.Table, data: PlanData) -> pa.Table:
    number, place = np.nonzero(plans >= 0)
    chosen = plans[plans >= 0]
    return pa.table(
        {
            "plan": number,
            "probe": place,
            "opportunity": column(usable, "opportunity")[chosen],
            "success": chance_of_data(plans, data)[plans >= 0],
            "propellant_kg": data.propellant_kg[chosen],
        }
    )


def descope_order(plan: Ints, data: PlanData, opportunities: pa.Table) -> pa.Table:
    """Return which probe to leave out first, second, ...: each time the one whose loss costs least science.

    Of equals the one that keeps the risk lower, then the one that saves more propellant. Columns: step,
    probe (place in the plan as it was), opportunity, probes left, and science, propellant_kg, risk after it.
    """
    left, rows = plan.copy(), []
    places = [int(place) for place in np.flatnonzero(plan >= 0)]
    for step in range(len(places)):
        trials = np.tile(left, (len(places), 1))
        trials[np.arange(len(places)), places] = UNUSED
        values = evaluate(trials, data)
        first = int(np.lexsort((values[:, 1], np.round(values[:, 2], 12), -np.round(values[:, 0], 12)))[0])
        place = places.pop(first)
        rows.append((step, place, int(plan[place]), len(places), *values[first]))
        left[place] = UNUSED
    numbers = column(opportunities, "opportunity")
    return pa.table(
        {
            "step": pa.array([row[0] for row in rows], pa.int64()),
            "probe": pa.array([row[1] for row in rows], pa.int64()),
            "opportunity": pa.array([int(numbers[row[2]]) for row in rows], pa.int64()),
            "probes_left": pa.array([row[3] for row in rows], pa.int64()),
            "science": pa.array([row[4] for row in rows], pa.float64()),
            "propellant_kg": pa.array([row[5] for row in rows], pa.float64()),
            "risk": pa.array([row[6] for row in rows], pa.float64()),
        }
    )


# --- said in lines ------------------------------------------------------------------------------------------


def count_lines(counts: pa.Table, study: Study) -> list[str]:
    """A line a count, for people: what is carried, what of it the selected plan flies, and both masses."""
    return [_count_line(row, study) for row in counts.to_pylist()]


def _weighing(study: Study, probes: int) -> str:
    """What so many probes weigh; of several designs that hangs on which are carried."""
    if study.designs:
        return ""
    return f" ({float(swarm_masses(study, np.array([probes])).best_kg[0]):.0f} kg)"


def _count_line(row: dict[str, Any], study: Study) -> str:
    text = (
        f"{row['probes']:>3} carried{_weighing(study, row['probes'])}, {row['probes_flown']} flown: "
        f"science {row['science']:.3f}, propellant {row['propellant_kg']:.2f} kg, risk {row['risk']:.3f}, "
        f"those flown {row['swarm_mass_kg']:.0f} kg ({row['swarm_mass_with_margins_kg']:.0f} with margins), "
        f"{row['tracking_hours']:.0f} h of tracking"
    )
    if not np.isnan(row["next_probe_science"]):
        each = f"each probe adds {row['next_probe_science']:.3f} on average"
        text += f"; since the count before, {each}, flown in the best way"
        if study.compare.seeds >= 3 and not np.isnan(row["next_probe_science_sd"]):
            text += f" (standard deviation of {study.compare.seeds} seeds {row['next_probe_science_sd']:.3f})"
    text += f"; one more would add {row['one_more_science']:.3f} at least, flown in the best way"
    return text if row["rule_met"] else f"{text}; no plan meets the rule, this is the nearest"
