"""A proven upper bound of the science of any plan, per propellant level, for the table as it stands.

The selection of opportunities is a linear programme in whole numbers: at most so many probes, kilograms and
visits to a target, releases far enough apart (maximal cliques of the interval conflict graph), and whatever
else of the rules is linear. What is not (recontact) is left out, so nothing is tightened. The science of a
row in a state of the shared-failure groups is bounded by linear functions (`swarm.optimize.row_bound`), added
where they are needed. Multipliers of the relaxation prove of most opportunities that no plan with them reaches
a plan that is known; the rest goes to branch and bound. What is reported is the solver's dual bound (or the
known plan, where that is higher), never the plan the solver found.

Shared failures strike with a chance that hangs on the best probe of the plan: here each group fails with the
smallest chance any usable opportunity allows. With every probe's own chance kept, rarer shared failures never
lower E[min(N, k)] (it is concave along the chances of a group), so this too errs upwards only.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from swarm.optimize.programme import (
    Cuts,
    Relaxed,
    Row,
    Selection,
    part_of,
    selection_of,
    solved_relaxed,
    solved_whole,
)
from swarm.optimize.row_bound import cut_from, knot_weights, row_table, slope_of, tightest_cut
from swarm.plan.constraints import UNUSED
from swarm.plan.data import PlanData
from swarm.plan.objectives import evaluate
from swarm.plan.rules import PlanRules, decode

if TYPE_CHECKING:
    from swarm.run.workers import Pool

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Rounds of cuts in the relaxation and about the plan found, and the gain of science below which to stop.
_RELAXED_ROUNDS, _WHOLE_ROUNDS, _GAIN = 8, 4, 2e-4
# Levels whose relaxations give the cuts that all levels start from.
_FIRST_LEVELS = 8
# Columns among which a first plan of a level is sought where none is known with so much of the relaxation's science.
_LIKELY, _NEAR = 150, 0.95
# The last level is that of a plan with so small a share less than the most science known.
_HARDLY_LESS = 1e-3
# Added to the solver's bound: its constraints hold to 1e-6.
_TOLERANCE = 2e-6


@dataclass(frozen=True)
class ScienceBound:
    """Levels of propellant, rising; no plan within a level has more science than `science_upper`."""

    propellant_kg: Floats  # (l,)
    science_upper: Floats  # (l,)
    plans: Ints  # (p, probes) feasible plans met on the way, opportunities or -1


@dataclass(frozen=True)
class _Level:
    """A task: a propellant limit of one of the tables, and the cuts to start from, by row."""

    table: int
    kilograms: float
    cuts: Cuts
    known: float  # true science of a plan within the level
    plan: Ints  # its opportunities


@dataclass(frozen=True)
class _Solved:
    upper: float
    chosen: tuple[Ints, ...]  # columns of every plan met


@dataclass(frozen=True)
class ToBound:
    """A table to bound the science of.

    known  : (p, probes) feasible plans, the better the quicker
    levels : how many propellant levels
    """

    data: PlanData
    rules: PlanRules
    known: Ints
    levels: int


@dataclass(frozen=True)
class _Begun:
    """A programme with the cuts and the known plans that its levels start from."""

    selection: Selection
    levels_kg: Floats
    cuts: Cuts
    best: Floats  # (l,) most science known within each level
    plans: Ints  # (l, probes) that have it


def science_bounds(asked: Sequence[ToBound], *, pool: Pool) -> list[ScienceBound]:
    """Bound the science of every plan the rules allow, of each table at its propellant levels.

    The levels are spread evenly from the cheapest useful opportunity to what the cheapest known plan takes that
    has hardly less science than any. The first cuts of a table are found one level after another, each from those
    before; so tables are begun side by side, and then the levels of all of them are solved side by side.

    Guarantee
    ---------
    science_upper is never below the science of a feasible plan within the level.
    Tested in tests/optimize/test_bound.py.
    """
    # one alone is begun here, where compiled code is kept
    begun = [_begin(one, None) for one in asked] if len(asked) == 1 else pool.map(_begin, list(asked))
    tasks = [
        _Level(k, float(kg), one.cuts, float(science), plan[plan != UNUSED])
        for k, one in enumerate(begun)
        if one is not None
        for kg, science, plan in zip(one.levels_kg, one.best, one.plans, strict=True)
    ]
    shared = [
        None if one is None else (one.selection, table.data) for one, table in zip(begun, asked, strict=True)
    ]
    solved = pool.map(_solve_level, tasks, shared=shared) if tasks else []
    of_table = [
        [answer for task, answer in zip(tasks, solved, strict=True) if task.table == k]
        for k in range(len(asked))
    ]
    return [_bound_of(*each) for each in zip(asked, begun, of_table, strict=True)]


def science_bound(data: PlanData, rules: PlanRules, *, known: Ints, levels: int, pool: Pool) -> ScienceBound:
    """`science_bounds` of one table."""
    return science_bounds([ToBound(data, rules, known, levels)], pool=pool)[0]


def _begin(asked: ToBound, shared: None) -> _Begun | None:
    """A task: the programme of a table, with knots and cuts from the relaxations of some levels."""
    data, selection = asked.data, selection_of(asked.data, asked.rules)
    if selection is None:
        return None
    values = evaluate(asked.known, data)
    free_kg = float(np.sort(selection.kilograms)[::-1][: data.probes].sum())
    top_kg = _enough_kg(values, free_kg=free_kg)
    levels_kg = np.linspace(float(selection.kilograms.min()), top_kg, asked.levels)
    selection = _with_fitting_knots(selection, levels_kg)
    cuts = _simple_cuts(selection)
    for kilograms in _few(levels_kg):
        cuts, _ = _relaxed(selection, float(kilograms), cuts)
    best, plans = _known_within(levels_kg, asked.known, values)
    return _Begun(selection, levels_kg, cuts, best, plans)


def _known_within(levels_kg: Floats, known: Ints, values: Floats) -> tuple[Floats, Ints]:
    """(l,) most science known within each level, and (l, probes) the plans that have it; unused where none does."""
    best = best_within(levels_kg, values[:, 0], values[:, 1])
    nothing = np.full((1, known.shape[1]), UNUSED, dtype=np.int64)
    plans, science = np.concatenate([nothing, known]), np.concatenate([[0.0], values[:, 0]])
    kilograms = np.concatenate([[0.0], values[:, 1]])
    which = [
        int(np.flatnonzero((science >= most) & (kilograms <= kg * (1.0 + 1e-12)))[0])
        for kg, most in zip(levels_kg, best, strict=True)
    ]
    return best, plans[which]


def _bound_of(asked: ToBound, begun: _Begun | None, solved: list[_Solved]) -> ScienceBound:
    nothing = np.full((1, asked.data.probes), UNUSED, dtype=np.int64)
    if begun is None:
        return ScienceBound(np.zeros(1), np.zeros(1), nothing)
    upper = np.array([one.upper for one in solved])
    # a level allows all that a lower one does
    upper = np.minimum(np.minimum.accumulate(upper[::-1])[::-1], 1.0)
    plans = [_plan(begun.selection, chosen, asked.data) for one in solved for chosen in one.chosen]
    return ScienceBound(begun.levels_kg, upper, decode(np.unique([nothing[0], *plans], axis=0), asked.rules))


def _plan(selection: Selection, chosen: Ints, data: PlanData) -> Ints:
    plan = np.full(data.probes, UNUSED, dtype=np.int64)
    plan[: len(chosen)] = selection.columns[chosen]
    return plan


def _few(levels_kg: Floats) -> Floats:
    """Some of the levels, without the ends."""
    return np.quantile(levels_kg, np.arange(1, _FIRST_LEVELS + 1) / (_FIRST_LEVELS + 1))


def _with_fitting_knots(selection: Selection, levels_kg: Floats) -> Selection:
    """The programme with knots at the chances that the relaxations of some levels take."""
    cuts, taken = _simple_cuts(selection), np.zeros(len(selection.columns))
    for kilograms in _few(levels_kg):
        cuts, relaxed = _relaxed(selection, float(kilograms), cuts)
        taken += relaxed.x
    rows = []
    for row in selection.rows:
        table = row_table(row.chances, selection.probes, row.table.cap, taken=taken)
        rows.append(Row(table, row.chances, row.worth))
    return replace(selection, rows=tuple(rows))


# --- cuts ---------------------------------------------------------------------------------------------------


def _simple_cuts(selection: Selection) -> Cuts:
    """Of every row: the sum of the chances, and k."""
    cuts = []
    for row in selection.rows:
        slopes = [row.table.knots, np.zeros(len(row.table.knots))]
        cuts.append(tuple(cut_from(row.table, slope) for slope in slopes))
    return tuple(cuts)


def _relaxed(selection: Selection, kilograms: float, cuts: Cuts) -> tuple[Cuts, Relaxed]:
    """Add cuts until the relaxation at a level gains nothing more; also return it as it was last solved."""
    for _ in range(_RELAXED_ROUNDS):
        relaxed = solved_relaxed(selection, kilograms, cuts)
        cuts, gain = _with_cuts(selection, relaxed.x, relaxed.values, cuts)
        if gain < _GAIN:
            break
    return cuts, relaxed


def _with_cuts(selection: Selection, x: Floats, values: Floats, cuts: Cuts) -> tuple[Cuts, float]:
    """Add to each row the tightest cut at x where it lowers the row; also by how much science falls there."""
    gain, longer = 0.0, []
    for row, value, known in zip(selection.rows, values, cuts, strict=True):
        cut = tightest_cut(row.table, knot_weights(row.table, row.chances, x))
        at_x = cut.alpha + float(slope_of(row.table, cut, row.chances) @ x)
        if value - at_x > 1e-7:
            gain += row.worth * (value - at_x)
            known = (*known, cut)
        longer.append(known)
    return tuple(longer), gain


def _enough_kg(known: Floats, *, free_kg: float) -> float:
    """Propellant of the cheapest known plan with hardly less science than any: where levels end."""
    science, kilograms = known[:, 0], known[:, 1]
    rich = (science > 0.0) & (science >= (1.0 - _HARDLY_LESS) * science.max())
    return float(kilograms[rich].min()) if rich.any() else free_kg


def _solve_level(level: _Level, shared: list[tuple[Selection, PlanData]]) -> _Solved:
    """One level: the relaxation, a plan among the likeliest columns where none is known that is near it, then all
    columns that may beat what is known."""
    selection, data = shared[level.table]
    cuts, relaxed = _relaxed(selection, level.kilograms, level.cuts)
    first, known, starts = list[Ints](), level.known, [_columns_of(selection, level.plan)]
    seek = known < _NEAR * float(relaxed.with_column.max())
    if seek:
        likely = np.sort(np.argsort(-relaxed.with_column, kind="stable")[:_LIKELY])
        first, _, cuts = _whole_rounds(
            selection, level.kilograms, cuts, columns=likely, starts=starts, seek=True
        )
        known = max([known, *_true_science(selection, first, data)])
        starts += first
    open_columns = np.flatnonzero(relaxed.with_column >= known)
    more, upper, _ = _whole_rounds(
        selection, level.kilograms, cuts, columns=open_columns, starts=starts, seek=seek
    )
    upper = max(upper * (1.0 + _TOLERANCE) + _TOLERANCE, known)
    return _Solved(upper, (*first, *more))


def _columns_of(selection: Selection, plan: Ints) -> Ints:
    """The columns of a plan's opportunities, one each; those that the programme leaves out are left out."""
    columns, taken = [], np.zeros(len(selection.columns), dtype=bool)
    for opportunity in plan:
        own = np.flatnonzero((selection.columns == opportunity) & ~taken)
        if len(own):
            taken[own[0]] = True
            columns.append(int(own[0]))
    return np.array(columns, dtype=np.int64)


