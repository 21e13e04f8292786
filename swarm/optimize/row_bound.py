"""How much a row can gain from given chances: linear functions that E[min(N, k)] never exceeds.

N counts successes of independent probes with chances p_1 ... p_n. For the others fixed, E[min(N, k)] is linear
in each p. So let c(p) be linear between the knots 0 = g_0 < g_1 < ... < g_m, g_m the largest chance there is:
E - sum c(p_i) is then linear between knots in every p_i, its maximum lies at knots, and

    E[min(N, k)] <= alpha + sum_i c(p_i),   alpha = max over multisets of at most n knots of E - sum c

holds for every plan of at most n probes. All multisets of a few knots can be gone through once; the tightest c
at a given point is the concave envelope of E over them there, a small linear programme. With one knot this is
the concave piecewise-linear bound through (i g_1, E[min(Bin(i, g_1), k)]) (Hoeffding 1956, Ann. Math. Statist.
27:713: for a fixed sum of chances the expectation is largest when they are extreme).

Probes that share a target share its class: their successes in a row are then positively dependent, which only
lowers E[min(N, k)], so the functions hold for them too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Most multisets that are gone through, and most knots: own choice, a table of some milliseconds.
_TABLE, _KNOTS = 20_000, 6
# Added to alpha, far above rounding.
_SAFETY = 1e-10


@dataclass(frozen=True)
class RowTable:
    """Every multiset of at most n knots, and E[min(N, k)] of each."""

    knots: Floats  # (m,) rising, all above zero; the last is the largest chance there is
    counts: Ints  # (s, m) how often each knot is taken
    expected: Floats  # (s,)


@dataclass(frozen=True)
class Cut:
    """E[min(N, k)] <= alpha + sum c(p_i), c linear between 0 and the knots."""

    alpha: float
    slopes: Floats  # (m,) c at the knots


def row_table(chances: Floats, most: int, cap: int) -> RowTable:
    """Return the table for probes whose chances are among `chances`, at most `most` of them, counted up to `cap`."""
    knots = _knots(chances, most)
    counts = _multisets(len(knots), most)
    return RowTable(knots, counts, _expected(knots, counts, min(cap, most)))


def tightest_cut(table: RowTable, weights: Floats) -> Cut:
    """Return the cut that is lowest where the knots are taken `weights` (m,) times, in all at most n times."""
    total = weights.sum()
    most = int(table.counts.sum(axis=1).max())
    weights = np.maximum(weights, 0.0) * min(1.0, most / total if total > 0.0 else 1.0)
    solved = linprog(
        -table.expected,
        A_eq=np.vstack([table.counts.T, np.ones(len(table.expected))]),
        b_eq=np.append(weights, 1.0),
        method="highs",
    )
    if solved.status != 0:
        return cut_from(table, np.zeros(len(table.knots)))
    return cut_from(table, -solved.eqlin.marginals[:-1])


def cut_from(table: RowTable, slopes: Floats) -> Cut:
    """Return the lowest valid cut with these slopes: the guarantee rests on this line, not on a solver."""
    slopes = np.maximum(slopes, 0.0)
    return Cut(float((table.expected - table.counts @ slopes).max()) + _SAFETY, slopes)


def slope_of(table: RowTable, cut: Cut, chances: Floats) -> Floats:
    """Return c(p) of every chance."""
    return np.interp(chances, np.append(0.0, table.knots), np.append(0.0, cut.slopes))


def knot_weights(table: RowTable, chances: Floats, taken: Floats) -> Floats:
    """Return how often each knot is taken, (m,): a chance between two knots is shared between them."""
    grid = np.append(0.0, table.knots)
    above = np.clip(np.searchsorted(grid, chances, side="left"), 1, len(grid) - 1)
    share = (chances - grid[above - 1]) / (grid[above] - grid[above - 1])
    weights = np.zeros(len(grid))
    np.add.at(weights, above, taken * share)
    np.add.at(weights, above - 1, taken * (1.0 - share))
    return weights[1:]


def _knots(chances: Floats, most: int) -> Floats:
    """The distinct chances if they are few, else some of them spread evenly over their ranks; the largest always."""
    distinct = np.unique(np.round(chances[chances > 0.0], 12))
    distinct[-1] = max(distinct[-1], chances.max())  # rounding must not lose the largest
    room = 1
    while room < _KNOTS and math.comb(most + room + 1, room + 1) <= _TABLE:
        room += 1
    if len(distinct) <= room:
        return distinct
    return np.unique(distinct[np.linspace(0, len(distinct) - 1, room + 1)[1:].round().astype(np.int64)])


def _multisets(kinds: int, most: int) -> Ints:
    """Every way to take at most `most` things of so many kinds, (s, kinds)."""
    sets = np.zeros((1, 0), dtype=np.int64)
    for _ in range(kinds):
        left = most - sets.sum(axis=1)
        owner = np.repeat(np.arange(len(sets)), left + 1)
        first = np.repeat(np.cumsum(left + 1) - (left + 1), left + 1)
        sets = np.column_stack([sets[owner], np.arange(len(owner)) - first])
    return sets


def _expected(knots: Floats, counts: Ints, cap: int) -> Floats:
    """E[min(N, cap)] of every multiset: cap - sum over j < cap of (cap - j) P(N = j)."""
    chance = np.zeros((len(counts), cap))  # P(N = j), j < cap
    chance[:, 0] = 1.0
    for k, p in enumerate(knots):
        once = _binomial(float(p), int(counts[:, k].max()), cap)[counts[:, k]]
        joined = np.zeros_like(chance)
        for j in range(cap):
            joined[:, j:] += once[:, j : j + 1] * chance[:, : cap - j]
        chance = joined
    return cap - chance @ (cap - np.arange(cap, dtype=np.float64))


def _binomial(p: float, most: int, cap: int) -> Floats:
    """P(Bin(n, p) = j) for n up to `most` and j below `cap`, (most + 1, cap)."""
    table = np.zeros((most + 1, cap))
    table[0, 0] = 1.0
    for n in range(1, most + 1):
        table[n] = (1.0 - p) * table[n - 1]
        table[n, 1:] += p * table[n - 1, :-1]
    return table
