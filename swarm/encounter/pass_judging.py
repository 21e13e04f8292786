"""What the rows of an approach come to: delivery, ground, instrument's quality, chance of impact, lowest height."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.error_model import Errors, Normals, errors_of, normals_of
from swarm.encounter.instruments import (
    ground_pixel_m,
    ground_smear_px,
    light_score,
    pixel_score,
    smear_score,
)
from swarm.encounter.pass_delivery import PassDelivery, Sight, deliver
from swarm.encounter.pass_geometry import PassGeometry, dwell_s, pass_geometry
from swarm.encounter.pass_impact import Arrivals, impact_chance, impact_radius_km, lowest_altitude_km
from swarm.encounter.quality import pixel_angle_rad
from swarm.reach.approach.field import OK
from swarm.reach.approach.influence import influence_at
from swarm.reach.approach.rows import LowPasses
from swarm.reach.arcs.bplane import periapsis_km
from targets.base.constants import DAY_S

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]

# A pixel of 1 m on the ground is full quality, one of 100 m none; time is counted below 100 km. Own choices.
FULL_M, WORST_M, DWELL_BELOW_KM = 1.0, 100.0, 100.0


@dataclass(frozen=True)
class PassRules:
    """What an approach says about arrivals: the body's ephemeris error, its highest ground, the limit on impacts."""

    ephemeris_sigma_km: float
    lowest_km: float
    impact_limit: float | None


@dataclass(frozen=True)
class JudgedPasses:
    """n rows; NaN where no burn was found.

    expected_quality : of the camera, over the delivery; a sample that hits counts as 0
    sigma_altitude_km: 1 sigma of the height flown
    impact_chance    : over what may become of the probe (an upper bound: see `_failed`)
    lowest_altitude_for_limit_km : least height that keeps the limit, at the row's clock angle; NaN without one
    """

    burn_m_s: Floats
    v_inf_km_s: Floats
    periapsis_speed_km_s: Floats
    altitude_km: Floats
    latitude_deg: Floats
    longitude_e_deg: Floats
    ground_speed_km_s: Floats
    sun_elevation_deg: Floats
    dwell_s: Floats
    pixel_m: Floats
    smear_px: Floats
    b_t_km: Floats
    b_r_km: Floats
    sigma_major_km: Floats
    sigma_minor_km: Floats
    sigma_altitude_km: Floats
    dv99_m_s: Floats
    expected_quality: Floats
    impact_chance: Floats
    lowest_altitude_for_limit_km: Floats


def judge_passes(study: Study, rows: LowPasses, rules: PassRules) -> JudgedPasses:
    """Judge every row of one passage; the answer for one does not depend on which others there are."""
    errors, normals = errors_of(study), normals_of(study)
    n = len(rows.burn_s)
    out = JudgedPasses(*(np.full(n, np.nan) for _ in fields(JudgedPasses)))
    good = np.flatnonzero(rows.shots.status == OK)
    if not len(good):
        return out
    ground = pass_geometry(
        rows.passage.body, rows.shots.relative[good], rows.shots.closest_s[good],
        np.tile(rows.passage.sun_km, (len(good), 1)),
    )  # fmt: skip
    _keep_ground(out, good, ground, study, rows)
    for j, k in enumerate(good):
        made = _delivery(study, rows, int(k), rules, errors, normals)
        _keep_row(out, int(k), made, float(ground.sun_elevation_deg[j]), study, rows, rules)
    return out


def _keep_ground(
    out: JudgedPasses, good: NDArray[np.int64], ground: PassGeometry, study: Study, rows: LowPasses
) -> None:
    shots, body = rows.shots, rows.passage.body
    pixel_rad = pixel_angle_rad(study.probe)
    out.burn_m_s[good] = 1e3 * np.linalg.norm(shots.burn_km_s[good], axis=1)
    out.v_inf_km_s[good] = shots.v_inf_km_s[good]
    for name in (
        "periapsis_speed_km_s", "altitude_km", "latitude_deg", "longitude_e_deg", "ground_speed_km_s",
        "sun_elevation_deg",
    ):  # fmt: skip
        getattr(out, name)[good] = getattr(ground, name)
    nearest = np.linalg.norm(shots.relative[good, :3], axis=1)
    out.dwell_s[good] = dwell_s(
        nearest, shots.v_inf_km_s[good], within_km=body.radius_km + DWELL_BELOW_KM, mu_km3_s2=body.gm_km3_s2
    )
    out.pixel_m[good] = ground_pixel_m(ground.altitude_km, pixel_rad=pixel_rad)
    out.smear_px[good] = _smear(ground.altitude_km, ground.ground_speed_km_s, study, pixel_rad)
    out.b_t_km[good], out.b_r_km[good] = shots.b_km[good].T


