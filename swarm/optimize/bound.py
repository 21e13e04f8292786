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
import warnings
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array, hstack, vstack

from swarm.optimize.epochs import Pool
from swarm.optimize.pruning import row_chances_given_hardware, unpruned
from swarm.optimize.row_bound import Cut, RowTable, cut_from, knot_weights, row_table, slope_of, tightest_cut
from swarm.plan.constraints import UNUSED
from swarm.plan.data import PlanData
from swarm.plan.objectives import evaluate
from swarm.plan.rules import PlanRules, decode, fits, linear_limits

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# States of the groups that are told apart; further groups count as never failing all together.
_GROUPS_MAX = 3
# Rounds of cuts in the relaxation and about the plan found, and the gain of science below which to stop.
_RELAXED_ROUNDS, _WHOLE_ROUNDS, _GAIN = 8, 4, 2e-4
# Levels whose relaxations give the cuts that all levels start from.
_FIRST_LEVELS = 8
# Columns among which a first plan of a level is sought.
_LIKELY = 150
# The last level is that of a plan with so small a share less than the most science known.
_HARDLY_LESS = 1e-3
# Added to the solver's bound: its constraints hold to 1e-6.
_TOLERANCE = 2e-6
# HiGHS: presolve off (with it on, the selection is not solved at all), one thread, a fixed seed, and stops that
# do not look at the clock.
_SOLVER: dict[str, Any] = {
    "presolve": False, "threads": 1, "random_seed": 0, "mip_rel_gap": 2e-3, "node_limit": 100,
}  # fmt: skip


@dataclass(frozen=True)
class ScienceBound:
    """Levels of propellant, rising; no plan within a level has more science than `science_upper`."""

    propellant_kg: Floats  # (l,)
    science_upper: Floats  # (l,)
    plans: Ints  # (p, probes) feasible plans met on the way, opportunities or -1


@dataclass(frozen=True)
class _Row:
    """One science row in one state of the groups: `worth` E[min(N, k)] adds to the science."""

    table: RowTable
    chances: Floats  # (c,) of each column
    worth: float


@dataclass(frozen=True)
class _Selection:
    """The programme without a propellant limit and without cuts; c columns."""

    columns: Ints  # (c,) opportunities
    kilograms: Floats  # (c,)
    rows: tuple[_Row, ...]
    limits: csr_array  # (l, c)
    at_most: Floats  # (l,)
    probes: int


@dataclass(frozen=True)
class _Level:
    """A task: a propellant limit, and the cuts to start from, by row."""

    kilograms: float
    cuts: tuple[tuple[Cut, ...], ...]
    known: float  # true science of a plan within the level


@dataclass(frozen=True)
class _Relaxed:
    """The relaxation at a level: its x, the value of every row, and what its multipliers prove."""

    x: Floats  # (c,)
    values: Floats  # (rows,)
    with_column: Floats  # (c,) no plan with this column has more science


@dataclass(frozen=True)
class _Solved:
    upper: float
    chosen: tuple[Ints, ...]  # columns of every plan met


def science_bound(data: PlanData, rules: PlanRules, *, known: Ints, levels: int, pool: Pool) -> ScienceBound:
    """Bound the science of every plan the rules allow, at `levels` propellant levels.

    `known` (p, probes) are feasible plans, the better the quicker.

    The levels are spread evenly from the cheapest useful opportunity to what the cheapest known plan takes that
    has hardly less science than any.

    Guarantee
    ---------
    science_upper is never below the science of a feasible plan within the level.
    Tested in tests/optimize/test_bound.py.
    """
    nothing = np.full((1, data.probes), UNUSED, dtype=np.int64)
    selection = _selection(data, rules)
    if selection is None:
        return ScienceBound(np.zeros(1), np.zeros(1), nothing)
    values = evaluate(known, data)
    free_kg = float(np.sort(selection.kilograms)[::-1][: data.probes].sum())
    top_kg = _enough_kg(values, free_kg=free_kg)
    levels_kg = np.linspace(float(selection.kilograms.min()), top_kg, levels)
    selection = _with_fitting_knots(selection, levels_kg)
    cuts = _simple_cuts(selection)
    for kilograms in _few(levels_kg):
        cuts, _ = _relaxed(selection, float(kilograms), cuts)
    best = best_within(levels_kg, values[:, 0], values[:, 1])
    tasks = [_Level(float(kg), cuts, float(science)) for kg, science in zip(levels_kg, best, strict=True)]
    solved = pool.map(_solve_level, tasks, shared=(selection, data))
    upper = np.array([one.upper for one in solved])
    upper = np.minimum(
        np.minimum.accumulate(upper[::-1])[::-1], 1.0
    )  # a level allows all that a lower one does
    plans = [_plan(selection, chosen, data) for one in solved for chosen in one.chosen]
    return ScienceBound(levels_kg, upper, decode(np.unique([nothing[0], *plans], axis=0), rules))


