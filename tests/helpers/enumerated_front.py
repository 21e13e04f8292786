"""The front of values that were enumerated: every point of which no other is better in all."""

from __future__ import annotations

import numpy as np


def front_of(values: np.ndarray) -> np.ndarray:
    """Distinct costs (-science, propellant, risk) that none matches or beats, rounded to 1e-13; values (n, 3)."""
    costs = np.unique(np.round(values * [-1.0, 1.0, 1.0], 13), axis=0)
    beaten = [bool(((costs <= c).all(axis=1) & (costs < c).any(axis=1)).any()) for c in costs]
    return costs[~np.array(beaten)]
