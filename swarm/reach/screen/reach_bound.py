"""How far a burn can carry a probe from the mothership's unburned path: the bound the screen drops bodies by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from swarm.reach.arcs.transition import position_by_velocity
from swarm.reach.mothership.path import Path
from targets.base.constants import DAY_S

# The transition matrix is the first term of the displacement; the rest, measured over sampled burns up to
# 150 m/s and 500 d, was at most 2.4 % of it. It grows with the displacement, so the margin does too.
CURVATURE_MARGIN = 0.05
_MEASURED_AT_KM = 0.15 * 500.0 * DAY_S
# Where the two largest eigenvalues are one, the closed form keeps half of the digits.
_ROUNDED_UP = 1.0 + 1e-7


@dataclass(frozen=True)
class ReachBound:
    """Reach by burn slot and day.

    burn_tdb_s : (s,)     burn of each release slot
    slot_km    : (s, m)   largest displacement from the path at each node of it, zero where the arc is not allowed
    any_km     : (m,)     the same over all slots
    """

    burn_tdb_s: np.ndarray
    slot_km: np.ndarray
    any_km: np.ndarray


def curvature_margin(burn_limit_km_s: float, arc_max_s: float) -> float:
    """Share added to the linear reach; see CURVATURE_MARGIN."""
    return CURVATURE_MARGIN * max(1.0, burn_limit_km_s * arc_max_s / _MEASURED_AT_KM)


def reach_bound(
    path: Path, burn_tdb_s: np.ndarray, *, burn_limit_km_s: float, arc_min_s: float, arc_max_s: float
) -> ReachBound:
    """Largest displacement of a probe from the mothership's path, for each burn slot and node of the path.

    Guarantee
    ---------
    At any time of an allowed arc no burn of at most the limit displaces the probe by more than the larger of the
    bounds at the two neighbouring nodes.
    Tested in tests/reach/screen/test_bounds.py.
    """
    epochs = path.epochs_tdb_s
    states = path.at(burn_tdb_s)
    slot_km = np.zeros((len(burn_tdb_s), len(epochs)))
    scale = burn_limit_km_s * (1.0 + curvature_margin(burn_limit_km_s, arc_max_s))
    arcs = epochs[None, :] - np.asarray(burn_tdb_s)[:, None]
    # one node more on either side, so that an arc end between two nodes is covered by both
    allowed = (arcs > arc_min_s - path.step_s) & (arcs < arc_max_s + path.step_s) & (arcs > 0.0)
    blocks = position_by_velocity(states[np.nonzero(allowed)[0]], arcs[allowed])
    slot_km[allowed] = scale * largest_stretch(blocks)
    return ReachBound(burn_tdb_s, slot_km, slot_km.max(axis=0, initial=0.0))


def largest_stretch(blocks: np.ndarray) -> np.ndarray:
    """(n,) largest singular value of (n, 3, 3), never too small.

    The largest eigenvalue q + 2 p cos(acos(r)/3) of a symmetric matrix A (Smith 1961, Comm. ACM 4:168): q = tr A/3,
    p^2 = tr (A - q)^2/6, r = det (A - q)/(2 p^3).
    """
    gram = np.einsum("nki,nkj->nij", blocks, blocks)
    q = np.trace(gram, axis1=1, axis2=2) / 3.0
    off = gram - q[:, None, None] * np.eye(3)
    p = np.sqrt(np.einsum("nij,nij->n", off, off) / 6.0)
    a, b, c = off[:, 0], off[:, 1], off[:, 2]
    determinant = np.einsum("ni,ni->n", a, np.cross(b, c))
    cosine = np.clip(determinant / np.maximum(2.0 * p**3, 1e-300), -1.0, 1.0)
    return np.asarray(np.sqrt(q + 2.0 * p * np.cos(np.arccos(cosine) / 3.0)) * _ROUNDED_UP)
