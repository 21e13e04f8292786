"""Whether a plan would stand elsewhere on the front with its refined numbers: science, propellant and risk.

Only the refined plan's arcs are known under all forces, so the others must be changed alike before it joins them:
the table's burns leave the spring out, which gives every probe about its own speed, and its dV99 rests on one set of
samples. What refinement changes in common - burns by the median difference, dV99 by the median ratio - is therefore
given to every arc first, and the plan's place is compared with its place on that front. Then an arc that was refined
gets its own burn and, where sampling does not explain the difference, its own dV99 and delivered chance; one that
cannot be flown is left out of every plan; and all plans are evaluated again. What is flown at a planet or moon stands
as it was judged: it was flown in the field there when it was screened, and is not refined again. Places that differ by
less than a hundredth of the front's span are the same place (own choice): fronts are dense, and milligrams would put
most plans elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.decide.summary import select_plan
from swarm.plan.data import Chances, column, plan_data
from swarm.plan.judged import chances_from_table
from swarm.plan.measures import plans_matrix
from swarm.plan.objectives import evaluate
from swarm.refine.correct import NotRefined
from swarm.refine.whole_plan import FlownProbe, RunTables
from swarm.run.kinds import at_places
from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_RESOLUTION = 0.01
_AXES = ("science", "propellant_kg", "risk")
_BETTER = np.array([-1.0, 1.0, 1.0])  # times a value: smaller is better
# Two 99th percentiles, of 2 000 and of some thousand samples, differ by less in 19 of 20 cases: 3.2 % is the error of
# one from 2 000 (half a normal: sqrt(0.99 0.01/2000)/0.027 in sigmas, of 2.6).
_DV99_SHARE = 0.07


@dataclass(frozen=True)
class _Common:
    """What refinement changes in common."""

    burn_m_s: float
    dv99_ratio: float


def ranking_changes(
    study: Study,
    tables: RunTables,
    front: pa.Table,
    flown: Sequence[FlownProbe],
    *,
    lost: Sequence[NotRefined] = (),
) -> list[str]:
    """Sentences where the refined plan would stand elsewhere; none where it keeps its place."""
    if not flown:
        return []
    plan = flown[0].made.arc.plan
    tabulated, before, after, common = _values(study, tables, front, flown, lost)
    others = np.flatnonzero((front["probes"].to_numpy() > 0) & (front["plan"].to_numpy() != plan))
    own = front["plan"].to_pylist().index(plan)
    numbers = front["plan"].to_numpy()
    span = np.maximum(np.ptp(before[np.append(others, own)], axis=0), 1e-12)
    said = [
        f"in {axis.split('_')[0]} with {_listed(numbers[passed])}"
        for k, axis in enumerate(_AXES)
        if len(passed := others[_passed(before[:, k], after[:, k], own, span[k])[others]])
    ]
    out = [f"it changes places {', '.join(said)}"] if said else []
    if len(beaten := others[(_beats(after, own, span) & ~_beats(before, own, span))[others]]):
        out.append(f"it is matched or beaten by {_listed(numbers[beaten])}")
    old, new = (select_plan(_with(front, values), study)[0] for values in (before, after))
    if old != new and plan in (
        old,
        new,
    ):  # between two other plans it may go by arcs that they share with this one
        out.append(f"the rule {study.compare.rule} now selects plan {new}")
    if not out:
        return []
    return [f"plan {plan}: {_moved(tabulated[own], after[own])} when refined, other plans changed alike "
            f"(burns by {common.burn_m_s:+.2f} m/s, dV99 times {common.dv99_ratio:.3f}): {'; '.join(out)}"]  # fmt: skip


def _values(
    study: Study, tables: RunTables, front: pa.Table, flown: Sequence[FlownProbe], lost: Sequence[NotRefined]
) -> tuple[Floats, Floats, Floats, _Common]:
    """(plans, 3) as tabulated, with what changes in common, and as known after refinement."""
    used = np.unique(column(tables.plans, "opportunity"))
    rows = np.flatnonzero(np.isin(column(tables.opportunities, "opportunity"), used))
    some, judged = tables.opportunities.take(rows), tables.judged.take(rows)
    matrix = plans_matrix(tables.plans, some, front.num_rows, probes=study.probe.count)
    chances = chances_from_table(study, judged)
    tabulated = _evaluated(study, tables, some, chances, matrix)
    at = {int(number): k for k, number in enumerate(column(some, "opportunity"))}
    places = [at[one.made.arc.opportunity] for one in flown]
    common = _common(flown, chances.dv99_m_s[places])
    apart, table_m_s = at_places(some), column(some, "burn_m_s")
    burns = np.where(apart, table_m_s, np.maximum(table_m_s + common.burn_m_s, 0.0))
    dv99 = chances.dv99_m_s * np.where(apart, 1.0, common.dv99_ratio)
    before = _evaluated(study, tables, _burning(some, burns), chances._replace(dv99_m_s=dv99.copy()), matrix)
    quality, carried = chances.chance_quality.copy(), column(judged, "delivered_chance")
    for one, k in zip(flown, places, strict=True):
        burns[k] = _burn_m_s(one)
        if abs(_dv99_m_s(one) / max(dv99[k], 1e-9) - 1.0) > _DV99_SHARE:
            dv99[k] = _dv99_m_s(one)
        quality[k] *= _share(one, float(carried[k]), study.delivery.samples)
    refined = chances._replace(dv99_m_s=dv99, chance_quality=quality)
    gone = [k for one in lost if not apart[k := at[one.arc.opportunity]]]
    matrix = np.where(np.isin(matrix, gone), -1, matrix)
    after = _evaluated(study, tables, _burning(some, burns), refined, matrix)
    return tabulated, before, after, common


def _evaluated(study: Study, tables: RunTables, some: pa.Table, judged: Chances, matrix: Ints) -> Floats:
    return evaluate(matrix, plan_data(study, some, tables.targets, judged=judged))


def _burning(some: pa.Table, burns_m_s: Floats) -> pa.Table:
    return some.set_column(some.column_names.index("burn_m_s"), "burn_m_s", pa.array(burns_m_s))


def _burn_m_s(one: FlownProbe) -> float:
    return 1e3 * float(np.linalg.norm(one.made.burn_km_s))


def _dv99_m_s(one: FlownProbe) -> float:
    """Never more than is carried, as the table has it."""
    return min(one.linear.dv99_m_s, 1e3 * one.linear.spare_km_s)


def _common(flown: Sequence[FlownProbe], judged_dv99_m_s: Floats) -> _Common:
    changes = [_burn_m_s(one) - 1e3 * float(np.linalg.norm(one.made.arc.burn_km_s)) for one in flown]
    ratios = [_dv99_m_s(one) / held for one, held in zip(flown, judged_dv99_m_s, strict=True) if held > 0.0]
    return _Common(float(np.median(changes)), float(np.median(ratios)) if ratios else 1.0)


def _share(one: FlownProbe, carried: float, samples: int) -> float:
    """Refined over judged share of samples that the probe can fly; 1 where sampling explains the difference."""
    found, count = one.linear.carried, len(one.linear.spent_km_s)
    both = (found * count + carried * samples) / (count + samples)
    error = math.sqrt(max(both * (1.0 - both), 0.0) * (1.0 / count + 1.0 / samples))
    return (
        1.0 if abs(found - carried) <= 2.0 * error or carried <= 0.0 else min(found / carried, 1.0 / carried)
    )


def _passed(before: Floats, after: Floats, own: int, span: float) -> NDArray[np.bool_]:
    """(plans,) whether the order against one plan is another, by more than the resolution on one side."""
    was, now = before - before[own], after - after[own]
    return (was * now < 0.0) & (np.maximum(np.abs(was), np.abs(now)) > _RESOLUTION * span)


def _beats(values: Floats, own: int, span: Floats) -> NDArray[np.bool_]:
    """(plans,) whether one is nowhere worse than a plan, and somewhere better by more than the resolution."""
    gain = (values[own] - values) * _BETTER
    return (gain >= -1e-12).all(axis=1) & (gain > _RESOLUTION * span).any(axis=1)


def _with(front: pa.Table, values: Floats) -> pa.Table:
    for k, axis in enumerate(_AXES):
        front = front.set_column(front.column_names.index(axis), axis, pa.array(values[:, k].copy()))
    return front


def _moved(before: Floats, after: Floats) -> str:
    return (
        f"science {before[0]:.4f} -> {after[0]:.4f}, propellant {before[1]:.3f} -> {after[1]:.3f} kg, "
        f"risk {before[2]:.4f} -> {after[2]:.4f}"
    )


def _listed(numbers: NDArray[np.int64], most: int = 5) -> str:
    names = ", ".join(str(int(number)) for number in numbers[:most])
    return f"plan{'s' if len(numbers) > 1 else ''} {names}" + (
        f" and {len(numbers) - most} more" if len(numbers) > most else ""
    )