def _smear(altitude_km: Floats, speed_km_s: Floats | float, study: Study, pixel_rad: float) -> Floats:
    return ground_smear_px(
        altitude_km, speed_km_s, pixel_rad=pixel_rad, exposure_s=1e-3 * study.probe.exposure_ms,
        compensated=1.0 - study.probe.tracking_error,
    )  # fmt: skip


def _delivery(
    study: Study, rows: LowPasses, k: int, rules: PassRules, errors: Errors, normals: Normals
) -> PassDelivery:
    """Corrections that come after the burn's clean-up and before the last one, and what they leave."""
    shots, burn_s, met_s = rows.shots, float(rows.burn_s[k]), float(rows.shots.closest_s[k])
    after = burn_s + np.array(study.delivery.corrections_after_burn_days) * DAY_S
    before = (
        met_s - np.array([*study.delivery.corrections_before_days, study.delivery.last_before_days]) * DAY_S
    )
    dates = np.unique(np.concatenate([after, before]))
    dates = dates[
        (dates > burn_s + 3600.0) & (dates <= met_s - study.delivery.last_before_days * DAY_S + 1.0)
    ]
    state = rows.path[k].copy()
    state[3:] += shots.burn_km_s[k]
    by_start = shots.by_state[k]
    return deliver(
        by_start,
        influence_at(state, burn_s, dates, by_start=by_start, field=rows.field),
        met_s - dates,
        burn_km_s=shots.burn_km_s[k],
        checkout_s=float(rows.burn_s[k] - rows.release_s[k]),
        sight=Sight(rows.passage.body.radius_km, float(shots.v_inf_km_s[k]), rules.ephemeris_sigma_km),
        errors=errors,
        normals=normals,
    )


def _failed(study: Study) -> float:
    """Chance that a probe is dead before its corrections, or before its burn where that is worse: all are so early.

    An upper bound of what counts here. The simple model knows no dates; of the other, what fails on arrival and at
    release, the rest being later or not a matter of where metal goes.
    """
    survival = study.survival
    if survival.model == "simple":
        return 1.0 - survival.success
    return 1.0 - (1.0 - survival.dead_on_arrival) * survival.release_success


def _keep_row(
    out: JudgedPasses,
    k: int,
    made: PassDelivery,
    sun_deg: float,
    study: Study,
    rows: LowPasses,
    rules: PassRules,
) -> None:
    body, shots = rows.passage.body, rows.shots
    v_inf = float(shots.v_inf_km_s[k])
    tt, rr, tr = made.delivered_cov
    values = np.linalg.eigvalsh([[tt, tr], [tr, rr]])
    out.sigma_minor_km[k], out.sigma_major_km[k] = np.sqrt(np.maximum(values, 0.0))
    aims = np.linalg.norm(shots.b_km[k] + made.miss_km, axis=1)
    heights = periapsis_km(aims, v_inf, mu_km3_s2=body.gm_km3_s2) - body.radius_km
    out.sigma_altitude_km[k] = float(heights.std())
    out.dv99_m_s[k] = made.dv99_m_s
    safe = heights > rules.lowest_km
    above = np.maximum(heights, 1e-3)
    pixel_rad = pixel_angle_rad(study.probe)
    score = pixel_score(ground_pixel_m(above, pixel_rad=pixel_rad), full_m=FULL_M, worst_m=WORST_M)
    score = score * smear_score(_smear(above, float(out.ground_speed_km_s[k]), study, pixel_rad))
    out.expected_quality[k] = float((score * safe).mean() * light_score(sun_deg))
    disc = float(impact_radius_km(body, v_inf, terrain_km=rules.lowest_km))
    # where a two-body leg meets the centre, its own path is no path: the mothership flies by
    met = math.isfinite(rows.passage.distance_km)
    row = Arrivals(
        aim_km=shots.b_km[k],
        unburned_km=shots.unburned_km[k] if met else np.array([1e9, 0.0]),
        delivered_cov=made.delivered_cov,
        uncorrected_cov=made.uncorrected_cov,
        unburned_cov=made.unburned_cov,
        dead_before_burn=0.0,
        dead_before_corrections=_failed(study),
    )
    unburned = replace(row, dead_before_burn=row.dead_before_corrections, dead_before_corrections=0.0)
    out.impact_chance[k] = max(impact_chance(row, disc), impact_chance(unburned, disc))
    if rules.impact_limit is not None:
        out.lowest_altitude_for_limit_km[k] = lowest_altitude_km(
            row, body, v_inf_km_s=v_inf, disc_km=disc, limit=rules.impact_limit
        )
