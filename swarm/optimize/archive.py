"""Plans of which none is worse than another in everything: the memory of the whole search.

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

_DECIMALS = 12


class Archive(NamedTuple):
    """plans (n, probes) int64, -1 unused; costs (n, 3) = -science, propellant_kg, risk, all to be small."""

    plans: Ints
    costs: Floats


def costs_of(values: Floats) -> Floats:
    """Return (-science, propellant, risk) from (science, propellant, risk)."""
    return values * np.array([-1.0, 1.0, 1.0])


def merged(parts: list[Archive]) -> Archive:
    """Return the non-dominated plans of all parts, ordered by propellant, cost of science, risk, then plan.

    Of plans with equal objectives the first in the order of their opportunities stays, so the result does
    not depend on the order of the parts.
    """
    plans = np.concatenate([part.plans for part in parts])
    costs = np.concatenate([part.costs for part in parts])
    rounded = np.round(costs, _DECIMALS)
    keys = [
        *(plans[:, k] for k in reversed(range(plans.shape[1]))),
        rounded[:, 2],
        rounded[:, 0],
        rounded[:, 1],
    ]
    order = np.lexsort(keys)
    order = order[_first_front(np.ascontiguousarray(rounded[order]))]
    return Archive(plans[order], costs[order])


def taken(archive: Archive, index: Ints) -> Archive:
    """Return the plans of `index`, in that order."""
    return Archive(archive.plans[index], archive.costs[index])


@njit(cache=True)
def _first_front(costs: Floats) -> NDArray:
    """Mask the rows no other row is at least as good as; rows come sorted by columns 1, 0, 2."""
    kept = np.zeros(costs.shape[0], dtype=np.bool_)
    front = np.empty(costs.shape[0], dtype=np.int64)
    size = 0
    for i in range(costs.shape[0]):
        beaten = False
        # the latest kept are the nearest in propellant and the likeliest to beat it
        for k in range(size - 1, -1, -1):
            j = front[k]
            if costs[j, 0] <= costs[i, 0] and costs[j, 2] <= costs[i, 2]:
                beaten = True
                break
        if not beaten:
            kept[i] = True
            front[size] = i
            size += 1
    return kept
