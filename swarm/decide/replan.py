"""What a plan is worth in a changed world: left as it is, and planned again by a short search.

Planning again asks for the most science that no more propellant buys than the plan itself takes (in the changed
world, or in the study's where that is more), whatever rule chose the plan. So less choice never raises the answer
and more choice never lowers it; a corner or a knee of a front would move both ways.

The search is short and of fixed effort: from the plans given and from plans built anew it looks at every exchange,
epoch after epoch. Where there are few plans every one is evaluated instead, and the answer is exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.optimize.archive import Archive
from swarm.optimize.epochs import OnDone
from swarm.optimize.pruning import searchable
from swarm.optimize.search import count_plans, every_plan, measure_of
from swarm.optimize.short import EXACT_PLANS, short_search
from swarm.plan.constraints import UNUSED
from swarm.plan.data import Chances, PlanData, column
from swarm.plan.flight import Flight
from swarm.plan.objectives import PROPELLANT, RISK, SCIENCE, evaluate
from swarm.plan.question import Posed, Question, pose
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.run.workers import Pool
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Two propellants closer than this are the same.
_TIE_KG = 1e-9


@dataclass(frozen=True, eq=False)
class Ground:
    """What one screen found and how it was judged: the ground that several worlds share.

    starts : (n, probes) plans to begin with, as rows of `opportunities`, -1 unused; repaired where they must be
    """

    opportunities: pa.Table
    targets: Catalogue
    judged: Chances
    flight: Flight | None
    starts: Ints

    def question(self, study: Study) -> Question:
        """What a study asks on this ground."""
        return Question(study, self.opportunities, self.targets, self.judged, self.flight, study.probe.count)


@dataclass(frozen=True, eq=False)
class World:
    """One changed world.

    ground         : index of the ground it stands on
    study          : with what is changed in it
    plan           : (probes,) the plan that is left as it is, as rows of the ground
    left_out       : row of the targets that may not be visited; None for none
    success_change : added to every chance of the hardware that is not 0, kept within 0 and 1
    """

    ground: int
    study: Study
    plan: Ints
    left_out: int | None = None
    success_change: float = 0.0


@dataclass(frozen=True, eq=False)
class Answer:
    """Science, propellant (kg) and risk, (3,) each, of the plan as it is and planned again.

    plan  : (probes,) the plan made again, as rows of the ground
    front : (n, probes) plans of which none is worse than another, as rows of the ground
    """

    held: Floats
    again: Floats
    plan: Ints
    front: Ints


@dataclass(frozen=True, eq=False)
class _Shared:
    grounds: tuple[Ground, ...]
    spent_kg: float
    effort: int


def answers(
    worlds: Sequence[World],
    grounds: Sequence[Ground],
    *,
    spent_kg: float,
    effort: int,
    pool: Pool,
    on_done: OnDone | None = None,
) -> list[Answer]:
    """Return the answer in each world, in order; the same on any number of workers.

    spent_kg : propellant that a plan made again may take at least
    effort   : epochs of the short search
    """
    shared = _Shared(tuple(grounds), spent_kg, effort)
    return pool.map(_answer, list(worlds), shared=shared, on_done=on_done)


def _answer(world: World, shared: _Shared) -> Answer:
    ground, study = shared.grounds[world.ground], world.study
    mask = _usable(world, ground)
    if not mask.any():
        return _nothing(study)
    posed = _with_success(searchable(pose(ground.question(study), mask)), world.success_change)
    held = evaluate(posed.places(world.plan)[None, :], posed.data)[0]
    starts = posed.places(np.concatenate([ground.starts, world.plan[None, :]]))
    front = _front(study, posed, starts, shared.effort)
    best = most_science(front.costs, max(shared.spent_kg, float(held[PROPELLANT])))
    rows = np.append(posed.rows, UNUSED)
    again = front.costs[best] * np.array([-1.0, 1.0, 1.0]) + 0.0
    return Answer(held, again, rows[front.plans[best]], rows[front.plans])


def _usable(world: World, ground: Ground) -> Bools:
    mask = ground.question(world.study).allowed().mask
    if world.left_out is not None:
        mask &= column(ground.opportunities, "target_index") != world.left_out
    return mask


def _nothing(study: Study) -> Answer:
    """The answer where no opportunity may be used: the plan without probes."""
    risk = 1.0 if any(row.threshold > 0 for row in study.science.rows) else 0.0
    plan = np.full(study.probe.count, UNUSED, dtype=np.int64)
    values = np.array([0.0, 0.0, risk])
    return Answer(values, values, plan, plan[None, :])


def _with_success(posed: Posed, change: float) -> Posed:
    if change == 0.0:
        return posed
    data = with_success_change(posed.data, change)
    return replace(posed, data=data)


def with_success_change(data: PlanData, change: float) -> PlanData:
    """Add to every chance of the hardware; one of 0 is beyond the probe's life and stays."""
    changed = np.clip(data.hardware + change, 0.0, 1.0)
    return data._replace(hardware=np.where(data.hardware > 0.0, changed, 0.0))


def _front(study: Study, posed: Posed, starts: Ints, effort: int) -> Archive:
    data, rules = posed.data, posed.rules
    if count_plans(data, rules) <= EXACT_PLANS:
        return every_plan(data, rules, measure_of(study, data))[0]
    return short_search(posed, starts, rounds=effort)


def most_science(costs: Floats, limit_kg: float) -> int:
    """Return the row with the most science of at most `limit_kg`, of equals the least risk, then propellant.

    costs : (n, 3) -science, propellant_kg, risk; where no row is light enough, the lightest
    """
    light = np.flatnonzero(costs[:, PROPELLANT] <= limit_kg + _TIE_KG)
    if not len(light):
        return int(np.argmin(costs[:, PROPELLANT]))
    rounded = np.round(costs[light], 12)
    order = np.lexsort((light, rounded[:, PROPELLANT], rounded[:, RISK], rounded[:, SCIENCE]))
    return int(light[order[0]])
