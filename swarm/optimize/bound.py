"""A proven upper bound of the science of any plan, per propellant level, for the table as it stands.

The selection of opportunities is a linear programme in whole numbers: at most so many probes, kilograms and
visits to a target, releases far enough apart (maximal cliques of the interval conflict graph), and whatever
else of the rules is linear. What is not (recontact) is left out, so nothing is tightened. The science of a
row in a state of the shared-failure groups is bounded by linear functions (`swarm.optimize.row_bound`), added
where they are needed. What is reported is the solver's dual bound, never the plan it found.

Shared failures strike with a chance that hangs on the best probe of the plan: here each group fails with the
smallest chance any usable opportunity allows. With every probe's own chance kept, rarer shared failures never
lower E[min(N, k)] (it is concave along the chances of a group), so this too errs upwards only.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, hstack, vstack

from swarm.constraints import UNUSED, PlanRules, decode, linear_limits
from swarm.objectives import evaluate
from swarm.optimize.epochs import Pool
from swarm.optimize.row_bound import Cut, RowTable, cut_from, knot_weights, row_table, slope_of, tightest_cut
from swarm.plan_data import PlanData

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# States of the groups that are told apart; further groups count as never failing all together.
_GROUPS_MAX = 3
# Rounds of cuts in the relaxation and about the plan found, and the gain of science below which to stop.
_RELAXED_ROUNDS, _WHOLE_ROUNDS, _GAIN = 8, 4, 2e-4
# Levels whose relaxations give the cuts that all levels start from.
_FIRST_LEVELS = 5
# Science that a full load of propellant must bring to be worth a level of its own.
_HARDLY_MORE = 2e-3
# Added to the solver's bound: its constraints hold to 1e-6.
_TOLERANCE = 2e-6
# HiGHS: presolve off (with it on, the selection is not solved at all), one thread, a fixed seed, and stops that
# do not look at the clock.
_SOLVER: dict[str, Any] = {
    "presolve": False, "threads": 1, "random_seed": 0, "mip_rel_gap": 5e-4, "node_limit": 400,
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


@dataclass(frozen=True)
class _Solved:
    upper: float
    chosen: tuple[Ints, ...]  # columns of every plan met


def science_bound(data: PlanData, rules: PlanRules, *, levels: int, pool: Pool) -> ScienceBound:
    """Bound the science of every plan the rules allow, at `levels` propellant levels.

    The levels are spread evenly from the cheapest useful opportunity to what a plan takes that could hardly
    have more science at any price.

    Guarantee
    ---------
    science_upper is never below the science of a feasible plan within the level.
    Tested in tests/optimize/test_bound.py.
    """
    nothing = np.full((1, data.probes), UNUSED, dtype=np.int64)
    selection = _selection(data, rules)
    if selection is None:
        return ScienceBound(np.zeros(1), np.zeros(1), nothing)
    cuts = _simple_cuts(selection)
    free_kg = float(np.sort(selection.kilograms)[::-1][: data.probes].sum())
    cuts = _relaxed_cuts(selection, free_kg, cuts)
    richest, _, _ = _solved(selection, free_kg, cuts, whole=True, price_per_kg=_HARDLY_MORE / free_kg)
    top_kg = float(richest @ selection.kilograms)
    levels_kg = np.linspace(float(selection.kilograms.min()), top_kg, levels)
    for kilograms in np.linspace(levels_kg[0], top_kg, _FIRST_LEVELS + 1)[1:-1]:
        cuts = _relaxed_cuts(selection, float(kilograms), cuts)
    solved = pool.map(_solve_level, [_Level(float(kg), cuts) for kg in levels_kg], shared=selection)
    upper = np.array([one.upper for one in solved])
    upper = np.minimum(np.minimum.accumulate(upper[::-1])[::-1], 1.0)  # a level allows all that a lower one does
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
    marginal = _row_chances_given_hardware(data)
    chances = [own[:, None] * marginal for _, own in states]
    useful = np.max(chances, axis=0).max(axis=1) > 0.0 if data.probes and len(marginal) else np.zeros(0, bool)
    if not useful.any():
        return None
    columns = np.flatnonzero(useful)
    if not rules.encounter_limits:
        terms = np.hstack([np.hstack(chances), data.hardware[:, None] * marginal])[columns]
        kept = _unpruned(terms, data.propellant_kg[columns], rules.release_jd_tdb[columns],
                         data.target[columns], data.probes)  # fmt: skip
        columns = columns[kept]
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
        failures.append(data.group_fraction[g] * (1.0 - data.hardware[members].max()) if members.any() else 0.0)
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


def _row_chances_given_hardware(data: PlanData) -> Floats:
    """P(row satisfied | hardware works) of each opportunity, (n, r)."""
    owner = np.repeat(np.arange(len(data.target)), np.diff(data.merged_start))
    chances = np.zeros((len(data.target), len(data.weight)))
    np.add.at(chances, owner, data.merged_chance[:, None] * data.row_sets[data.merged_set])
    return chances


@njit(cache=True)
def _unpruned(terms: Floats, kilograms: Floats, release_jd_tdb: Floats, target: Ints, probes: int) -> NDArray:
    """Mask the opportunities that the best plan may need.

    In its release slot an opportunity is useless if one of the same target, or ones of as many targets as
    there are probes, are at least as good in every term and no dearer: the other probes of a plan can block
    one target each, and the same release keeps every distance between releases.
    """
    order = np.argsort(release_jd_tdb, kind="mergesort")
    kept = np.ones(kilograms.size, dtype=np.bool_)
    seen = np.empty(probes, dtype=np.int64)
    first = 0
    while first < order.size:
        last = first
        while last < order.size and release_jd_tdb[order[last]] == release_jd_tdb[order[first]]:
            last += 1
        for i in range(first, last):
            a, others = order[i], 0
            for j in range(first, last):
                b = order[j]
                if b == a or not _at_least_as_good(b, a, terms, kilograms):
                    continue
                if target[b] == target[a]:
                    others = probes
                else:
                    known = False
                    for k in range(others):
                        known |= seen[k] == target[b]
                    if not known:
                        seen[others] = target[b]
                        others += 1
                if others >= probes:
                    kept[a] = False
                    break
        first = last
    return kept


@njit(cache=True)
def _at_least_as_good(b: int, a: int, terms: Floats, kilograms: Floats) -> bool:
    """Whether b matches or beats a in everything; of two equals only the earlier beats the other."""
    if kilograms[b] > kilograms[a]:
        return False
    equal = kilograms[b] == kilograms[a]
    for t in range(terms.shape[1]):
        if terms[b, t] < terms[a, t]:
            return False
        equal &= terms[b, t] == terms[a, t]
    return b < a if equal else True


# --- cuts ---------------------------------------------------------------------------------------------------


def _simple_cuts(selection: _Selection) -> tuple[tuple[Cut, ...], ...]:
    """Of every row: the sum of the chances, and k."""
    cuts = []
    for row in selection.rows:
        slopes = [row.table.knots, np.zeros(len(row.table.knots))]
        cuts.append(tuple(cut_from(row.table, slope) for slope in slopes))
    return tuple(cuts)


def _relaxed_cuts(
    selection: _Selection, kilograms: float, cuts: tuple[tuple[Cut, ...], ...]
) -> tuple[tuple[Cut, ...], ...]:
    """Add cuts until the relaxation at a level gains nothing more."""
    for _ in range(_RELAXED_ROUNDS):
        x, _, values = _solved(selection, kilograms, cuts, whole=False)
        cuts, gain = _with_cuts(selection, x, values, cuts)
        if gain < _GAIN:
            break
    return cuts


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


def _solve_level(level: _Level, selection: _Selection) -> _Solved:
    """One level: cuts in the relaxation, then whole numbers, then cuts about the plan found, and again."""
    cuts = _relaxed_cuts(selection, level.kilograms, level.cuts)
    upper, chosen = math.inf, []
    for _ in range(_WHOLE_ROUNDS):
        x, bound, values = _solved(selection, level.kilograms, cuts, whole=True)
        upper = min(upper, bound)
        chosen.append(np.flatnonzero(x > 0.5))
        cuts, gain = _with_cuts(selection, np.round(x), values, cuts)
        if gain < _GAIN:
            break
    return _Solved(upper * (1.0 + _TOLERANCE) + _TOLERANCE * 1e-3, tuple(chosen))


def _solved(
    selection: _Selection,
    kilograms: float,
    cuts: tuple[tuple[Cut, ...], ...],
    *,
    whole: bool,
    price_per_kg: float = 0.0,
) -> tuple[Floats, float, Floats]:
    """Return x, the bound of the science less its price (dual), and the value of every row at x."""
    columns, rows = len(selection.columns), len(selection.rows)
    worth = np.array([row.worth for row in selection.rows])
    cut_part, alphas = _cut_rows(selection, cuts)
    kg_row = csr_array(selection.kilograms[None, :])
    limits = vstack([selection.limits, kg_row])
    matrix = vstack([hstack([limits, csr_array((limits.shape[0], rows))]), cut_part], format="csr")
    at_most = np.concatenate([selection.at_most, [kilograms], alphas])
    caps = np.concatenate([np.ones(columns), [row.table.expected.max() for row in selection.rows]])
    whole_numbers = np.concatenate([np.full(columns, int(whole)), np.zeros(rows)])
    with warnings.catch_warnings():
        # scipy passes on what it does not know itself, and says so each time
        warnings.filterwarnings("ignore", message="Unrecognized options", category=RuntimeWarning)
        solved = milp(
            np.concatenate([price_per_kg * selection.kilograms, -worth]),
            integrality=whole_numbers,
            bounds=Bounds(0.0, caps),
            constraints=LinearConstraint(matrix, -np.inf, at_most),
            options=dict(_SOLVER),
        )
    if solved.x is None:
        # stopped before any plan was met: no plan is met by none of the probes
        bound = solved.mip_dual_bound if whole and solved.mip_dual_bound is not None else -worth @ caps[columns:]
        return np.zeros(columns), -float(bound), np.zeros(rows)
    bound = -float(solved.mip_dual_bound if whole else solved.fun)
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


def science_of(plans: Ints, data: PlanData) -> Floats:
    """Return the true science of plans, (n,)."""
    return evaluate(plans, data)[:, 0]