def _plan(selection: _Selection, chosen: Ints, data: PlanData) -> Ints:
    plan = np.full(data.probes, UNUSED, dtype=np.int64)
    plan[: len(chosen)] = selection.columns[chosen]
    return plan


# --- the programme ------------------------------------------------------------------------------------------


def _selection(data: PlanData, rules: PlanRules) -> _Selection | None:
    """Build the programme; None where no probe can add anything."""
    states = _states(data)
    if not states:  # every probe is sure to be lost
        return None
    marginal = row_chances_given_hardware(data)
    chances = [own[:, None] * marginal for _, own in states]
    useful = np.max(chances, axis=0).max(axis=1) > 0.0 if data.probes and len(marginal) else np.zeros(0, bool)
    if not useful.any():
        return None
    columns = np.flatnonzero(useful)
    if not rules.encounter_limits:
        columns = columns[unpruned(data, rules, np.hstack(chances), columns, depth=data.probes)]
    # Two probes may fly one opportunity where nothing keeps them apart: it is then two columns.
    twice = [o for o in columns if rules.per_target > 1 and fits(o, np.array([o]), rules)]
    columns = np.sort(np.concatenate([columns, np.array(twice, dtype=np.int64)]))
    rows = []
    for (chance, _), given in zip(states, chances, strict=True):
        for r in range(len(data.weight)):
            p = given[columns, r]
            if p.max() > 0.0:
                table = row_table(p, data.probes, int(min(data.baseline[r], data.probes)))
                rows.append(_Row(table, p, float(chance * data.weight[r] / data.baseline[r])))
    limits, at_most = linear_limits(rules, columns, probes=data.probes)
    return _Selection(columns, data.propellant_kg[columns], tuple(rows), limits, at_most, data.probes)


def _states(data: PlanData) -> list[tuple[float, Floats]]:
    """(chance, own hardware chance of each opportunity in it) of every state of the groups that spares any."""
    largest = np.argsort(-data.group_fraction, kind="stable")[:_GROUPS_MAX]
    failures, masks = [], []
    for g in np.sort(largest):
        members = (data.group_mask >> g) & 1 == 1
        failures.append(
            data.group_fraction[g] * (1.0 - data.hardware[members].max()) if members.any() else 0.0
        )
        masks.append(members)
    spared = np.ones(len(data.hardware))
    for failure, members in zip(failures, masks, strict=True):
        spared *= np.where(members, 1.0 - failure, 1.0)
    own = np.minimum(np.divide(data.hardware, spared, out=np.zeros_like(spared), where=spared > 0.0), 1.0)
    states = []
    for state in range(1 << len(failures)):
        chance, alive = 1.0, np.ones(len(own), dtype=bool)
        for g, (failure, members) in enumerate(zip(failures, masks, strict=True)):
            failed = (state >> g) & 1 == 1
            chance *= failure if failed else 1.0 - failure
            alive &= ~members if failed else True
        if chance > 0.0 and alive.any():
            states.append((float(chance), np.where(alive, own, 0.0)))
    return states


def _few(levels_kg: Floats) -> Floats:
    """Some of the levels, without the ends."""
    return np.quantile(levels_kg, np.arange(1, _FIRST_LEVELS + 1) / (_FIRST_LEVELS + 1))


def _with_fitting_knots(selection: _Selection, levels_kg: Floats) -> _Selection:
    """The programme with knots at the chances that the relaxations of some levels take."""
    cuts, taken = _simple_cuts(selection), np.zeros(len(selection.columns))
    for kilograms in _few(levels_kg):
        cuts, relaxed = _relaxed(selection, float(kilograms), cuts)
        taken += relaxed.x
    rows = []
    for row in selection.rows:
        table = row_table(row.chances, selection.probes, row.table.cap, taken=taken)
        rows.append(_Row(table, row.chances, row.worth))
    return replace(selection, rows=tuple(rows))


