"""Opportunities -> front: the driver of the search; the same tables on any number of workers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.propellant import all_tanks_kg, loaded_kg, loaded_of
from swarm.optimize.archive import Archive, merged, thinned
from swarm.optimize.bound import ScienceBound, ToBound, best_within, science_bounds
from swarm.optimize.costs import NO_COSTS, constraint_costs
from swarm.optimize.epochs import Convergence, Effort, Measure, OnDone, search
from swarm.optimize.problem import PlanProblem, full_load_kg
from swarm.optimize.pruning import searchable
from swarm.optimize.seeds import seed_plans
from swarm.optimize.short import EXACT_PLANS, archive_of, count_sets, every_set
from swarm.plan.budgets import columns_by_design
from swarm.plan.constraints import UNUSED, require_some
from swarm.plan.data import Chances, PlanData, column, steering_kg
from swarm.plan.flight import Flight
from swarm.plan.objectives import chance_of_data
from swarm.plan.pairs import without_losing_pairs
from swarm.plan.protection import impact_chances
from swarm.plan.question import Posed, Question, pose
from swarm.plan.rules import PlanRules, decode, feasible
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.run.workers import Pool
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
# Hypervolume is measured from here: -science, propellant as a share of all tanks full, risk.
REFERENCE = np.array([0.1, 1.1, 1.1])
# Propellant levels at which a search that is not reported with its bound starts from an exact solution: own choice, a
# quarter of the bound's.
LEVELS_TO_START = 10
# Searches of one study take seeds this far apart: a prime, so that no two studies with near seeds share them.
_REPEAT_STEP = 1_000_003


# The solver proves its bound to its own tolerance of feasibility, 1e-7; sums of chances round far below that.
_BOUND_ROUNDING = 1e-6


@dataclass(frozen=True)
class Optimised:
    """The front and how it was found."""

    front: pa.Table  # plan, probes, science, propellant_kg, risk, loaded_kg
    plans: pa.Table  # plan, probe, opportunity, success, propellant_kg
    removed: dict[str, int]  # opportunities each limit removed, in the order applied
    allowed: int  # opportunities left
    convergence: Convergence
    exact: bool  # every feasible plan was evaluated
    bound: pa.Table  # probes, propellant_kg, science_upper, science_best
    bounded: int  # usable opportunities of the table the bound is of
    progress: pa.Table  # search, epoch, evaluations, hypervolume, archived
    stopped_by: str  # "epochs", "stall" or "clock", of the last search
    by_the_clock: bool  # the study lets the clock stop the search: another machine may answer otherwise
    reference: dict[str, float]  # where the hypervolume is measured from
    costs: pa.Table  # constraint, opportunities, science, hypervolume: what would be gained without each

    @property
    def within(self) -> float:
        """How far the plans may be from the best possible, as a share: 1 - sum of best / sum of upper."""
        upper = column(self.bound, "science_upper").sum()
        return 0.0 if upper <= 0.0 else 1.0 - float(column(self.bound, "science_best").sum() / upper)

    @property
    def hypervolume(self) -> tuple[float, ...]:
        """After seeding, then after each epoch."""
        return self.convergence.hypervolume


def optimize(
    study: Study,
    opportunities: pa.Table,
    targets: Catalogue,
    *,
    pool: Pool,
    on_done: OnDone | None = None,
    probes: int | None = None,
    exact_plans: int = EXACT_PLANS,
    judged: Chances,
    mothership: pa.Table | None,
    earlier: Optimised | None = None,
    starts: pa.Table | None = None,
) -> Optimised:
    """Search for the plans of which none is worse than another in science, propellant and risk.

    Parameters
    ----------
    opportunities : contract columns and `target_index`, the row of `targets`
    pool          : runs the islands; results do not depend on it
    on_done       : called as on_done(epochs done, epochs); once as (1, 1) where every plan is evaluated
    probes        : the most probes a plan may have; study.probe.count unless given
    exact_plans   : with no more plans than this every one is evaluated instead
    judged        : of each opportunity
    mothership    : the mothership's path; None only where the study limits nothing along the arcs
    earlier       : found for a part of these opportunities: its plans are started from; the bound is of all of them
    starts        : plan, probe, opportunity: further plans to start from, as found for fewer probes; what may not
                    be used of them is left out. No plan of the front is beaten by one of them, unless the front
                    had to be thinned (optimize.archive)

    Raises NothingFeasible where no opportunity may be used, with the constraints that alone are the reason. The empty
    plan is always a candidate.
    """
    flight = None if mothership is None else Flight(opportunities, mothership)
    most = study.probe.count if probes is None else probes
    question = Question(study, opportunities, targets, judged, flight, most)
    begun = prepare([question], pool=pool, earlier=earlier)[0]
    return search_from(
        begun,
        seed=study.study.seed,
        pool=pool,
        on_done=on_done,
        exact_plans=exact_plans,
        earlier=earlier,
        starts=starts,
    )


@dataclass(frozen=True)
class PreparedSearch:
    """What a search of a question begins with, whatever its seed.

    removed : opportunities each limit removed
    seeds   : plans built greedily, those of earlier searches, and the exact solutions of the bound
    """

    question: Question
    posed: Posed
    removed: dict[str, int]
    seeds: Archive
    proven: ScienceBound


def prepare(
    questions: Sequence[Question], *, pool: Pool, earlier: Optimised | None = None
) -> list[PreparedSearch]:
    """Prepare searches side by side; what is proven here hangs on no seed, and serves the searches of all.

    Raises NothingFeasible where a question leaves no opportunity that may be used.
    """
    posed, removed, seeds = [], [], []
    for question in questions:
        usable = question.allowed()
        require_some(usable, question.study, question.opportunities, question.flight)
        posed.append(searchable(pose(question, usable.mask)))
        removed.append(usable.removed)
        greedy = seed_plans(posed[-1].data, posed[-1].rules)
        older = [] if earlier is None or not earlier.plans.num_rows else [_started(earlier.plans, posed[-1])]
        seeds.append(merged([greedy, *older]))
    asked = [
        ToBound(one.data, one.rules, known.plans, question.study.optimize.levels)
        for one, known, question in zip(posed, seeds, questions, strict=True)
    ]
    proven = science_bounds(asked, pool=pool)
    seeds = [
        merged([known, archive_of(bound.plans, one.data)])
        for known, bound, one in zip(seeds, proven, posed, strict=True)
    ]
    return [PreparedSearch(*each) for each in zip(questions, posed, removed, seeds, proven, strict=True)]


def search_from(
    begun: PreparedSearch,
    *,
    seed: int,
    pool: Pool,
    on_done: OnDone | None = None,
    exact_plans: int = EXACT_PLANS,
    earlier: Optimised | None = None,
    starts: pa.Table | None = None,
) -> Optimised:
    """Search what was prepared with a seed; the rest as for `optimize`."""
    question, posed, seeds = begun.question, begun.posed, begun.seeds
    study = question.study.with_seed(seed)
    if starts is not None and starts.num_rows:
        seeds = merged([seeds, _started(starts, posed)])
    archive, runs, exact = _front_of(study, posed, seeds, exact_plans=exact_plans, pool=pool, on_done=on_done)
    answer = _Answer(archive, begun.proven, runs, begun.removed, exact)
    return _optimised(question, posed, answer, earlier=earlier, pool=pool)


@dataclass(frozen=True)
class _Answer:
    """What a search came to: plans and their bound, how they were found, what each limit removed."""

    archive: Archive
    proven: ScienceBound
    runs: list[Convergence]
    removed: dict[str, int]
    exact: bool


def _front_of(
    study: Study, posed: Posed, seeds: Archive, *, exact_plans: int, pool: Pool, on_done: OnDone | None
) -> tuple[Archive, list[Convergence], bool]:
    """The front, how it was found, and whether every plan was evaluated."""
    exact = count_plans(posed.data, posed.rules) <= exact_plans
    if exact:
        archive, runs = every_plan(posed.data, posed.rules, measure_of(study, posed.data))
        if on_done is not None:
            on_done(1, 1)
    else:
        archive, runs = _searched(study, posed.data, posed.rules, seeds=seeds, pool=pool, on_done=on_done)
    if study.constraints.pairs:
        kept = without_losing_pairs(archive.plans, posed.data, posed.rules)
        archive = merged([archive_of(kept, posed.data)])
    return archive, runs, exact


def _optimised(
    question: Question, posed: Posed, answer: _Answer, *, earlier: Optimised | None, pool: Pool
) -> Optimised:
    """The answer of a search: its tables, its bound, and what each constraint costs where the study asks for that."""
    study, costs = question.study, NO_COSTS
    if study.optimize.constraint_costs:
        measure = measure_of(study, posed.data)
        costs = constraint_costs(question, answer.archive, posed, measure=measure, pool=pool)
    front, plans = _tables(study, answer.archive, posed.data, posed.table)
    return Optimised(
        front=front,
        plans=plans,
        removed=answer.removed,
        allowed=posed.table.num_rows,
        convergence=answer.runs[-1],
        exact=answer.exact,
        bound=_bound_table(answer.proven, answer.archive, probes=posed.data.probes),
        bounded=posed.table.num_rows,
        progress=_progress_table(answer.runs, earlier),
        stopped_by=answer.runs[-1].stopped_by,
        by_the_clock=study.optimize.stop_after_s is not None,
        reference=_reference(study, posed.data),
        costs=costs,
    )


# --- small cases: every plan --------------------------------------------------------------------------------


def count_plans(data: PlanData, rules: PlanRules) -> int:
    """The number of plans, feasible or not."""
    return count_sets(len(data.target), data.probes, rules)


def every_plan(data: PlanData, rules: PlanRules, measure: Measure) -> tuple[Archive, list[Convergence]]:
    """The front of every plan, exact, and a record of one epoch; for no more plans than EXACT_PLANS."""
    sets = every_set(range(len(data.target)), data.probes, rules)
    plans = np.array([[*chosen, *[UNUSED] * (data.probes - len(chosen))] for chosen in sets], dtype=np.int64)
    plans = decode(plans[feasible(plans, rules)], rules)
    archive = merged([archive_of(plans, data)])
    return archive, [Convergence((len(plans),), (measure(archive.costs),), (len(archive.plans),), "epochs")]


# --- the search ---------------------------------------------------------------------------------------------


def _searched(
    study: Study,
    data: PlanData,
    rules: PlanRules,
    *,
    seeds: Archive,
    pool: Pool,
    on_done: OnDone | None,
) -> tuple[Archive, list[Convergence]]:
    """Search as often as the study asks, each time with a seed of its own; keep what is best of all."""
    problem, effort = PlanProblem(data, rules), effort_of(study)
    fronts, runs = [], []
    for repeat in range(study.optimize.repeats):
        front, run = search(
            problem,
            seeds,
            effort,
            seed=study.study.seed + _REPEAT_STEP * repeat,
            measure=measure_of(study, data),
            pool=pool,
            on_done=None if on_done is None else _part_of(on_done, repeat, study.optimize.repeats),
        )
        fronts.append(front)
        runs.append(run)
    return thinned(merged(fronts), effort.archive), runs


def _part_of(on_done: OnDone, part: int, parts: int) -> OnDone:
    """Progress of one of several searches as progress of the whole."""

    def done(epochs: int, of: int) -> None:
        on_done(part * of + epochs, parts * of)

    return done


def effort_of(study: Study) -> Effort:
    """What the study asks of the search."""
    settings = study.optimize
    return Effort(
        islands=settings.islands,
        population=settings.population,
        epochs=settings.epochs,
        generations=settings.generations_per_epoch,
        archive=settings.archive,
        stall_epochs=settings.stall_epochs,
        stall_share=settings.stall_share,
        stop_after_s=settings.stop_after_s,
    )


def measure_of(study: Study, data: PlanData) -> Measure:
    """The hypervolume of plans: -science, propellant as a share of all tanks full, risk, from REFERENCE."""
    full_kg = max(all_tanks_kg(study, data.probes), 1e-9)
    if study.mothership.counts and any(ask.steer != "probe" for ask in study.approach):
        # what the mothership burns for them is in no tank of theirs
        full_kg = max(full_kg, full_load_kg(data))
    return Measure(np.array([1.0, full_kg, 1.0]), REFERENCE)


def _reference(study: Study, data: PlanData) -> dict[str, float]:
    point = measure_of(study, data).scale * REFERENCE
    return {"science": -float(point[0]), "propellant_kg": float(point[1]), "risk": float(point[2])}


# --- tables -------------------------------------------------------------------------------------------------


def _bound_table(proven: ScienceBound, archive: Archive, *, probes: int) -> pa.Table:
    """The bound beside the best plan of the front, level by level; both are of the table that was searched.

    Raises ValueError where a plan lies above the bound: then one of the two is wrong, and neither is shown.
    """
    levels_kg, science, kilograms = proven.propellant_kg, 0.0 - archive.costs[:, 0], archive.costs[:, 1]
    best = best_within(levels_kg, science, kilograms)
    above = np.flatnonzero(best > proven.science_upper + _BOUND_ROUNDING)
    if len(above):
        k = above[0]
        raise ValueError(
            f"a plan of the front lies above the bound: science {best[k]:.12g} within {levels_kg[k]:.6g} kg, where no "
            f"plan may have more than {proven.science_upper[k]:.12g}"
        )
    return pa.table(
        {
            "probes": np.full(len(levels_kg), probes, dtype=np.int64),
            "propellant_kg": levels_kg,
            "science_upper": proven.science_upper,
            "science_best": best,
        }
    )


def _started(plans: pa.Table, posed: Posed) -> Archive:
    """Plans of another search in terms of this one's table; what may not be used here is left out."""
    place = {number: k for k, number in enumerate(posed.table["opportunity"].to_pylist())}
    numbers = [int(number) for number in plans["plan"].to_pylist()]
    matrix = np.full((max(numbers) + 1, posed.data.probes), UNUSED, dtype=np.int64)
    for row in plans.to_pylist():
        matrix[row["plan"], row["probe"]] = place.get(row["opportunity"], UNUSED)
    return archive_of(decode(matrix, posed.rules), posed.data)


