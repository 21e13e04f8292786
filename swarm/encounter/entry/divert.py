"""Who puts a probe on its way in, and what that asks of the mothership: speed, propellant, days on an impact course.

A probe that steers burns after check-out: the mothership never leaves its path. A probe without a tank is aimed by the
mothership, which burns for it, lets it go, and diverts back to its own aim point some days later:

    propellant = m (1 - exp(-(out + back)/(g0 Isp)))

Until it has diverted it is on the probe's way in; that it fails to is charged as a chance of impact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.entry.setting import Setting
from swarm.reach.approach.entry_rows import EntryRows
from swarm.reach.approach.influence import influence_at
from targets.base.constants import DAY_S, STANDARD_GRAVITY_M_S2

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Divert:
    """Of one row; zeros where the probe steers. `divert_m_s` is the way back alone."""

    divert_m_s: float
    impact_course_days: float
    propellant_kg: float
    impact_chance: float


def divert_of(rows: EntryRows, k: int, setting: Setting) -> Divert:
    """What a row asks of the mothership."""
    ask, ship = setting.ask, setting.study.mothership
    if ask.steer == "probe":
        return Divert(0.0, 0.0, 0.0, 0.0)
    shots, burn_s = rows.shots, float(rows.burn_s[k])
    state = rows.path[k].copy()
    state[3:] += shots.burn_km_s[k]
    back_s = burn_s + ask.divert_after_days * DAY_S
    by_start = np.ascontiguousarray(shots.by_state[k, :2])
    there = influence_at(state, burn_s, np.array([back_s]), by_start=by_start, field=rows.field)[0]
    own = shots.unburned_km[k] if math.isfinite(rows.passage.distance_km) else setting.own_aim_km
    back = np.linalg.pinv(there[:, 3:]) @ (own - shots.b_km[k])
    divert_m_s = 1e3 * float(np.linalg.norm(back))
    total = 1e3 * float(np.linalg.norm(shots.burn_km_s[k])) + divert_m_s
    burnt = ship.mass_kg * (1.0 - math.exp(-total / (STANDARD_GRAVITY_M_S2 * ship.isp_s)))
    return Divert(divert_m_s, ask.divert_after_days, burnt, ship.divert_failure)
