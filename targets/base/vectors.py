"""Lengths of vectors and angles between them, row by row."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def lengths(vectors: Floats) -> Floats:
    """Return the length of each row of (..., 3)."""
    return np.sqrt(np.einsum("...j,...j->...", vectors, vectors))


def angle_deg(a: Floats, b: Floats) -> Floats:
    """Return the angle between rows of (..., 3), by the arc tangent: well conditioned near 0 and 180 degrees."""
    return np.degrees(np.arctan2(lengths(np.cross(a, b)), np.einsum("...j,...j->...", a, b)))