def _true_science(selection: Selection, chosen: list[Ints], data: PlanData) -> list[float]:
    plans = np.array([_plan(selection, columns, data) for columns in chosen])
    return evaluate(plans, data)[:, 0].tolist() if len(plans) else []


def _whole_rounds(
    selection: Selection, kilograms: float, cuts: Cuts, *, columns: Ints, starts: list[Ints], seek: bool
) -> tuple[list[Ints], float, Cuts]:
    """Solve with some of the columns in whole numbers, with cuts about the plan found until none lowers it.

    starts : columns of plans to begin with; seek: whether the solver looks for others
    """
    chosen: list[Ints] = []
    if not len(columns):
        return chosen, 0.0, cuts
    part, upper = part_of(selection, columns), math.inf
    for _ in range(_WHOLE_ROUNDS):
        begun = [np.flatnonzero(np.isin(columns, plan)) for plan in (*starts, *chosen)]
        x, bound, values = solved_whole(part, kilograms, cuts, begun, seek=seek)
        upper = min(upper, bound)
        chosen.append(columns[x > 0.5])
        cuts, gain = _with_cuts(part, np.round(x), values, cuts)
        if gain < _GAIN:
            break
    return chosen, upper, cuts


# --- beside the plans found ---------------------------------------------------------------------------------


def best_within(levels_kg: Floats, science: Floats, propellant_kg: Floats) -> Floats:
    """Return the most science of the plans within each level; 0 where there is none."""
    within = propellant_kg[None, :] <= levels_kg[:, None] * (1.0 + 1e-12)
    return np.where(within, science[None, :], 0.0).max(axis=1, initial=0.0)
