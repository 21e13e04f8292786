"""What a low pass comes to: delivery, quality over it, chance of impact, from numbers of a table: nothing is flown."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.cases import spare_km_s
from swarm.encounter.error_model import Errors, Normals, errors_of, normals_of
from swarm.encounter.pass_delivery import PassDelivery, Sight, deliver
from swarm.encounter.pass_impact import Arrivals, impact_chance, impact_radius_km, lowest_altitude_km
from swarm.encounter.pass_instruments import PassSeen, best_score
from swarm.encounter.policies import LOW_QUALITY
from swarm.reach.approach.ring_chance import ring_chance
from swarm.reach.arcs.bplane import periapsis_km
from targets.masses.massive import Mass, mass_named

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class PassCases:
    """n low passes as flown in the field; km, km/s, s.

    b_km, unburned_km : (n, 2) T, R of the aim point, and of where a probe goes that never burns
    burn_km_s         : (n, 3) what puts the probe on its way, whoever burns; checkout_s (n,) before it
    own_burn_m_s      : (n,) what of it the probe burns
    by_ship           : (n,) whether the mothership steers: then no probe is dead before the burn
    later_m_s         : (n,) planned after closest approach, for which the tank must hold as well
    by_burn           : (n, 2, 6) d(B.T, B.R) by the state at the burn
    before_s          : n arrays of the dates of corrections before closest approach, falling
    by_corrections    : n arrays (k, 2, 6), d(B.T, B.R) by the state at each
    """

    body: tuple[str, ...]
    v_inf_km_s: Floats
    ground_speed_km_s: Floats
    sun_elevation_deg: Floats
    ephemeris_sigma_km: Floats
    lowest_km: Floats
    checkout_s: Floats
    b_km: Floats
    unburned_km: Floats
    burn_km_s: Floats
    own_burn_m_s: Floats
    by_ship: NDArray[np.bool_]
    by_burn: Floats
    before_s: tuple[Floats, ...]
    by_corrections: tuple[Floats, ...]
    later_m_s: Floats

    @property
    def planned_m_s(self) -> Floats:
        """(n,) all that is planned but corrections."""
        return self.own_burn_m_s + self.later_m_s

    def mass(self, k: int) -> Mass:
        return mass_named(self.body[k])


@dataclass(frozen=True, eq=False)
class PassWorth:
    """n rows; chances given working hardware. A sample that hits, or that cannot pay its corrections, counts as 0.

    chance_quality : (n, q) P(quality >= each that is asked)
    shown_chance   : (n,) P(the pass is flown and does not hit)
    covariances    : (n, 3) TT, RR, TR, without corrections, before the last, after it
    impact_chance  : (n,) over what may become of a probe (an upper bound: see `failed_early`)
    """

    chance_quality: Floats
    shown_chance: Floats
    low_chance: Floats
    expected_quality: Floats
    best_quality: Floats
    dv99_needed_m_s: Floats
    delivered_chance: Floats
    start_cov_km2: Floats
    before_cov_km2: Floats
    delivery_cov_km2: Floats
    sigma_altitude_km: Floats
    impact_chance: Floats


def worth_of(study: Study, cases: PassCases, qualities: tuple[float, ...] = ()) -> PassWorth:
    """Judge passes of one design; the answer for one does not depend on which others there are."""
    n, errors, normals = len(cases.body), errors_of(study), normals_of(study)
    spare = 1e3 * spare_km_s(study, cases.planned_m_s)
    asked = np.asarray(qualities, dtype=float)
    out = PassWorth(np.zeros((n, len(asked))), *_room(n))
    for k in range(n):
        made = _delivered(cases, k, errors, normals)
        heights = _heights(cases, k, made.miss_km)
        counts = (heights > cases.lowest_km[k]) & (made.spent_m_s <= spare[k])
        seen = _seen(cases, k)
        score = best_score(study, seen, heights) * counts
        out.chance_quality[k] = ((score[:, None] >= asked) & counts[:, None]).mean(axis=0)
        out.shown_chance[k], out.expected_quality[k] = counts.mean(), score.mean()
        out.low_chance[k] = (counts & (score < LOW_QUALITY)).mean()
        out.best_quality[k] = float(best_score(study, seen, _heights(cases, k, np.zeros((1, 2))))[0])
        out.dv99_needed_m_s[k] = made.dv99_m_s
        out.delivered_chance[k] = (made.spent_m_s <= spare[k]).mean()
        out.start_cov_km2[k], out.before_cov_km2[k] = made.uncorrected_cov, made.before_cov
        out.delivery_cov_km2[k], out.sigma_altitude_km[k] = made.delivered_cov, heights.std()
        out.impact_chance[k] = _impact(study, cases, k, made)
    return out


def _room(n: int) -> list[Floats]:
    shapes = ((n,),) * 6 + ((n, 3),) * 3 + ((n,),) * 2
    return [np.zeros(shape) for shape in shapes]


def lowest_for_limit_km(study: Study, cases: PassCases, worth: PassWorth, limits: Floats) -> Floats:
    """(n,) least height, at each row's clock angle, that keeps its limit on impacts; infinite where none does."""
    ship = errors_of(study)
    known = np.diag([ship.mothership_km**2] * 3 + [ship.mothership_km_s**2] * 3)
    out = np.empty(len(cases.body))
    for k in range(len(out)):
        unburned = cases.by_burn[k] @ known @ cases.by_burn[k].T
        rows = _either_way(
            cases, k,
            _arrivals(
                study, cases, k,
                np.array([unburned[0, 0], unburned[1, 1], unburned[0, 1]]),
                worth.start_cov_km2[k], worth.delivery_cov_km2[k],
            ),
        )  # fmt: skip
        speed, disc = float(cases.v_inf_km_s[k]), _disc_km(cases, k)
        out[k] = max(
            lowest_altitude_km(row, cases.mass(k), v_inf_km_s=speed, disc_km=disc, limit=float(limits[k]))
            for row in rows
        )
    return out


