"""What each constraint of a study costs: what the front would gain without it.

One constraint at a time is lifted, everything else kept. The search without it is short: it starts from the
front found with all constraints, looks at every exchange it now may make and at plans built anew, twice. The
same short search with nothing lifted is what it is compared with, so that effort alone counts for nothing. What
is reported is the most that such a search finds, never the end of what a full one might.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.optimize.archive import Archive
from swarm.optimize.epochs import Measure
from swarm.optimize.pruning import searchable
from swarm.optimize.short import short_search
from swarm.plan.constraints import CONSTRAINTS, UNUSED, Constraint
from swarm.plan.question import Posed, Question, pose

if TYPE_CHECKING:
    from swarm.run.workers import Pool

Ints = NDArray[np.int64]

NO_COSTS = pa.table(
    {
        "constraint": pa.array([], pa.string()),
        "opportunities": pa.array([], pa.int64()),
        "science": pa.array([], pa.float64()),
        "hypervolume": pa.array([], pa.float64()),
    }
)
_ROUNDS = 2


@dataclass(frozen=True)
class _Shared:
    question: Question
    plans: Ints  # (p, probes) rows of the question's table, -1 unused
    measure: Measure


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
        question = question.of(constraint.without(question.study))
    posed = searchable(pose(question))
    front = short_search(posed, posed.places(shared.plans), rounds=_ROUNDS)
    return _Reached(len(posed.rows), -float(front.costs[:, 0].min()), shared.measure(front.costs))
