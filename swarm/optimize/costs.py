"""What each constraint of a study costs: what the front would gain without it.

One constraint at a time is lifted, everything else kept. The search without it is short: it starts from the
front found with all constraints, looks at every exchange it now may make and at plans built anew, twice. The
same short search with nothing lifted is what it is compared with, so that effort alone counts for nothing. What
is reported is the most that such a search finds, never the end of what a full one might.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.optimize.archive import Archive, costs_of, merged, thinned
from swarm.optimize.epochs import Measure, Pool
from swarm.optimize.neighbours import explore
from swarm.optimize.pruning import with_candidates
from swarm.optimize.seeds import seed_plans
from swarm.plan.constraints import CONSTRAINTS, UNUSED, Constraint, allowed
from swarm.plan.data import Chances, PlanData, plan_data
from swarm.plan.flight import Flight
from swarm.plan.objectives import evaluate
from swarm.plan.rules import PlanRules, decode, plan_rules
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

Ints = NDArray[np.int64]

NO_COSTS = pa.table(
    {
        "constraint": pa.array([], pa.string()),
        "opportunities": pa.array([], pa.int64()),
        "science": pa.array([], pa.float64()),
        "hypervolume": pa.array([], pa.float64()),
    }
)
# Plans whose exchanges are looked at in a round, and rounds.
_PLANS, _ROUNDS, _FINDS = 150, 2, 20_000


@dataclass(frozen=True)
class Question:
    """A study with its tables; `opportunities` are all that were found, allowed or not."""

    study: Study
    opportunities: pa.Table
    targets: Catalogue
    judged: Chances
    flight: Flight | None
    probes: int | None


@dataclass(frozen=True)
class Posed:
    """A question as numbers: rows of its table that may be used, and what the search needs of them."""

    rows: Ints
    table: pa.Table
    data: PlanData
    rules: PlanRules


@dataclass(frozen=True)
class _Shared:
    question: Question
    plans: Ints  # (p, probes) rows of the question's table, -1 unused
    measure: Measure


def pose(question: Question, mask: NDArray[np.bool_]) -> Posed:
    """Collect what the search needs of the opportunities of `mask`."""
    study, judged, flight = question.study, question.judged, question.flight
    table = question.opportunities.filter(pa.array(mask))
    chances = judged.take(mask)
    data = plan_data(study, table, question.targets, judged=chances, probes=question.probes)
    rules = plan_rules(
        study,
        table,
        data,
        flight=None if flight is None else flight.take(mask),
        relayed=chances.relayed,
    )
    return Posed(np.flatnonzero(mask), table, data, with_candidates(data, rules))


def constraint_costs(
    question: Question, front: Archive, posed: Posed, *, measure: Measure, pool: Pool
) -> pa.Table:
    """Return one row for each constraint the study asks for: constraint, opportunities, science, hypervolume.

    Each column is a gain: opportunities that could be used beyond those that may be, the most science of a plan,
    and the hypervolume of the front, from the same reference.
    """
    plans = np.where(front.plans >= 0, posed.rows[front.plans], UNUSED)
    asked = [constraint for constraint in CONSTRAINTS if constraint.holds(question.study)]
    kept, *lifted = pool.map(_short_search, [None, *asked], shared=_Shared(question, plans, measure))
    return pa.table(
        {
            "constraint": pa.array([constraint.name for constraint in asked], pa.string()),
            "opportunities": pa.array([one.usable - kept.usable for one in lifted], pa.int64()),
            "science": pa.array([max(one.science - kept.science, 0.0) for one in lifted], pa.float64()),
            "hypervolume": pa.array(
                [max(one.hypervolume - kept.hypervolume, 0.0) for one in lifted], pa.float64()
            ),
        }
    )


@dataclass(frozen=True)
class _Reached:
    """What a short search reached: opportunities it could use, most science, hypervolume."""

    usable: int
    science: float
    hypervolume: float


def _short_search(constraint: Constraint | None, shared: _Shared) -> _Reached:
    """Search without one constraint, or with all."""
    question = shared.question
    if constraint is not None:
        question = replace(question, study=constraint.without(question.study))
    posed = pose(question, allowed(question.study, question.opportunities, question.flight).mask)
    place = np.full(question.opportunities.num_rows + 1, UNUSED, dtype=np.int64)
    place[posed.rows] = np.arange(len(posed.rows))
    plans = decode(np.where(shared.plans >= 0, place[shared.plans], UNUSED), posed.rules)
    front = merged(
        [Archive(plans, costs_of(evaluate(plans, posed.data))), seed_plans(posed.data, posed.rules)]
    )
    for _ in range(_ROUNDS):
        start = thinned(front, _PLANS)
        found, _ = explore(start.plans, front.costs, posed.data, posed.rules, room=_FINDS)
        front = merged([front, found])
    return _Reached(len(posed.rows), -float(front.costs[:, 0].min()), shared.measure(front.costs))
