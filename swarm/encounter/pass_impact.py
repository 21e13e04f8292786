"""Chance that a probe sent to skim a body hits it, over all that may become of it.

    P = sum over states of P(state) P(hit | state)

with the states: corrections flown; dead after its burn and before them; dead before its burn, on the mothership's own
path. It is about where metal goes, not about whether the probe works.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from swarm.reach.approach.ring_chance import ring_chance, ring_chance_at
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
    fixed = arrivals.dead_before_burn * float(
        ring_chance(arrivals.unburned_km, arrivals.unburned_cov, 0.0, disc_km)[0]
    )
    if fixed >= limit:
        return float("inf")
    high = 2.0 * disc_km + 10.0 * float(np.sqrt(np.max(arrivals.uncorrected_cov[:2])))
    shares = (
        1.0 - arrivals.dead_before_burn - arrivals.dead_before_corrections,
        arrivals.dead_before_corrections,
    )
    least = _least_distance_km(
        arrivals.aim_km / np.linalg.norm(arrivals.aim_km), np.ascontiguousarray(arrivals.delivered_cov),
        np.ascontiguousarray(arrivals.uncorrected_cov), shares, disc_km, high, limit - fixed,
    )  # fmt: skip
    return _altitude_of(least, body, v_inf_km_s)


# A least height is settled to so much: far below what any aim is held to.
_SETTLED_KM = 1e-6


@njit(cache=True)
def _hits(
    distance: float,
    direction: Floats,
    delivered: Floats,
    uncorrected: Floats,
    shares: tuple[float, float],
    disc: float,
) -> float:
    """Chance that a probe that burnt hits, aimed at a distance."""
    t, r = distance * direction[0], distance * direction[1]
    flown = shares[0] * ring_chance_at(t, r, delivered, 0.0, disc)
    return flown + shares[1] * ring_chance_at(t, r, uncorrected, 0.0, disc)


@njit(cache=True)
def _least_distance_km(
    direction: Floats,
    delivered: Floats,
    uncorrected: Floats,
    shares: tuple[float, float],
    disc: float,
    high: float,
    limit: float,
) -> float:
    """Least distance of an aim point outside the disc that keeps a limit; infinite where none up to `high` does."""
    low = disc
    if _hits(low, direction, delivered, uncorrected, shares, disc) <= limit:
        return low
    if _hits(high, direction, delivered, uncorrected, shares, disc) > limit:
        return np.inf
    while high - low > _SETTLED_KM:
        middle = 0.5 * (low + high)
        if _hits(middle, direction, delivered, uncorrected, shares, disc) > limit:
            low = middle
        else:
            high = middle
    return high


def _altitude_of(aim_km: float, body: Mass, v_inf_km_s: float) -> float:
    if not np.isfinite(aim_km):
        return float("inf")
    return float(periapsis_km(aim_km, v_inf_km_s, mu_km3_s2=body.gm_km3_s2)) - body.radius_km
