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
# Multisets a cut is sought on at first, and how often overlooked ones may join.
_NEAR, _JOINING_ROUNDS = 200, 6
# Knots stand about one part in so many of the largest chance apart.
_APART = 64
# Added to alpha, far above rounding.
_SAFETY = 1e-10


@dataclass(frozen=True)
class RowTable:
    """Every multiset of at most n knots, and E[min(N, k)] of each."""

    knots: Floats  # (m,) rising, all above zero; the last is the largest chance there is
    counts: Ints  # (s, m) how often each knot is taken
    expected: Floats  # (s,)
    cap: int  # k


@dataclass(frozen=True)
class Cut:
    """E[min(N, k)] <= alpha + sum c(p_i), c linear between 0 and the knots."""

    alpha: float
    slopes: Floats  # (m,) c at the knots


def row_table(chances: Floats, most: int, cap: int, *, taken: Floats | None = None) -> RowTable:
    """Return the table for probes whose chances are among `chances`, at most `most` of them, counted up to `cap`.

    taken : (n,) how often each chance is wanted, for knots where they matter; evenly spread unless given
    """
    knots = _knots(chances, most, np.ones(len(chances)) if taken is None else taken)
    counts = _multisets(len(knots), most)
    cap = min(cap, most)
    return RowTable(knots, counts, _expected(knots, counts, cap), cap)


def tightest_cut(table: RowTable, weights: Floats) -> Cut:
    """Return a cut that is as low as can be where the knots are taken `weights` (m,) times, at most n in all.

    The programme over all multisets is solved on a few of them, near the weights at first; those that its
    answer overlooks join until none does.
    """
    total = weights.sum()
    most = int(table.counts.sum(axis=1).max())
    weights = np.maximum(weights, 0.0) * min(1.0, most / total if total > 0.0 else 1.0)
    apart = np.abs(table.counts - weights).sum(axis=1)
    ends = np.flatnonzero((table.counts > 0).sum(axis=1) <= 1)  # so that the weights lie among them
    few = np.union1d(np.argsort(apart, kind="stable")[:_NEAR], ends)
    cut = cut_from(table, np.zeros(len(table.knots)))
    for _ in range(_JOINING_ROUNDS):
        solved = linprog(
            -table.expected[few],
            A_ub=table.counts[few].T,  # more never lowers E: slopes come out >= 0
            b_ub=weights,
            A_eq=np.ones((1, len(few))),
            b_eq=[1.0],
            method="highs",
        )
        if solved.status != 0:
            break
        slopes = np.maximum(-solved.ineqlin.marginals, 0.0)
        new = cut_from(table, slopes)
        if new.alpha + slopes @ weights < cut.alpha + cut.slopes @ weights:
            cut = new
        over = table.expected - table.counts @ slopes
        overlooked = np.flatnonzero(over > over[few].max() + 1e-9)
        if not len(overlooked):
            break
        few = np.union1d(few, overlooked[np.argsort(-over[overlooked], kind="stable")[:_NEAR]])
    return cut


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


def _knots(chances: Floats, most: int, taken: Floats) -> Floats:
    """The chances that are taken, if they are few, else some of them; the largest of all always."""
    room = 1
    while room < _KNOTS and math.comb(most + room + 1, room + 1) <= _TABLE:
        room += 1
    largest = float(chances.max())
    used = (taken > 0.0) & (chances > 0.0) & (chances < largest * (1.0 - 0.5 / _APART))
    # chances that are nearly alike share a knot, at the largest of them
    alike, place = np.unique(np.round(chances[used] * (_APART / largest)), return_inverse=True)
    distinct = np.zeros(len(alike))
    np.maximum.at(distinct, place.reshape(-1), chances[used])
    if len(distinct) > room - 1:
        # as much of what is taken between any two knots
        share = np.cumsum(np.bincount(place.reshape(-1), weights=taken[used])) / taken[used].sum()
        at = (np.arange(room - 1) + 0.5) / max(room - 1, 1)
        distinct = distinct[np.minimum(np.searchsorted(share, at), len(distinct) - 1)]
    return np.unique(np.append(distinct, largest))


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
