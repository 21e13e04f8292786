"""The rows of an approach as flown in the field: ground below, influences on the aim, and what they come to."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.later_impact import later_chances
from swarm.encounter.pass_geometry import PassGeometry, dwell_s, pass_geometry
from swarm.encounter.pass_instruments import counter_sigma, finest
from swarm.encounter.pass_worth import (
    PassCases,
    PassWorth,
    lowest_for_limit_km,
    place_of_no_path,
    principal_sigmas_km,
    ship_chances,
    worth_of,
)
from swarm.encounter.steering import PROBE, Steered, SteeredBy, flyable, steered_by
from swarm.reach.approach.influence import influence_at
from swarm.reach.approach.rows import LowPasses
from swarm.study.approach_relations import impact_limit
from swarm.study.lowest import lowest_km
from targets.base.constants import DAY_S

if TYPE_CHECKING:
    from swarm.study.schema import Study
    from swarm.study.sections.approach import ApproachSettings

Floats = NDArray[np.float64]

# Time is counted below this height: own choice.
DWELL_BELOW_KM = 100.0


@dataclass(frozen=True)
class PassRules:
    """What an approach says about arrivals: the body's ephemeris error, its highest ground, the limit on impacts.

    steered_by : the mothership, and with what; None where the probe steers
    bound_years : so long what stays bound counts
    """

    ephemeris_sigma_km: float
    lowest_km: float
    impact_limit: float | None
    steered_by: SteeredBy | None = None
    bound_years: float = 0.0


def rules_of(study: Study, ask: ApproachSettings, *, own_aim_km: Floats | None = None) -> PassRules:
    """What an approach of a study says.

    own_aim_km : where the mothership of two-body legs passes by itself (`steering.steered_by`)
    """
    by = None if ask.steer == PROBE else steered_by(study, ask, own_aim_km)
    limit, years = impact_limit(study, ask), study.protection.bound_years
    return PassRules(ask.ephemeris_sigma_km, lowest_km(ask), limit, by, years)


@dataclass(frozen=True, eq=False)
class JudgedPasses:
    """The n rows that were met and need no more than a burn limit, or the mothership's tank, of those flown.

    rows : (n,) which rows
    late : how many rows the mothership would have to divert for after it has arrived
    least_ship_kg : least propellant that it needs for one of the others; infinite where the probe steers
    burn_m_s : what puts the probe on its way, whoever burns
    pixel_m, smear_px : of the finest camera; count_sigma of the best counter, NaN without one
    later_chance   : that a probe which stays bound to the planet hits a moon on a later pass
    counted_chance : what counts against the limit of its body: the probe's chances, and the mothership's if that does
    probe_keeps    : whether the probe's own chance keeps the limits of its approach and body
    within_limits  : whether that of its body is kept with the mothership's chance, too
    lowest_altitude_for_limit_km : least height that keeps all, at the row's clock angle, with the mothership's chance
                     as it is at the row's own height; NaN without a limit
    """

    rows: NDArray[np.int64]
    late: int
    least_ship_kg: float
    burn_m_s: Floats
    steered: Steered
    ship_chance: Floats
    later_chance: Floats
    counted_chance: Floats
    probe_keeps: NDArray[np.bool_]
    within_limits: NDArray[np.bool_]
    ground: PassGeometry
    dwell_s: Floats
    pixel_m: Floats
    smear_px: Floats
    count_sigma: Floats
    sigma_major_km: Floats
    sigma_minor_km: Floats
    lowest_altitude_for_limit_km: Floats
    cases: PassCases
    worth: PassWorth


def judge_passes(
    study: Study, rows: LowPasses, rules: PassRules, *, burn_limit_m_s: float = math.inf
) -> JudgedPasses:
    """Judge the rows of one passage; the answer for one does not depend on which others there are."""
    burn_m_s = 1e3 * np.linalg.norm(rows.shots.burn_km_s, axis=1)
    able = flyable(rows, rules.steered_by, burn_limit_m_s=burn_limit_m_s)
    good, by_ship = able.rows, able.steered
    shots, body = rows.shots, rows.passage.body
    ground = pass_geometry(
        body, shots.relative[good], shots.closest_s[good], np.tile(rows.passage.sun_km, (len(good), 1))
    )
    cases = _cases(study, rows, rules, good, ground, by_ship)
    worth = worth_of(study, cases)
    shipped = ship_chances(study, cases, worth, by_ship.aim_km)
    also = shipped * study.protection.carrier_included
    later = later_chances(rows, good, rules.bound_years)
    counted = worth.impact_chance + later + also
    most = math.inf if rules.impact_limit is None else rules.impact_limit
    held = study.protection.impact_chance_max.get(body.name, math.inf)
    probe_keeps = worth.impact_chance + later <= most
    pixel, smear = finest(study, ground.altitude_km, ground.ground_speed_km_s)
    larger, smaller = principal_sigmas_km(*worth.delivery_cov_km2.T)
    return JudgedPasses(
        rows=good,
        late=able.late,
        least_ship_kg=able.least_ship_kg,
        steered=by_ship,
        ship_chance=shipped,
        later_chance=later,
        counted_chance=counted,
        probe_keeps=probe_keeps,
        within_limits=probe_keeps & (counted <= held),
        burn_m_s=burn_m_s[good],
        ground=ground,
        dwell_s=dwell_s(
            np.linalg.norm(shots.relative[good, :3], axis=1), shots.v_inf_km_s[good],
            within_km=body.radius_km + DWELL_BELOW_KM, mu_km3_s2=body.gm_km3_s2,
        ),
        pixel_m=pixel,
        smear_px=smear,
        count_sigma=counter_sigma(study, ground.altitude_km, ground.ground_speed_km_s),
        sigma_major_km=larger,
        sigma_minor_km=smaller,
        lowest_altitude_for_limit_km=np.full(len(good), np.nan)
        if math.isinf(most)
        else lowest_for_limit_km(study, cases, worth, np.minimum(most, held - also) - later),
        cases=cases,
        worth=worth,
    )  # fmt: skip


def _cases(
    study: Study,
    rows: LowPasses,
    rules: PassRules,
    good: NDArray[np.int64],
    ground: PassGeometry,
    by_ship: Steered,
) -> PassCases:
    shots, n = rows.shots, len(good)
    dates = [_correction_dates(study, float(rows.burn_s[k]), float(shots.closest_s[k])) for k in good]
    met = math.isfinite(rows.passage.distance_km)
    return PassCases(
        body=(rows.passage.body.name,) * n,
        v_inf_km_s=shots.v_inf_km_s[good],
        ground_speed_km_s=ground.ground_speed_km_s,
        sun_elevation_deg=ground.sun_elevation_deg,
        ephemeris_sigma_km=np.full(n, rules.ephemeris_sigma_km),
        lowest_km=np.full(n, rules.lowest_km),
        checkout_s=(rows.burn_s - rows.release_s)[good],
        b_km=shots.b_km[good],
        unburned_km=shots.unburned_km[good] if met else np.tile(place_of_no_path(), (n, 1)),
        burn_km_s=shots.burn_km_s[good],
        own_burn_m_s=1e3 * np.linalg.norm(shots.burn_km_s[good] - by_ship.aimed_km_s, axis=1),
        by_ship=np.full(n, rules.steered_by is not None),
        by_burn=shots.by_state[good],
        before_s=tuple(float(shots.closest_s[k]) - at for k, at in zip(good, dates, strict=True)),
        by_corrections=tuple(_influences(rows, int(k), at) for k, at in zip(good, dates, strict=True)),
        later_m_s=np.zeros(n),
    )


def _correction_dates(study: Study, burn_s: float, met_s: float) -> Floats:
    """Corrections that come after the burn's clean-up and not after the last one before closest approach."""
    settings = study.delivery
    after = burn_s + np.array(settings.corrections_after_burn_days) * DAY_S
    before = met_s - np.array([*settings.corrections_before_days, settings.last_before_days]) * DAY_S
    dates = np.unique(np.concatenate([after, before]))
    return dates[(dates > burn_s + 3600.0) & (dates <= met_s - settings.last_before_days * DAY_S + 1.0)]


def _influences(rows: LowPasses, k: int, dates: Floats) -> Floats:
    state = rows.path[k].copy()
    state[3:] += rows.shots.burn_km_s[k]
    return influence_at(
        state, float(rows.burn_s[k]), dates, by_start=rows.shots.by_state[k], field=rows.field
    )
