"""Motherships for the tests: a quiet two-body orbit, and studies around it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from swarm.reach.mothership.from_elements import state_at_epoch
from swarm.study.schema import Study, study_from
from targets.base.constants import DAY_S
from targets.base.timescale import parse_tdb_jd, tdb_s_from_jd
from targets.motion.twobody import drift_states

START, END = "2031-03-01 TDB", "2032-03-01 TDB"
START_TDB_S, END_TDB_S = (float(tdb_s_from_jd(parse_tdb_jd(date))) for date in (START, END))


def orbit(epochs_tdb_s: np.ndarray) -> np.ndarray:
    """(n, 6) heliocentric ICRF states of an invented two-body orbit that meets no planet in the tests' year."""
    at_start = state_at_epoch(
        a_au=2.3, e=0.1, i_deg=8.0, node_deg=40.0, argp_deg=120.0, mean_anomaly_deg=15.0
    )
    repeated = np.broadcast_to(at_start, (len(epochs_tdb_s), 6))
    return np.hstack(drift_states(repeated[:, :3], repeated[:, 3:], np.asarray(epochs_tdb_s) - START_TDB_S))


def daily(
    first_tdb_s: float = START_TDB_S, last_tdb_s: float = END_TDB_S, step_days: float = 2.0
) -> np.ndarray:
    """Epochs at most `step_days` apart, both ends among them."""
    return np.linspace(
        first_tdb_s, last_tdb_s, int(np.ceil((last_tdb_s - first_tdb_s) / DAY_S / step_days)) + 1
    )


def study_of(mothership: dict, *, base: Path | None = None, start: str = START, end: str = END) -> Study:
    """A study whose mothership is given by `mothership`."""
    study = study_from(
        {
            "study": {"name": "a mothership", "start": start, "end": end},
            "catalogue": {"format": "invented", "bodies": 10},
            "mothership": {"mass_kg": 600.0, **mothership},
            "probe": {"count": 2, "wet_mass_kg": 14.0, "burn_limit_m_s": 150.0},
            "science": {"rows": [{"name": "any"}]},
        }
    )
    study._base = base or Path(".")
    return study
