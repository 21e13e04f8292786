"""A mothership given by osculating elements: moved under the planets, or as two-body."""

from __future__ import annotations

import math

import numpy as np

from swarm.reach.mothership.path import NODE_S, Path
from targets.base.constants import AU_KM
from targets.base.frames import icrf_from_ecliptic
from targets.ephemeris.planets import PlanetTable
from targets.motion.perturbed import march, march_nodes
from targets.motion.twobody import drift_states, states_from_elements

PERTURBED, KEPLER = "perturbed", "kepler"


def state_at_epoch(
    *, a_au: float, e: float, i_deg: float, node_deg: float, argp_deg: float, mean_anomaly_deg: float
) -> np.ndarray:
    """(6,) heliocentric ICRF state of ecliptic J2000 elements."""
    angles = (math.radians(angle) for angle in (i_deg, node_deg, argp_deg, mean_anomaly_deg))
    r_km, v_km_s = states_from_elements(
        np.array([a_au * AU_KM]), np.array([e]), *(np.array([x]) for x in angles)
    )
    return np.concatenate([icrf_from_ecliptic(r_km)[0], icrf_from_ecliptic(v_km_s)[0]])


def path_from_elements(
    state: np.ndarray,
    epoch_tdb_s: float,
    *,
    start_tdb_s: float,
    end_tdb_s: float,
    motion: str,
    planets: PlanetTable,
) -> Path:
    """The mothership's path over [start, end] from its osculating state at `epoch_tdb_s`.

    `motion` is "perturbed" (the field the targets move in, targets.motion) or "kepler". The planet table must
    cover the epoch too.
    """
    count = max(2, math.ceil((end_tdb_s - start_tdb_s) / NODE_S - 1e-9) + 1)
    epochs = start_tdb_s + NODE_S * np.arange(count)
    if motion == KEPLER:
        repeated = np.broadcast_to(state, (count, 6))
        return Path(
            start_tdb_s,
            NODE_S,
            np.hstack(drift_states(repeated[:, :3], repeated[:, 3:], epochs - epoch_tdb_s)),
            pulled=False,
        )
    at_start, _ = march(state[None, :], epoch_tdb_s, start_tdb_s, planets=planets)
    return Path(
        start_tdb_s,
        NODE_S,
        march_nodes(at_start[0], start_tdb_s, step_s=NODE_S, count=count, planets=planets),
    )
