"""What each constraint of a study costs: what the front would gain without it.

One constraint at a time is lifted, everything else kept. The search without it is short: it starts from the
front found with all constraints, looks at every exchange it now may make and at plans built anew, twice. So
what is reported is a gain that is there for certain, the most that a short search finds, never the end of what
a full one might.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.constraints import CONSTRAINTS, UNUSED, Constraint, PlanRules, allowed, decode, plan_rules
from swarm.flight import Flight
from swarm.objectives import evaluate
from swarm.optimize.archive import Archive, costs_of, merged, thinned
from swarm.optimize.epochs import Measure, Pool
from swarm.optimize.neighbours import explore
from swarm.optimize.pruning import with_candidates
from swarm.optimize.seeds import seed_plans
from swarm.plan_data import Chances, PlanData, plan_data
from targets.catalogue import Catalogue

if TYPE_CHECKING:
    from swarm.study import Study

Ints = NDArray[np.int64]

_KINDS = {
    "constraint": pa.string(), "opportunities": pa.int64(), "science": pa.float64(), "hypervolume": pa.float64(),
}  # fmt: skip
NO_COSTS = pa.table({name: pa.array([], kind) for name, kind in _KINDS.items()})
# Plans whose exchanges are looked at in a round, and rounds.
_PLANS, _ROUNDS, _FINDS = 150, 2, 20_000


@dataclass(frozen=True)
class Question:
    """A study with its tables; `opportunities` are all that were found, allowed or not."""

    study: Study
    opportunities: pa.Table
    targets: Catalogue
    judged: Chances | None
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
    chances = None if judged is None else judged.take(mask)
    data = plan_data(study, table, question.targets, judged=chances, probes=question.probes)
    rules = plan_rules(
        study,
        table,
        data,
        flight=None if flight is None else flight.take(mask),
        relayed=None if chances is None else chances.relayed,
    )
    return Posed(np.flatnonzero(mask), table, data, with_candidates(data, rules))


def constraint_costs(question: Question, front: Archive, posed: Posed, *, measure: Measure, pool: Pool) -> pa.Table:
    """Return one row for each constraint the study asks for: constraint, opportunities, science, hypervolume.

    Each column is a gain: opportunities that could be used beyond those that may be, the most science of a plan,
    and the hypervolume of the front, from the same reference.
    """
    plans = np.where(front.plans >= 0, posed.rows[front.plans], UNUSED)
    asked = [constraint for constraint in CONSTRAINTS if constraint.holds(question.study)]
    gains = pool.map(_gain_without, asked, shared=_Shared(question, plans, measure))
    columns = {name: [gain[k] for gain in gains] for k, name in enumerate(_KINDS)}
    return pa.table({name: pa.array(columns[name], kind) for name, kind in _KINDS.items()})


def _gain_without(constraint: Constraint, shared: _Shared) -> tuple[str, int, float, float]:
    question = shared.question
    study = constraint.without(question.study)
    lifted = Question(
        study, question.opportunities, question.targets, question.judged, question.flight, question.probes
    )
    mask = allowed(study, question.opportunities, question.flight).mask
    posed = pose(lifted, mask)
    place = np.full(question.opportunities.num_rows + 1, UNUSED, dtype=np.int64)
    place[posed.rows] = np.arange(len(posed.rows))
    plans = decode(np.where(shared.plans >= 0, place[shared.plans], UNUSED), posed.rules)
    before = Archive(plans, costs_of(evaluate(plans, posed.data)))
    after = merged([before, seed_plans(posed.data, posed.rules)])
    for _ in range(_ROUNDS):
        start = thinned(after, _PLANS)
        found, _ = explore(start.plans, after.costs, posed.data, posed.rules, room=_FINDS)
        after = merged([after, found])
    science = float(before.costs[:, 0].min() - after.costs[:, 0].min())
    volume = shared.measure(after.costs) - shared.measure(before.costs)
    more = len(posed.rows) - int(allowed(question.study, question.opportunities, question.flight).mask.sum())
    return constraint.name, more, max(science, 0.0), max(volume, 0.0)
