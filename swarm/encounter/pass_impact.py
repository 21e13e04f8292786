"""Chance that a probe sent to skim a body hits it, over all that may become of it.

    P = sum over states of P(state) P(hit | state)

with the states: corrections flown; dead after its burn and before them; dead before its burn, on the mothership's own
path. It is about where metal goes, not about whether the probe works.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from swarm.reach.approach.ring_chance import ring_chance
from swarm.reach.arcs.bplane import impact_parameter_km, periapsis_km
from targets.masses.massive import Mass

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Arrivals:
    """One row: where a probe arrives in each state. B-plane T, R; covariances TT, RR, TR, km^2.

    aim_km       : (2,) of the probe that burnt
    unburned_km  : (2,) of the mothership's path
    delivered_cov, uncorrected_cov, unburned_cov : (3,)
    dead_before_burn, dead_before_corrections    : chances, of all probes
    """

    aim_km: Floats
    unburned_km: Floats
    delivered_cov: Floats
    uncorrected_cov: Floats
    unburned_cov: Floats
    dead_before_burn: float
    dead_before_corrections: float


def impact_radius_km(body: Mass, v_inf_km_s: ArrayLike, *, terrain_km: float | None = None) -> Floats:
    """Radius of the impact disc: |B| of a path that grazes the highest ground (or the atmosphere's interface)."""
    above = body.lowest_km if terrain_km is None else terrain_km
    return impact_parameter_km(body.radius_km + above, v_inf_km_s, mu_km3_s2=body.gm_km3_s2)


def impact_chance(arrivals: Arrivals, disc_km: float) -> float:
    """P(hit) of a row."""
    flown = 1.0 - arrivals.dead_before_burn - arrivals.dead_before_corrections
    hits = ring_chance(
        np.stack([arrivals.aim_km, arrivals.aim_km, arrivals.unburned_km]),
        np.stack([arrivals.delivered_cov, arrivals.uncorrected_cov, arrivals.unburned_cov]),
        0.0,
        disc_km,
    )
    return float(hits @ (flown, arrivals.dead_before_corrections, arrivals.dead_before_burn))


def lowest_altitude_km(
    arrivals: Arrivals, body: Mass, *, v_inf_km_s: float, disc_km: float, limit: float
) -> float:
    """Least height, at the row's clock angle, at which its impact chance keeps a limit; infinite where none does.

    The covariances are those of the row. What a probe dead before its burn does is the mothership's affair and does
    not hang on the height.
    """
    clock = float(np.arctan2(arrivals.aim_km[1], arrivals.aim_km[0]))
    direction = np.array([np.cos(clock), np.sin(clock)])

    def chance(distance_km: float) -> float:
        moved = Arrivals(
            distance_km * direction, arrivals.unburned_km, arrivals.delivered_cov, arrivals.uncorrected_cov,
            arrivals.unburned_cov, arrivals.dead_before_burn, arrivals.dead_before_corrections,
        )  # fmt: skip
        return impact_chance(moved, disc_km)

    fixed = arrivals.dead_before_burn * float(
        ring_chance(arrivals.unburned_km, arrivals.unburned_cov, 0.0, disc_km)[0]
    )
    if fixed >= limit:
        return float("inf")
    low, high = disc_km, 2.0 * disc_km + 10.0 * float(np.sqrt(np.max(arrivals.uncorrected_cov[:2])))
    if chance(low) <= limit:
        return _altitude_of(low, body, v_inf_km_s)
    if chance(high) > limit:
        return float("inf")
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if chance(middle) > limit else (low, middle)
    return _altitude_of(high, body, v_inf_km_s)


def _altitude_of(aim_km: float, body: Mass, v_inf_km_s: float) -> float:
    return float(periapsis_km(aim_km, v_inf_km_s, mu_km3_s2=body.gm_km3_s2)) - body.radius_km