def _delivered(cases: PassCases, k: int, errors: Errors, normals: Normals) -> PassDelivery:
    return deliver(
        cases.by_burn[k],
        cases.by_corrections[k],
        cases.before_s[k],
        burn_km_s=cases.burn_km_s[k],
        checkout_s=float(cases.checkout_s[k]),
        sight=Sight(cases.mass(k).radius_km, float(cases.v_inf_km_s[k]), float(cases.ephemeris_sigma_km[k])),
        errors=errors,
        normals=normals,
    )


def _heights(cases: PassCases, k: int, miss_km: Floats) -> Floats:
    """Heights over the equatorial radius at closest approach of passes that miss the aim point so."""
    body, aims = cases.mass(k), np.linalg.norm(cases.b_km[k] + miss_km, axis=1)
    return periapsis_km(aims, float(cases.v_inf_km_s[k]), mu_km3_s2=body.gm_km3_s2) - body.radius_km


def _seen(cases: PassCases, k: int) -> PassSeen:
    body = cases.mass(k)
    return PassSeen(
        body.radius_km, body.gm_km3_s2, float(cases.v_inf_km_s[k]), float(cases.ground_speed_km_s[k]),
        float(cases.sun_elevation_deg[k]),
    )  # fmt: skip


def failed_early(study: Study) -> float:
    """Chance that a probe is dead before its corrections, or before its burn where that is worse: all are so early.

    An upper bound of what counts here. The simple model knows no dates; of the other, what fails on arrival and at
    release, the rest being later or not a matter of where metal goes.
    """
    survival = study.survival
    if survival.model == "simple":
        return 1.0 - survival.success
    return 1.0 - (1.0 - survival.dead_on_arrival) * survival.release_success


def ship_chances(study: Study, cases: PassCases, worth: PassWorth, aim_km: Floats) -> Floats:
    """(n,) chance that the mothership hits the body because it does not divert from where it aimed; 0 without need.

    It is known as badly as a probe that flies no correction.
    """
    discs = np.array([_disc_km(cases, k) for k in range(len(cases.body))])
    hits = ring_chance(aim_km, worth.start_cov_km2, 0.0, discs) if len(discs) else np.zeros(0)
    return np.where(cases.by_ship, study.mothership.divert_failure * hits, 0.0)


def _disc_km(cases: PassCases, k: int) -> float:
    return float(
        impact_radius_km(cases.mass(k), float(cases.v_inf_km_s[k]), terrain_km=float(cases.lowest_km[k]))
    )


def _arrivals(
    study: Study, cases: PassCases, k: int, unburned: Floats, uncorrected: Floats, delivered: Floats
) -> Arrivals:
    return Arrivals(
        aim_km=cases.b_km[k],
        unburned_km=cases.unburned_km[k],
        delivered_cov=delivered,
        uncorrected_cov=uncorrected,
        unburned_cov=unburned,
        dead_before_burn=0.0,
        dead_before_corrections=failed_early(study),
    )


def _impact(study: Study, cases: PassCases, k: int, made: PassDelivery) -> float:
    row = _arrivals(study, cases, k, made.unburned_cov, made.uncorrected_cov, made.delivered_cov)
    return max(impact_chance(each, _disc_km(cases, k)) for each in _either_way(cases, k, row))


def _either_way(cases: PassCases, k: int, row: Arrivals) -> tuple[Arrivals, ...]:
    """All failures before the corrections, or all before the burn: whichever is worse counts (see `failed_early`).

    A probe that the mothership puts on its way is not dead before that.
    """
    if cases.by_ship[k]:
        return (row,)
    return row, replace(row, dead_before_burn=row.dead_before_corrections, dead_before_corrections=0.0)


def principal_sigmas_km(tt: Floats, rr: Floats, tr: Floats) -> tuple[Floats, Floats]:
    """Larger and smaller sigma of covariances TT, RR, TR, km^2."""
    middle, half = 0.5 * (tt + rr), np.hypot(0.5 * (tt - rr), tr)
    return np.sqrt(middle + half), np.sqrt(np.maximum(middle - half, 0.0))


def place_of_no_path() -> Floats:
    """(2,) where a two-body leg meets a planet's centre its own path is no path: the mothership flies by, far off."""
    return np.array([1e9, 0.0])