# --- cuts ---------------------------------------------------------------------------------------------------


def _simple_cuts(selection: _Selection) -> tuple[tuple[Cut, ...], ...]:
    """Of every row: the sum of the chances, and k."""
    cuts = []
    for row in selection.rows:
        slopes = [row.table.knots, np.zeros(len(row.table.knots))]
        cuts.append(tuple(cut_from(row.table, slope) for slope in slopes))
    return tuple(cuts)


def _relaxed(
    selection: _Selection, kilograms: float, cuts: tuple[tuple[Cut, ...], ...]
) -> tuple[tuple[tuple[Cut, ...], ...], _Relaxed]:
    """Add cuts until the relaxation at a level gains nothing more; also return it as it was last solved."""
    for _ in range(_RELAXED_ROUNDS):
        relaxed = _solved_relaxed(selection, kilograms, cuts)
        cuts, gain = _with_cuts(selection, relaxed.x, relaxed.values, cuts)
        if gain < _GAIN:
            break
    return cuts, relaxed


def _with_cuts(
    selection: _Selection, x: Floats, values: Floats, cuts: tuple[tuple[Cut, ...], ...]
) -> tuple[tuple[tuple[Cut, ...], ...], float]:
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


def _solve_level(level: _Level, shared: tuple[_Selection, PlanData]) -> _Solved:
    """One level: the relaxation, a plan among the likeliest columns, then all columns that may beat it."""
    selection, data = shared
    cuts, relaxed = _relaxed(selection, level.kilograms, level.cuts)
    likely = np.sort(np.argsort(-relaxed.with_column, kind="stable")[:_LIKELY])
    first, _, chosen = _whole_rounds(selection, level.kilograms, cuts, columns=likely)
    known = max([level.known, *_true_science(selection, first, data)])
    open_columns = np.flatnonzero(relaxed.with_column >= known)
    more, upper, _ = _whole_rounds(selection, level.kilograms, chosen, columns=open_columns)
    upper = max(upper * (1.0 + _TOLERANCE) + _TOLERANCE, known)
    return _Solved(upper, (*first, *more))


def _true_science(selection: _Selection, chosen: list[Ints], data: PlanData) -> list[float]:
    plans = np.array([_plan(selection, columns, data) for columns in chosen])
    return evaluate(plans, data)[:, 0].tolist() if len(plans) else []


def _whole_rounds(
    selection: _Selection, kilograms: float, cuts: tuple[tuple[Cut, ...], ...], *, columns: Ints
) -> tuple[list[Ints], float, tuple[tuple[Cut, ...], ...]]:
    """Solve with some of the columns in whole numbers, with cuts about the plan found until none lowers it."""
    chosen: list[Ints] = []
    if not len(columns):
        return chosen, 0.0, cuts
    part, upper = _part(selection, columns), math.inf
    for _ in range(_WHOLE_ROUNDS):
        x, bound, values = _solved_whole(part, kilograms, cuts)
        upper = min(upper, bound)
        chosen.append(columns[x > 0.5])
        cuts, gain = _with_cuts(part, np.round(x), values, cuts)
        if gain < _GAIN:
            break
    return chosen, upper, cuts


def _part(selection: _Selection, columns: Ints) -> _Selection:
    """The programme with some of its columns; its tables, and so its cuts, stay those of the whole.

    Limits that cannot be reached any more, and repeated ones, are dropped.
    """
    rows = tuple(_Row(row.table, row.chances[columns], row.worth) for row in selection.rows)
    limits = csr_array(selection.limits[:, columns])
    binding: dict[tuple[bytes, bytes, float], int] = {}
    for k, at_most in enumerate(selection.at_most):
        where = slice(limits.indptr[k], limits.indptr[k + 1])
        if limits.data[where].sum() > at_most:
            binding.setdefault(
                (limits.indices[where].tobytes(), limits.data[where].tobytes(), float(at_most)), k
            )
    kept = np.fromiter(binding.values(), dtype=np.int64)
    return _Selection(
        columns=selection.columns[columns],
        kilograms=selection.kilograms[columns],
        rows=rows,
        limits=limits[kept],
        at_most=selection.at_most[kept],
        probes=selection.probes,
    )


# --- the solver ---------------------------------------------------------------------------------------------


