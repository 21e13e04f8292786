"""Invented bodies for the motion tests."""

from __future__ import annotations

import numpy as np

from targets.base.constants import AU_KM
from targets.base.frames import icrf_from_ecliptic
from targets.base.timescale import tdb_s_from_jd
from targets.motion.twobody import states_from_elements

START_TDB_S = float(tdb_s_from_jd(2461000.5))


def belt(count: int, seed: int) -> np.ndarray:
    """(count, 6) states at START_TDB_S of invented main-belt bodies."""
    rng = np.random.default_rng(seed)
    r, v = states_from_elements(
        rng.uniform(2.1, 3.3, count) * AU_KM,
        rng.uniform(0.0, 0.3, count),
        np.radians(rng.uniform(0.0, 20.0, count)),
        *(rng.uniform(0.0, 2.0 * np.pi, count) for _ in range(3)),
    )
    return np.hstack([icrf_from_ecliptic(r), icrf_from_ecliptic(v)])


def near_earth(count: int, seed: int) -> np.ndarray:
    """(count, 6) states of invented bodies that cross the Earth's distance."""
    rng = np.random.default_rng(seed)
    q_au = rng.uniform(0.5, 1.2, count)
    e = rng.uniform(0.1, 0.7, count)
    r, v = states_from_elements(
        q_au / (1.0 - e) * AU_KM, e, np.radians(rng.uniform(0.0, 25.0, count)),
        *(rng.uniform(0.0, 2.0 * np.pi, count) for _ in range(3)),
    )  # fmt: skip
    return np.hstack([icrf_from_ecliptic(r), icrf_from_ecliptic(v)])
