"""The question that a study asks of its opportunities, and the question in numbers: the one place where it is posed.

Search, counts, recourse, sensitivities, astronomers' list and explanations all start here, so that none of them can
leave out a rule that another keeps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.plan.constraints import UNUSED, Allowed, allowed
from swarm.plan.data import Chances, PlanData, plan_data
from swarm.plan.flight import Flight
from swarm.plan.rules import PlanRules, plan_rules
from targets.catalogue.bodies import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Question:
    """A study with its tables; row k of `opportunities` (all that were found, allowed or not) and of `judged` is one.

    flight : where the probes are; None only where the study limits nothing along the arcs
    probes : the most probes a plan may have
    """

    study: Study
    opportunities: pa.Table
    targets: Catalogue
    judged: Chances
    flight: Flight | None
    probes: int

    def allowed(self) -> Allowed:
        """The opportunities that keep every limit which a single one can break."""
        return allowed(self.study, self.opportunities, self.flight)

    def of(self, study: Study) -> Question:
        """The same asked by a changed study."""
        return replace(self, study=study)


@dataclass(frozen=True, eq=False)
class Posed:
    """A question in numbers: the rows of its table that may be used, and what plans of them are made of."""

    asked: int  # rows of the question's table
    rows: Ints  # (n,) those of them that may be used
    table: pa.Table  # (n rows)
    judged: Chances  # (n,)
    data: PlanData
    rules: PlanRules

    def places(self, rows: Ints) -> Ints:
        """Rows of the question's table as rows of this one; unused for what may not be used, and for unused."""
        place = np.full(self.asked + 1, UNUSED, dtype=np.int64)  # the last stands for an unused place
        place[self.rows] = np.arange(len(self.rows))
        return place[rows]


def pose(question: Question, mask: Bools | None = None) -> Posed:
    """Collect what plans of the allowed opportunities are made of; of those of `mask` where it is given.

    Raises ValueError where a rule could not be kept.
    """
    mask = question.allowed().mask if mask is None else mask
    study, flight = question.study, question.flight
    table, judged = question.opportunities.filter(pa.array(mask)), question.judged.take(mask)
    data = plan_data(study, table, question.targets, judged=judged, probes=question.probes)
    left = None if flight is None else flight.take(mask)
    rules = plan_rules(study, table, data, flight=left, relayed=judged.relayed)
    return Posed(len(mask), np.flatnonzero(mask), table, judged, data, rules)