def _programme(
    selection: _Selection, kilograms: float, cuts: tuple[tuple[Cut, ...], ...]
) -> tuple[Floats, csr_array, Floats, Floats]:
    """Worth of every variable (columns, then rows), limits A z <= b, and the largest z."""
    columns, rows = len(selection.columns), len(selection.rows)
    cut_part, alphas = _cut_rows(selection, cuts)
    limits = vstack([selection.limits, csr_array(selection.kilograms[None, :])])
    matrix = vstack([hstack([limits, csr_array((limits.shape[0], rows))]), cut_part], format="csr")
    worth = np.concatenate([np.zeros(columns), [row.worth for row in selection.rows]])
    largest = np.concatenate([np.ones(columns), [row.table.expected.max() for row in selection.rows]])
    return worth, matrix, np.concatenate([selection.at_most, [kilograms], alphas]), largest


def _solved_relaxed(selection: _Selection, kilograms: float, cuts: tuple[tuple[Cut, ...], ...]) -> _Relaxed:
    """Solve the relaxation. Any multipliers >= 0 prove a bound; the solver's are good ones, and no more is
    trusted: worth z <= y b + sum over variables of max(0, worth - y A) largest, less what a column lacks."""
    worth, matrix, at_most, largest = _programme(selection, kilograms, cuts)
    columns = len(selection.columns)
    solved = linprog(
        -worth, A_ub=matrix, b_ub=at_most, bounds=np.column_stack([np.zeros(len(largest)), largest]),
        method="highs-ds", options={"presolve": False},
    )  # fmt: skip
    if solved.x is None:
        whole = np.full(columns, worth @ largest)
        return _Relaxed(np.zeros(columns), np.zeros(len(selection.rows)), whole)
    y = np.maximum(-solved.ineqlin.marginals, 0.0)
    reduced = worth - matrix.T @ y
    upper = float(y @ at_most + np.maximum(reduced, 0.0) @ largest)
    return _Relaxed(solved.x[:columns], solved.x[columns:], upper + np.minimum(reduced[:columns], 0.0))


def _solved_whole(
    selection: _Selection,
    kilograms: float,
    cuts: tuple[tuple[Cut, ...], ...],
) -> tuple[Floats, float, Floats]:
    """Return x, the bound of the science (dual), and the value of every row at x."""
    worth, matrix, at_most, largest = _programme(selection, kilograms, cuts)
    columns = len(selection.columns)
    with warnings.catch_warnings():
        # scipy passes on what it does not know itself, and says so each time
        warnings.filterwarnings("ignore", message="Unrecognized options", category=RuntimeWarning)
        solved = milp(
            -worth,
            integrality=np.concatenate([np.ones(columns), np.zeros(len(selection.rows))]),
            bounds=Bounds(0.0, largest),
            constraints=LinearConstraint(matrix, -np.inf, at_most),
            options=dict(_SOLVER),
        )
    bound = float(worth @ largest) if solved.mip_dual_bound is None else -float(solved.mip_dual_bound)
    if solved.x is None:  # stopped before it met a plan
        return np.zeros(columns), bound, np.zeros(len(selection.rows))
    return solved.x[:columns], bound, solved.x[columns:]


def _cut_rows(selection: _Selection, cuts: tuple[tuple[Cut, ...], ...]) -> tuple[csr_array, Floats]:
    """value_r - sum c(p) x <= alpha, for every cut."""
    parts, owners, alphas = [], [], []
    for r, (row, known) in enumerate(zip(selection.rows, cuts, strict=True)):
        for cut in known:
            parts.append(csr_array(-slope_of(row.table, cut, row.chances)[None, :]))
            owners.append(r)
            alphas.append(cut.alpha)
    values = csr_array(
        (np.ones(len(owners)), (np.arange(len(owners)), owners)), shape=(len(owners), len(selection.rows))
    )
    return hstack([vstack(parts), values]), np.array(alphas)


# --- beside the plans found ---------------------------------------------------------------------------------


def best_within(levels_kg: Floats, science: Floats, propellant_kg: Floats) -> Floats:
    """Return the most science of the plans within each level; 0 where there is none."""
    within = propellant_kg[None, :] <= levels_kg[:, None] * (1.0 + 1e-12)
    return np.where(within, science[None, :], 0.0).max(axis=1, initial=0.0)
