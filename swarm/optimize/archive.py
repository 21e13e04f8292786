"""Candidates of which none is worse than another in everything: the memory of the whole search.

Objectives are compared after rounding to 1e-12, far below anything a plan means and far above the
rounding of sums: plans that differ only by the order of additions count as equal. What is kept is
therefore non-dominated exactly.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_DECIMALS = 12


class Archive(NamedTuple):
    """plans (n, genes); costs (n, 2 or 3), all to be small.

    A plan is a row of opportunities, -1 unused, and its costs are -science, propellant_kg, risk; what is
    kept here does not depend on that.
    """

    plans: NDArray
    costs: Floats


def costs_of(values: Floats) -> Floats:
    """Return (-science, propellant, risk) from (science, propellant, risk)."""
    return values * np.array([-1.0, 1.0, 1.0])


def merged(parts: list[Archive]) -> Archive:
    """Return what is non-dominated of all parts, ordered by the second cost, the first, the third, then plan.

    Of plans with equal costs the first in the order of their genes stays, so the result does not depend on
    the order of the parts.
    """
    plans = np.concatenate([part.plans for part in parts])
    costs = np.concatenate([part.costs for part in parts])
    rounded = _three(np.round(costs, _DECIMALS))
    keys = [
        *(plans[:, k] for k in reversed(range(plans.shape[1]))),
        rounded[:, 2],
        rounded[:, 0],
        rounded[:, 1],
    ]
    order = np.lexsort(keys)
    order = order[_first_front(np.ascontiguousarray(rounded[order]))]
    return Archive(plans[order], costs[order])


def taken(archive: Archive, index: Ints | Bools) -> Archive:
    """Return the plans of `index`, in that order."""
    return Archive(archive.plans[index], archive.costs[index])


def thinned(archive: Archive, limit: int) -> Archive:
    """Return at most `limit` plans, spread as evenly as greedy choice can; the order stays.

    Each next one is the farthest from all chosen before, objectives scaled to the ranges of the archive.
    The ends of every objective come first. Of three objectives the staircase of the first two (of plans:
    the most science for each propellant) comes next, as far as half the room: it is what a bound on the
    science is compared with.
    """
    if len(archive.plans) <= limit:
        return archive
    low, high = archive.costs.min(axis=0), archive.costs.max(axis=0)
    scaled = (archive.costs - low) / np.where(high > low, high - low, 1.0)
    first = np.unique(np.argmin(archive.costs, axis=0))[:limit].astype(np.int64)
    if archive.costs.shape[1] == 3:
        stairs = np.flatnonzero(_staircase(archive.costs))
        room = max(len(first), limit // 2)
        if len(stairs) <= room:
            first = np.union1d(first, stairs)[:limit]
        else:
            ends = np.searchsorted(stairs, np.intersect1d(first, stairs)).astype(np.int64)
            ends = ends if len(ends) else np.zeros(1, dtype=np.int64)
            chosen = stairs[_farthest_first(np.ascontiguousarray(scaled[stairs]), ends, room)]
            first = np.union1d(first, chosen)[:limit]
    return taken(archive, np.sort(_farthest_first(np.ascontiguousarray(scaled), first, limit)))


def _three(costs: Floats) -> Floats:
    """Costs with a third column of zeros where there are two."""
    return costs if costs.shape[1] == 3 else np.column_stack([costs, np.zeros(len(costs))])


def _staircase(costs: Floats) -> Bools:
    """Mask what no other matches in the first two costs; rows come ordered as `merged` leaves them."""
    best = np.minimum.accumulate(costs[:, 0])
    stairs = np.ones(len(costs), dtype=bool)
    stairs[1:] = costs[1:, 0] < best[:-1]
    return stairs


@njit(cache=True)
def _farthest_first(points: Floats, first: Ints, limit: int) -> Ints:
    """Indices: those of `first`, then one by one the point farthest from all chosen; the lowest of equals."""
    chosen = np.empty(limit, dtype=np.int64)
    apart = np.full(points.shape[0], np.inf)
    for k in range(limit):
        if k < first.size:
            new = first[k]
        else:
            new = 0
            for i in range(points.shape[0]):
                if apart[i] > apart[new]:
                    new = i
        chosen[k] = new
        for i in range(points.shape[0]):
            square = 0.0
            for c in range(points.shape[1]):
                square += (points[i, c] - points[new, c]) ** 2
            apart[i] = min(apart[i], square)
        apart[new] = -1.0
    return chosen


@njit(cache=True)
def _first_front(costs: Floats) -> NDArray:
    """Mask the rows no other row is at least as good as; rows come sorted by columns 1, 0, 2.

    Of what was kept so far the stairs are remembered: the least third cost for each first cost. They rise in the first
    and fall in the third, so one look says whether a row is beaten.
    """
    kept = np.zeros(costs.shape[0], dtype=np.bool_)
    first, third = np.empty(costs.shape[0] + 1), np.empty(costs.shape[0] + 1)
    size = 0
    for i in range(costs.shape[0]):
        a, c = costs[i, 0], costs[i, 2]
        place = np.searchsorted(first[:size], a, side="right")
        if place > 0 and third[place - 1] <= c:
            continue
        kept[i] = True
        if place > 0 and first[place - 1] == a:
            place -= 1
        behind = place  # stairs from `place` to here are covered by the new one
        while behind < size and third[behind] >= c:
            behind += 1
        _shift(first, behind, size, place + 1)
        _shift(third, behind, size, place + 1)
        first[place], third[place] = a, c
        size += place + 1 - behind
    return kept


@njit(cache=True)
def _shift(values: Floats, begin: int, end: int, to: int) -> None:
    """Move values[begin:end] to begin at `to`."""
    if to < begin:
        for k in range(end - begin):
            values[to + k] = values[begin + k]
    elif to > begin:
        for k in range(end - begin - 1, -1, -1):
            values[to + k] = values[begin + k]
