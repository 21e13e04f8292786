"""How much a row can gain from given chances: linear functions that E[min(N, k)] never exceeds.

N counts successes of independent probes with chances p_1 ... p_n. For the others fixed, E[min(N, k)] is linear
in each p. So let c(p) be linear between the knots 0 = g_0 < g_1 < ... < g_m, g_m the largest chance there is:
E - sum c(p_i) is then linear between knots in every p_i, its maximum lies at knots, and

    E[min(N, k)] <= alpha + sum_i c(p_i),   alpha = max over multisets of at most n knots of E - sum c

holds for every plan of at most n probes. All multisets of a few knots can be gone through once; the tightest c
at a given point is the concave envelope of E over them there, a small linear programme, which has one row more than
there are knots. With one knot this is the concave piecewise-linear bound through (i g_1, E[min(Bin(i, g_1), k)])
(Hoeffding 1956, Ann. Math. Statist. 27:713: for a fixed sum of chances the expectation is largest when they are
extreme).

Probes that share a target share its class: their successes in a row are then positively dependent, which only
lowers E[min(N, k)], so the functions hold for them too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Most multisets that are gone through, and most knots: own choice, a table of some milliseconds.
_TABLE, _KNOTS = 20_000, 6
# Most pivots of a cut; gains and pivots below which nothing is moved; what is added to the weights, rising by knot.
_PIVOTS, _GAIN_LEAST, _PIVOT_LEAST, _APART_WEIGHTS = 500, 1e-11, 1e-9, 1e-9
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
    """Return a cut that is as low as can be where the knots are taken `weights` (m,) times, at most n in all."""
    total = weights.sum()
    most = int(table.counts.sum(axis=1).max())
    weights = np.maximum(weights, 0.0) * min(1.0, most / total if total > 0.0 else 1.0)
    # weights of zero would make pivots that gain nothing; where a cut is lowest hardly moves, that it holds does not
    # hang on them
    apart = weights + _APART_WEIGHTS * np.arange(1, len(weights) + 1)
    return cut_from(table, _envelope_slopes(table.counts, table.expected, apart))


@njit(cache=True)
def _envelope_slopes(counts: Ints, expected: Floats, weights: Floats) -> Floats:
    """Multipliers (m,) of: the largest mean of `expected` over multisets that take the knots `weights` times or fewer.

    The simplex method (Dantzig 1951) from the empty multiset: each pivot looks at all multisets at once, so the
    answer of these few rows needs no solver to be built for it.
    """
    m = weights.size
    inverse, level = np.eye(m + 1), np.append(weights, 1.0)
    gain = np.zeros(
        m + 1
    )  # of what is in the basis; in place m the empty multiset, in the others what is left over
    gain[m] = expected[0]
    column = np.empty(m + 1)
    for _ in range(_PIVOTS):
        prices = gain @ inverse
        best, entering = _GAIN_LEAST, -1
        for j in range(expected.size):
            more = expected[j] - prices[m]
            for i in range(m):
                more -= counts[j, i] * prices[i]
            if more > best:
                best, entering = more, j
        left_over = -1
        for i in range(m):
            if -prices[i] > best:
                best, left_over = -prices[i], i
        if entering < 0 and left_over < 0:
            break
        for i in range(m + 1):
            if left_over >= 0:
                column[i] = inverse[i, left_over]
            else:
                column[i] = inverse[i, m]
                for k in range(m):
                    column[i] += inverse[i, k] * counts[entering, k]
        leaving, ratio = -1, np.inf
        for i in range(m + 1):
            if column[i] > _PIVOT_LEAST and level[i] < ratio * column[i]:
                leaving, ratio = i, level[i] / column[i]
        if leaving < 0:
            break
        _pivot(inverse, level, column, leaving)
        gain[leaving] = 0.0 if left_over >= 0 else expected[entering]
    return np.maximum((gain @ inverse)[:m], 0.0)


@njit(cache=True)
def _pivot(inverse: Floats, level: Floats, column: Floats, leaving: int) -> None:
    """Bring the basis up to date: what enters has `column` in terms of it."""
    inverse[leaving] /= column[leaving]
    level[leaving] /= column[leaving]
    for i in range(level.size):
        if i != leaving:
            inverse[i] -= column[i] * inverse[leaving]
            level[i] = max(level[i] - column[i] * level[leaving], 0.0)


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
