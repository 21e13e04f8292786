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
    for s, burn in enumerate(burn_tdb_s):
        # one node more on either side, so that an arc end between two nodes is covered by both
        arcs = epochs - burn
        allowed = np.flatnonzero(
            (arcs > arc_min_s - path.step_s) & (arcs < arc_max_s + path.step_s) & (arcs > 0.0)
        )
        blocks = position_by_velocity(np.broadcast_to(states[s], (len(allowed), 6)), arcs[allowed])
        gram = np.einsum("nki,nkj->nij", blocks, blocks)
        slot_km[s, allowed] = scale * np.sqrt(np.linalg.eigvalsh(gram)[:, -1]) if len(allowed) else 0.0
    return ReachBound(burn_tdb_s, slot_km, slot_km.max(axis=0, initial=0.0))
