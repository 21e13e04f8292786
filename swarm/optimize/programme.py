"""The choice of opportunities as a linear programme in whole numbers, and what its solver is trusted with.

Columns are opportunities; a row is a science row in one state of the shared-failure groups. `swarm.optimize.bound` adds
the cuts and draws the bound from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import highspy
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import csr_array, hstack, vstack

from swarm.optimize.pruning import row_chances_given_hardware, unpruned
from swarm.optimize.row_bound import Cut, RowTable, row_table, slope_of
from swarm.plan.data import PlanData
from swarm.plan.rules import PlanRules, fits, linear_limits

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
# The cuts of every row.
Cuts = tuple[tuple[Cut, ...], ...]

# States of the groups that are told apart; further groups count as never failing all together.
_GROUPS_MAX = 3
# HiGHS: presolve off (a third more time, for hardly less), one thread, a fixed seed, and stops that do not look at the
# clock.
_SOLVER: dict[str, Any] = {
    "presolve": "off", "threads": 1, "random_seed": 0, "mip_rel_gap": 2e-3, "mip_max_nodes": 100,
}  # fmt: skip
# Where a good plan is known it looks for none: that took half of its time, for the same bound.
_NO_SEARCH: dict[str, Any] = {"mip_heuristic_effort": 0.0} | dict.fromkeys(
    (f"mip_heuristic_run_{name}" for name in ("feasibility_jump", "root_reduced_cost", "rens", "rins")), False
)


@dataclass(frozen=True)
class Row:
    """One science row in one state of the groups: `worth` E[min(N, k)] adds to the science."""

    table: RowTable
    chances: Floats  # (c,) of each column
    worth: float


@dataclass(frozen=True)
class Selection:
    """The programme without a propellant limit and without cuts; c columns."""

    columns: Ints  # (c,) opportunities
    kilograms: Floats  # (c,)
    rows: tuple[Row, ...]
    limits: csr_array  # (l, c)
    at_most: Floats  # (l,)
    probes: int


@dataclass(frozen=True)
class Relaxed:
    """The relaxation at a level: its x, the value of every row, and what its multipliers prove."""

    x: Floats  # (c,)
    values: Floats  # (rows,)
    with_column: Floats  # (c,) no plan with this column has more science


def selection_of(data: PlanData, rules: PlanRules) -> Selection | None:
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
                rows.append(Row(table, p, float(chance * data.weight[r] / data.baseline[r])))
    limits, at_most = linear_limits(rules, columns, probes=data.probes)
    return Selection(columns, data.propellant_kg[columns], tuple(rows), limits, at_most, data.probes)


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


def part_of(selection: Selection, columns: Ints) -> Selection:
    """The programme with some of its columns; its tables, and so its cuts, stay those of the whole.

    Limits that cannot be reached any more, and repeated ones, are dropped.
    """
    rows = tuple(Row(row.table, row.chances[columns], row.worth) for row in selection.rows)
    limits = csr_array(selection.limits[:, columns])
    binding: dict[tuple[bytes, bytes, float], int] = {}
    for k, at_most in enumerate(selection.at_most):
        where = slice(limits.indptr[k], limits.indptr[k + 1])
        if limits.data[where].sum() > at_most:
            binding.setdefault(
                (limits.indices[where].tobytes(), limits.data[where].tobytes(), float(at_most)), k
            )
    kept = np.fromiter(binding.values(), dtype=np.int64)
    return Selection(
        columns=selection.columns[columns],
        kilograms=selection.kilograms[columns],
        rows=rows,
        limits=limits[kept],
        at_most=selection.at_most[kept],
        probes=selection.probes,
    )


# --- the solver ---------------------------------------------------------------------------------------------


def solved_relaxed(selection: Selection, kilograms: float, cuts: Cuts) -> Relaxed:
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
        return Relaxed(np.zeros(columns), np.zeros(len(selection.rows)), whole)
    y = np.maximum(-solved.ineqlin.marginals, 0.0)
    reduced = worth - matrix.T @ y
    upper = float(y @ at_most + np.maximum(reduced, 0.0) @ largest)
    return Relaxed(solved.x[:columns], solved.x[columns:], upper + np.minimum(reduced[:columns], 0.0))


def solved_whole(
    selection: Selection, kilograms: float, cuts: Cuts, starts: list[Ints], *, seek: bool
) -> tuple[Floats, float, Floats]:
    """Return x, the bound of the science (dual), and the value of every row at x.

    starts : columns of plans that keep every limit: the solver begins with the best, by which it knows what to leave
    seek   : whether it looks for better ones by its own ways
    """
    worth, matrix, at_most, largest = _programme(selection, kilograms, cuts)
    columns, begun = len(selection.columns), _best_start(selection, cuts, starts, worth, largest)
    options = _SOLVER if seek else _SOLVER | _NO_SEARCH
    solver = _solver_of(worth, matrix, at_most, largest, columns, options)
    if begun is not None:
        given = highspy.HighsSolution()
        given.col_value = begun.tolist()
        solver.setSolution(given)
    dual, x = _run(solver)
    bound = -dual if np.isfinite(dual) else float(worth @ largest)
    if not len(x):  # stopped before it met a plan
        x = np.zeros(len(worth)) if begun is None else begun
    return x[:columns], bound, x[columns:]


def _run(solver: highspy.Highs) -> tuple[float, Floats]:
    """The least that is proven, and the solution; an empty one where none was met."""
    solver.run()
    return float(solver.getInfo().mip_dual_bound), np.array(solver.getSolution().col_value)


class _Quiet(highspy.Highs):
    """The solver without its greeting, which is printed as soon as it can be interrupted."""

    def enableCallbacks(self) -> Any:
        self.silent()
        return super().enableCallbacks()


def _solver_of(
    worth: Floats, matrix: csr_array, at_most: Floats, largest: Floats, columns: int, options: dict[str, Any]
) -> highspy.Highs:
    """A solver of: the most worth, A z <= b, 0 <= z <= largest, the columns in whole numbers."""
    solver, by_column, n = _Quiet(), matrix.tocsc(), len(worth)
    for name, value in options.items():
        if solver.setOptionValue(name, value) != highspy.HighsStatus.kOk:
            raise RuntimeError(
                f"HiGHS {solver.version()} has no option {name}: install highspy 1.11 or newer"
            )
    asked = highspy.HighsLp()
    asked.num_col_, asked.num_row_ = n, len(at_most)
    asked.col_cost_, asked.col_lower_, asked.col_upper_ = -worth, np.zeros(n), largest
    asked.row_lower_, asked.row_upper_ = np.full(len(at_most), -highspy.kHighsInf), at_most
    asked.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    asked.a_matrix_.start_, asked.a_matrix_.index_ = by_column.indptr, by_column.indices
    asked.a_matrix_.value_ = by_column.data
    whole, real = highspy.HighsVarType.kInteger, highspy.HighsVarType.kContinuous
    asked.integrality_ = [whole] * columns + [real] * (n - columns)
    solver.passModel(asked)
    return solver


def _best_start(
    selection: Selection, cuts: Cuts, starts: list[Ints], worth: Floats, largest: Floats
) -> Floats | None:
    """The plan of the most worth, with the greatest values of the rows that the cuts let it have."""
    columns, best = len(selection.columns), None
    for start in starts:
        z = np.zeros(len(worth))
        z[start] = 1.0
        for r, (row, known) in enumerate(zip(selection.rows, cuts, strict=True)):
            held = [cut.alpha + float(slope_of(row.table, cut, row.chances) @ z[:columns]) for cut in known]
            z[columns + r] = min([*held, largest[columns + r]])
        if best is None or worth @ z > worth @ best:
            best = z
    return best


def _programme(
    selection: Selection, kilograms: float, cuts: Cuts
) -> tuple[Floats, csr_array, Floats, Floats]:
    """Worth of every variable (columns, then rows), limits A z <= b, and the largest z."""
    columns, rows = len(selection.columns), len(selection.rows)
    cut_part, alphas = _cut_rows(selection, cuts)
    limits = vstack([selection.limits, csr_array(selection.kilograms[None, :])])
    matrix = vstack([hstack([limits, csr_array((limits.shape[0], rows))]), cut_part], format="csr")
    worth = np.concatenate([np.zeros(columns), [row.worth for row in selection.rows]])
    largest = np.concatenate([np.ones(columns), [row.table.expected.max() for row in selection.rows]])
    return worth, matrix, np.concatenate([selection.at_most, [kilograms], alphas]), largest


def _cut_rows(selection: Selection, cuts: Cuts) -> tuple[csr_array, Floats]:
    """value_r - sum c(p) x <= alpha, for every cut."""
    parts, owners, alphas = [], [], []
    for r, (row, known) in enumerate(zip(selection.rows, cuts, strict=True)):
        for cut in known:
            parts.append(-slope_of(row.table, cut, row.chances))
            owners.append(r)
            alphas.append(cut.alpha)
    values = csr_array(
        (np.ones(len(owners)), (np.arange(len(owners)), owners)), shape=(len(owners), len(selection.rows))
    )
    return hstack([csr_array(np.array(parts)), values]), np.array(alphas)
