"""Whether a new plan is beaten by any of many: asked for every priced exchange, so nearly all of them are passed over.

Rows are kept in blocks with the lowest of each cost in a block: where one of these is above the new cost, no row of the
block beats it. Who asks keeps the costs of what beat the last plan and tries them first (`beats`): neighbours of a plan
come one after another and are mostly beaten by the same.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Costs = tuple[float, float, float]

# A plan is beaten where another is at least as good but for rounding.
_TIE = 1e-12
# Rows a block: own choice.
_BLOCK = 16


class Rivals(NamedTuple):
    """Rows that a new plan is held against.

    costs  : (n, 3) science (negative), propellant, risk
    lowest : (blocks, 3) the lowest of each cost in a block of rows
    """

    costs: Floats
    lowest: Floats


@njit(cache=True)
def new_rivals(room: int) -> Rivals:
    """Room for rows; none is there yet."""
    blocks = (room + _BLOCK - 1) // _BLOCK
    return Rivals(np.empty((room, 3)), np.full((blocks, 3), np.inf))


@njit(cache=True)
def noted(costs: Costs, rivals: Rivals, row: int) -> None:
    """Write a new row; rows are written one after the other."""
    block = row // _BLOCK
    for c in range(3):
        rivals.costs[row, c] = costs[c]
        rivals.lowest[block, c] = min(rivals.lowest[block, c], costs[c])


@njit(cache=True)
def beats(one: Costs, new: Costs) -> bool:
    """Whether `one` is at least as good as `new` in everything."""
    return one[1] <= new[1] + _TIE and one[0] <= new[0] + _TIE and one[2] <= new[2] + _TIE


@njit(cache=True)
def beater(new: Costs, rivals: Rivals, size: int) -> int:
    """Which of the first `size` rows beats `new`, the last written first; -1 where none does."""
    costs, lowest = rivals.costs, rivals.lowest
    most = (new[0] + _TIE, new[1] + _TIE, new[2] + _TIE)
    for block in range((size - 1) // _BLOCK, -1, -1):
        if not _within(lowest, block, most):
            continue
        for row in range(min(size, (block + 1) * _BLOCK) - 1, block * _BLOCK - 1, -1):
            if _within(costs, row, most):
                return row
    return -1


@njit(cache=True)
def costs_at(rivals: Rivals, row: int) -> Costs:
    """The costs of a row."""
    return rivals.costs[row, 0], rivals.costs[row, 1], rivals.costs[row, 2]


@njit(cache=True)
def _within(costs: Floats, row: int, most: Costs) -> bool:
    return costs[row, 1] <= most[1] and costs[row, 0] <= most[0] and costs[row, 2] <= most[2]
