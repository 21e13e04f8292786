"""Chances that a probe's hardware works, alone and together with the others of its group.

The simple model: one chance for every probe, and a share of the failures that strikes all of them at
once (one design, one build, one software). Only hardware fails together; geometry and links do not.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit
from numpy.typing import NDArray

if TYPE_CHECKING:
    from swarm.study import SurvivalSettings

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def hardware_chances(survival: SurvivalSettings, count: int) -> Floats:
    """Return P(hardware works until the data are home), shared failures included, (count,)."""
    return np.full(count, float(survival.success))


@njit(cache=True)
def shared_failure(plan: Ints, hardware: Floats, shared_fraction: float) -> float:
    """Return q_common = shared_fraction * the smallest q of the probes in `plan`; 0 if none fly.

    plan     : (probes,) int64   opportunities, -1 an unused place
    hardware : (n,) float64      1 - q of each opportunity
    """
    smallest = 2.0
    for i in range(plan.size):
        if plan[i] >= 0:
            smallest = min(smallest, 1.0 - hardware[plan[i]])
    return 0.0 if smallest > 1.0 else shared_fraction * smallest


@njit(cache=True)
def own_chance(hardware: float, common: float) -> float:
    """Return 1 - q_own from (1 - q) = (1 - q_common)(1 - q_own); 0 where the group surely fails."""
    if common >= 1.0:
        return 0.0
    return hardware / (1.0 - common)
