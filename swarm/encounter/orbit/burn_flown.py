"""Burns of finite length and coasts in the full field: pieces that insertion and upkeep are flown of.

A burn holds one direction and one thrust, so that a message of it says all. It is laid about the moment of the impulse
that it stands for: the mean time of the velocity gained, later than half of it since the probe gets lighter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from swarm.encounter.orbit.full_field import Flown, fly, rates_in_field
from swarm.encounter.orbit.insertion import Thruster
from swarm.encounter.orbit.surroundings import Surroundings
from targets.base.constants import DAY_S
from targets.base.constants import STANDARD_GRAVITY_M_S2 as G0_M_S2

Floats = NDArray[np.float64]

NODE_S = 60.0  # states of a coast are kept at least so far apart
_TOLERANCE_KM, _TOLERANCE_SHARE = 1e-9, 1e-12


@dataclass(frozen=True, eq=False)
class LongBurn:
    """A burn of one direction: km/s (3,) ICRF, states (6,) about the body at its begin and end, masses kg."""

    ignition_tdb_s: float
    duration_s: float
    dv_km_s: Floats
    before: Floats
    after: Floats
    mass_before_kg: float
    mass_after_kg: float

    @property
    def end_tdb_s(self) -> float:
        return self.ignition_tdb_s + self.duration_s


def long_burn(
    at: Floats, at_tdb_s: float, dv_km_s: Floats, thruster: Thruster, around: Surroundings
) -> LongBurn:
    """A burn about a moment (6,) of a coast, for an impulse (3,) there, by a thruster of the mass that then is."""
    size_km_s = float(np.linalg.norm(dv_km_s))
    exhaust, along = thruster.isp_s * G0_M_S2, dv_km_s / size_km_s
    seconds = thruster.burn_s(1e3 * size_km_s)
    wet = thruster.wet_mass_kg
    left = wet - seconds * thruster.thrust_n / exhaust
    lead = seconds * (wet / (wet - left) - exhaust / (1e3 * size_km_s))
    before = moved(at, at_tdb_s, -lead, around)
    after = moved(
        before, at_tdb_s - lead, seconds, around, push=(along, thruster.thrust_n, exhaust), mass_kg=wet
    )
    return LongBurn(at_tdb_s - lead, seconds, dv_km_s, before, after, wet, left)


def coast(state: Floats, begin_tdb_s: float, end_tdb_s: float, around: Surroundings) -> Flown:
    """From a state (6,) at one epoch to another, or until it meets the ground."""
    return fly(state, begin_tdb_s, (end_tdb_s - begin_tdb_s) / DAY_S, around, every_s=NODE_S)


def moved(
    state: Floats, begin_tdb_s: float, seconds: float, around: Surroundings, *,
    push: tuple[Floats, float, float] | None = None, mass_kg: float = 1.0,
) -> Floats:  # fmt: skip
    """A state (6,) so many seconds later, or earlier; push: (unit (3,), thrust N, exhaust m/s) of a burn."""
    along, thrust_n, exhaust_m_s = push or (np.zeros(3), 0.0, 1.0)
    columns = around.field.c.shape[1] + 2
    work = (
        np.empty((3, 3)),
        np.empty((len(around.other_gm), 3)),
        np.empty((3, columns)),
        np.empty((3, columns)),
    )
    flow = thrust_n / exhaust_m_s

    def rates(t: float, y: Floats) -> Floats:
        out = np.empty(6)
        rates_in_field(begin_tdb_s + t, y, around, work, out)
        out[3:] += 1e-3 * thrust_n / (mass_kg - flow * t) * along
        return out

    found = solve_ivp(
        rates, (0.0, seconds), np.asarray(state, float), method="DOP853", rtol=_TOLERANCE_SHARE, atol=_TOLERANCE_KM
    )  # fmt: skip
    return np.asarray(found.y[:, -1], dtype=float)
