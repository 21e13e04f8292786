"""What the answer rests on: each default that the study leaves as it is, moved to both ends of its range.

The plan is left as it is and only its own encounters are judged again; nothing is searched or screened. So a change is
what the plan as planned would lose or gain if the default were wrong, not what another plan could make of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.plan.data import plan_data
from swarm.plan.judged import chances_of, judge_all
from swarm.plan.objectives import SCIENCE, evaluate
from swarm.run.workers import Pool
from swarm.study.ranges import Default, defaults_of, with_value
from targets.catalogue.bodies import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]

# A default that changes the plan's science by more than this decides the answer (own choice: plans that differ by less
# are hardly told apart in a review).
DECISIVE = 0.02
# How many are told with the answer.
TOLD = 5


@dataclass(frozen=True, eq=False)
class _Shared:
    study: Study
    flown: pa.Table
    targets: Catalogue


def rests_on(study: Study, flown: pa.Table, targets: Catalogue, *, pool: Pool) -> pa.Table:
    """Return a row for each default that the study leaves as it is, what matters most first.

    flown : opportunities of the plan, in any order
    """
    if not flown.num_rows:
        return _table([], 0.0, np.empty((0, 2)))
    defaults = defaults_of(study)
    moves = [(None, 0.0), *((d, value) for d in defaults for value in (d.range.low, d.range.high))]
    science = pool.map(_science, moves, shared=_Shared(study, flown, targets))
    return _table(defaults, science[0], np.array(science[1:]).reshape(-1, 2))


def _science(move: tuple[Default | None, float], shared: _Shared) -> float:
    """Expected science of the plan with one default moved; as the study says without one."""
    default, value = move
    study = shared.study if default is None else with_value(shared.study, default, value)
    judged = chances_of(judge_all(study, shared.flown, shared.targets, pool=Pool()))
    data = plan_data(study, shared.flown, shared.targets, judged=judged, probes=shared.flown.num_rows)
    return float(evaluate(np.arange(shared.flown.num_rows)[None, :], data)[0, SCIENCE])


def _table(defaults: Sequence[Default], science: float, moved: Floats) -> pa.Table:
    change = np.abs(moved - science).max(axis=1, initial=0.0)
    order = np.argsort(-np.round(change, 12), kind="stable")
    rows = [defaults[k] for k in order]
    columns: dict[str, Any] = {
        "key": pa.array([row.key for row in rows], pa.string()),
        "value": np.array([row.value for row in rows], dtype=float),
        "unit": pa.array([row.unit for row in rows], pa.string()),
        "low": np.array([row.range.low for row in rows], dtype=float),
        "high": np.array([row.range.high for row in rows], dtype=float),
        "source": pa.array([row.range.source for row in rows], pa.string()),
        "science": np.full(len(rows), science),
        "science_low": moved[order, 0].copy(),
        "science_high": moved[order, 1].copy(),
        "change": change[order],
        "decisive": change[order] > DECISIVE,
    }
    return pa.table(columns)


def rests_on_lines(table: pa.Table) -> list[str]:
    """Return what is printed with the answer: the defaults on which it rests most, each with range and source."""
    rows = table.to_pylist()
    lines = [
        f"{row['key']} {row['value']:g} {_unit(row['unit'])}({row['low']:g} to {row['high']:g}): science "
        f"{row['science']:.3f} -> {row['science_low']:.3f} to {row['science_high']:.3f}; {row['source']}"
        for row in rows[:TOLD]
    ]
    decisive = sum(row["decisive"] for row in rows)
    lines.append(f"{decisive} of {len(rows)} defaults change it by more than {DECISIVE:g} within their range")
    return lines


def _unit(unit: str) -> str:
    return "" if unit == "-" else f"{unit} "