def _progress_table(runs: list[Convergence], earlier: Optimised | None) -> pa.Table:
    table = _progress_of(runs)
    if earlier is None:
        return table
    number = column(table, "search") + int(column(earlier.progress, "search").max()) + 1
    renumbered = table.set_column(0, "search", pa.array(number))
    return pa.concat_tables([earlier.progress, renumbered])


def _progress_of(runs: list[Convergence]) -> pa.Table:
    lengths = [len(run.evaluations) for run in runs]
    return pa.table(
        {
            "search": np.repeat(np.arange(len(runs)), lengths),
            "epoch": np.concatenate([np.arange(length) for length in lengths]),
            "evaluations": np.concatenate([run.evaluations for run in runs]),
            "hypervolume": np.concatenate([run.hypervolume for run in runs]),
            "archived": np.concatenate([run.archived for run in runs]),
        }
    )


def _of_passes(study: Study, usable: pa.Table, plans: Ints) -> dict[str, Floats]:
    """What adds up over the passes of each plan; nothing where the study asks for none."""
    if not study.approach:
        return {}
    used = plans >= 0
    sums = {"impact_chance": impact_chances(study, usable), "carrier_propellant_kg": steering_kg(usable)}
    return {name: np.where(used, each[plans], 0.0).sum(axis=1) for name, each in sums.items()}


def _tables(study: Study, archive: Archive, data: PlanData, usable: pa.Table) -> tuple[pa.Table, pa.Table]:
    costs, plans = archive.costs, archive.plans
    science = 0.0 - costs[:, 0]
    order = np.lexsort((costs[:, 2], science, costs[:, 1]))
    science, costs, plans = science[order], costs[order], plans[order]
    used = plans >= 0
    number, place = np.nonzero(used)  # places are in order of release
    chosen = plans[used]
    probes = used.sum(axis=1)
    front = pa.table(
        {
            "plan": np.arange(len(plans)),
            "probes": probes,
            "science": science,
            "propellant_kg": costs[:, 1],
            "risk": costs[:, 2],
            "loaded_kg": loaded_of(plans, loaded_kg(study, usable)),
            **columns_by_design(study, usable, plans),
            **_of_passes(study, usable, plans),
        }
    )
    rows = pa.table(
        {
            "plan": number,
            "probe": place,
            "opportunity": column(usable, "opportunity")[chosen],
            "success": chance_of_data(plans, data)[used],
            "propellant_kg": data.propellant_kg[chosen],
        }
    )
    return front, rows
