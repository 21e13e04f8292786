"""What each opportunity is worth and how likely it is to be had: encounter, link, delivery and aim together.

Every opportunity is judged alone, by one compiled loop with the study's common random numbers, so the answer depends
neither on the other rows of the table nor on how the table is cut up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pyarrow as pa
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.cases import Camera, camera_of, cases_of
from swarm.encounter.corrections import fill_influence, plan_corrections, sight_s
from swarm.encounter.delivery import fill_start, larger_sigma, linear_covariance, quantile
from swarm.encounter.downlink import Downlink, chance_of, downlink_of, sample_earth, send_home
from swarm.encounter.error_model import CORRECTIONS_MAX, Errors, Normals, errors_of, normals_of
from swarm.encounter.known_aims import aim_as_known, known_aims
from swarm.encounter.policies import Arrival, Sheets, View, choose, sheet_of
from swarm.encounter.quality import Optics
from swarm.encounter.reasons import (
    LOW_BEST,
    LOW_RETURN,
    LOW_SHARE,
    OK,
    WHY_NOT_HOME,
    reason_of_delivery,
    reason_of_quality,
)
from targets.base.constants import DAY_S
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Judged:
    """n opportunities; chances are given working hardware. B-plane: T, R of the contract, from target to probe.

    chance_returned     : (n,) P(data come home | the encounter happens)
    chance_quality      : (n, q) P(quality >= the q-th asked one and the target seen, over the delivery); samples that
                          need more than the probe carries count as 0
    shown_chance        : (n,) P(target seen, over the delivery)
    chance_low_quality  : (n,) P(target seen, quality < LOW_QUALITY, over the delivery)
    expected_quality    : (n,) quality averaged over the delivery, not delivered samples as 0
    best_quality        : (n,) quality with a perfect delivery at the best aim point
    seen_chance         : (n,) share of samples that get a correction with the target in sight
    dv99_m_s            : (n,) 99th percentile of the sum of corrections flown, never more than is carried
    dv99_needed_m_s     : (n,) the same if nothing were lacking
    sight_limit_m_s     : (n,) most that a sample spends that flies corrections in sight of the target; those whose sum
                          would be more fly without them; 0 where none are flown
    delivered_chance    : (n,) share of samples whose corrections the probe can fly, all that are planned
    aim_t_km, aim_r_km, aim_km : (n,) aim point and its distance
    delivery_cov_km2    : (n, 3) TT, RR, TR of the miss relative to the aim point, after the last correction
    start_cov_km2       : (n, 3) the same before any correction, the target's own error left out
    before_cov_km2      : (n, 3) the same after every correction from the ground, before the probe sees the target
    sigma_time_s        : (n,) of the time of closest approach
    detect_range_km, detect_h_before : (n,) where, and how long before closest approach, the target is seen first
    data_mbit, downlink_h : (n,) data that can be returned of the set wanted, and transmitting hours it takes
    home_days           : (n,) days from encounter until they are home
    relayed             : (n,) bool, whether most of them come by the mothership
    corrections         : (n,) int16, how many are planned, those in sight of the target included
    correction_before_s : (n, CORRECTIONS_MAX) when they are, before the encounter; what is beyond their number is 0
    correction_kind     : (n, CORRECTIONS_MAX) int8, what they are: index of corrections.KINDS
    reason              : (n,) int8, index of REASONS
    """

    chance_returned: Floats
    chance_quality: Floats
    shown_chance: Floats
    chance_low_quality: Floats
    expected_quality: Floats
    best_quality: Floats
    seen_chance: Floats
    dv99_m_s: Floats
    dv99_needed_m_s: Floats
    sight_limit_m_s: Floats
    delivered_chance: Floats
    aim_t_km: Floats
    aim_r_km: Floats
    aim_km: Floats
    delivery_cov_km2: Floats
    start_cov_km2: Floats
    before_cov_km2: Floats
    sigma_time_s: Floats
    detect_range_km: Floats
    detect_h_before: Floats
    data_mbit: Floats
    downlink_h: Floats
    home_days: Floats
    relayed: NDArray[np.bool_]
    corrections: NDArray[np.int16]
    correction_before_s: Floats
    correction_kind: NDArray[np.int8]
    reason: NDArray[np.int8]


def judge(
    study: Study, opportunities: pa.Table, targets: Catalogue, *, qualities: tuple[float, ...]
) -> Judged:
    """Judge every opportunity; the answer for one does not depend on which others are in the table.

    Parameters
    ----------
    study         : probe, delivery, knowledge, margins, constraints.sun_earth_probe_min_deg are read
    opportunities : columns release_jd_tdb, burn_jd_tdb, encounter_jd_tdb, burn_x/y/z_m_s, burn_m_s,
                    v_rel_x/y/z_km_s, v_rel_km_s, phase_in_deg, target_x/y/z_km, target_vx/vy/vz_km_s,
                    sun_earth_probe_deg, earth_range_au, sun_range_au, mothership_range_km and target_index, the row
                    of `targets`
    qualities     : q values for `chance_quality`, rising
    """
    # the span of the study, not of this table: where a grid begins shows in the last bit of what is read off it
    last_s = float(tdb_s_from_jd(study.study.end_jd_tdb)) + study.probe.downlink_max_days * DAY_S
    earth, grid = sample_earth(float(tdb_s_from_jd(study.study.start_jd_tdb)), last_s)
    cases = cases_of(study, opportunities, targets)
    out = _Answers(*_room(len(cases.encounter_s), len(qualities)))
    rules = _Rules(
        camera_of(study),
        downlink_of(study),
        earth,
        grid,
        errors_of(study),
        normals_of(study),
        np.array(qualities, dtype=float),
    )
    _judge_many(cases, rules, known_aims(), out)
    return Judged(**out._asdict())


class _Rules(NamedTuple):
    """What is the same for all opportunities of a study."""

    camera: Camera
    downlink: Downlink
    earth: Floats  # (m, 6) on `earth_grid` = (start_s, step_s)
    earth_grid: tuple[float, float]
    errors: Errors
    normals: Normals
    asked: Floats  # (q,) qualities, rising


# The same fields as `Judged`, as a record that compiled code can fill.
_Answers = NamedTuple("_Answers", [(field.name, NDArray) for field in fields(Judged)])  # type: ignore[misc]


def _room(n: int, qualities: int) -> list[NDArray]:
    shapes: dict[str, tuple[int, ...]] = dict.fromkeys(_THREE, (n, 3))
    shapes |= {"chance_quality": (n, qualities)}
    shapes |= dict.fromkeys(("correction_before_s", "correction_kind"), (n, CORRECTIONS_MAX))
    kinds = {"relayed": np.bool_, "corrections": np.int16, "reason": np.int8, "correction_kind": np.int8}
    return [
        np.zeros(shapes.get(field.name, (n,)), dtype=kinds.get(field.name, np.float64))
        for field in fields(Judged)
    ]


_THREE = ("start_cov_km2", "before_cov_km2", "delivery_cov_km2")


# --- compiled -----------------------------------------------------------------------------------------------


@njit(cache=True)
def _wanted_mbit(b_km, optics, camera, least_mbit):
    """The whole set of kept images of a pass at b: cut to a window about the target, and never under the least."""
    side = min(camera.window * optics.diameter_km / (optics.pixel_rad * b_km), camera.pixels)
    return max(1e-6 * camera.bits_per_square * side * side, least_mbit)


@njit(cache=True)
def _optics(k, cases, camera, speed, pixels_most):
    sun_au = cases.sun_range_au[k]
    return Optics(
        speed,
        cases.diameter_km[k],
        camera.pixel_rad,
        pixels_most,
        camera.slew_limit_rad_s,
        camera.keepout_km,
        camera.smear_1au_s * sun_au * sun_au,
        camera.dwell_s,
    )


@njit(cache=True)
def _in_b_plane(cov, axes):
    """Rows and columns T, R, S of a covariance in ICRF, (3, 3)."""
    order = (1, 2, 0)
    out = np.zeros((3, 3))
    for i in range(3):
        for j in range(3):
            for p in range(3):
                for q in range(3):
                    out[i, j] += axes[order[i], p] * cov[p, q] * axes[order[j], q]
    return out


@njit(cache=True)
def _recede_km_s(state, axes, burn, since_s):
    """How fast probe and mothership part after the encounter: along the separation, to first order in the burn."""
    velocity, position = np.empty((3, 3)), np.empty((3, 3))
    step = 0.01 * since_s
    fill_influence(state, axes, since_s, velocity, position)
    now = _moved_km(velocity, burn)
    fill_influence(state, axes, since_s - step, velocity, position)
    return max((now - _moved_km(velocity, burn)) / step, 0.0)


@njit(cache=True)
def _moved_km(velocity, burn):
    """Length of the displacement a burn makes."""
    total = 0.0
    for i in range(3):
        part = _dot(velocity[i], burn)
        total += part * part
    return math.sqrt(total)


@njit(cache=True)
def _dot(a, b):
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@njit(cache=True)
def _send(k, cases, wanted_mbit, rules, out):
    """Fill in what comes home of one encounter; return all that could be sent, Mbit."""
    axes, downlink = cases.axes[k], rules.downlink
    state, cruise_days = cases.state[k], cases.since_release_s[k] / DAY_S
    recede = _recede_km_s(state, axes, cases.burn_km_s[k], cases.since_burn_s[k])
    possible, hours, days, relayed, why = send_home(
        state, cases.encounter_s[k], (cases.stored_days[k], cruise_days), (cases.mothership_km[k], recede),
        wanted_mbit, rules.earth, rules.earth_grid, downlink,
    )  # fmt: skip
    out.data_mbit[k] = min(possible, wanted_mbit)
    out.downlink_h[k], out.home_days[k] = hours, days
    out.relayed[k] = relayed > 0.5 * possible
    out.chance_returned[k] = chance_of(possible, downlink.data_min_mbit, downlink)
    if out.chance_returned[k] < LOW_RETURN:
        out.reason[k] = WHY_NOT_HOME[why]
    return possible


@njit(cache=True)
def _arrive(k, cases, errors, out):
    """Covariances before the target is seen, and when it is."""
    state, axes, cruise_s, speed = cases.state[k], cases.axes[k], cases.since_burn_s[k], cases.speed_km_s[k]
    start = np.empty(3)
    fill_start(state, axes, cases.burn_km_s[k], (cases.since_release_s[k], cruise_s), errors, start)
    target = _in_b_plane(cases.target_cov_km2[k], axes)
    across = np.array([target[0, 0], target[1, 1], target[0, 1]])
    ground = plan_corrections(state, axes, cruise_s, 0.0, errors, False)
    out.start_cov_km2[k] = start
    out.before_cov_km2[k] = linear_covariance(ground, start, across, 0.0, speed, errors)
    along = target[2, 2] + (ground.unknown_along[ground.planned - 1] if ground.planned > 0 else 0.0)
    sight = cases.acquire_km[k]
    out.detect_range_km[k], out.detect_h_before[k] = sight, sight / speed / 3600.0
    out.sigma_time_s[k] = math.sqrt(along) / speed
    seen_s = sight_s(sight, speed, larger_sigma(out.before_cov_km2[k]), math.sqrt(along))
    return Arrival(start, target, across, math.sqrt(along), sight, seen_s)


@njit(cache=True)
def _keep(k, chosen, sheet, spare, work, out):
    """Write down the policy that was chosen, and what its samples come to."""
    policy, plan, count = chosen.policy, chosen.policy.plan, sheet.spent.size
    out.chance_quality[k] = 0.0
    seen = 0
    for i in range(count):
        seen += 1 if sheet.seen[i] else 0
        if sheet.spent[i] <= spare:
            out.chance_quality[k] += sheet.worth[i]
            out.shown_chance[k] += sheet.shown[i]
            out.chance_low_quality[k] += sheet.low[i]
    out.chance_quality[k] /= count
    out.shown_chance[k] /= count
    out.chance_low_quality[k] /= count
    out.seen_chance[k], out.delivered_chance[k] = seen / count, chosen.carried
    out.sight_limit_m_s[k] = 1000.0 * chosen.limit_km_s
    out.expected_quality[k] = chosen.quality
    out.delivery_cov_km2[k], out.corrections[k] = policy.cov, plan.planned
    for j in range(plan.planned):
        out.correction_before_s[k, j], out.correction_kind[k, j] = plan.before_s[j], plan.kind[j]
    aim_t, aim_r = policy.aim_t_km, policy.aim_r_km
    out.aim_t_km[k], out.aim_r_km[k], out.aim_km[k] = aim_t, aim_r, math.sqrt(aim_t * aim_t + aim_r * aim_r)
    needed = quantile(sheet.spent, 0.99, work)
    out.dv99_needed_m_s[k], out.dv99_m_s[k] = 1000.0 * needed, 1000.0 * min(needed, spare)


@njit(cache=True)
def _judge_one(k, cases, rules, aims, sheets, out):
    state, speed = cases.state[k], cases.speed_km_s[k]
    camera, least_mbit = rules.camera, rules.downlink.data_min_mbit
    place_km = math.sqrt(_dot(state, state))
    sun = (-_dot(cases.axes[k, 1], state) / place_km, -_dot(cases.axes[k, 2], state) / place_km)
    # what comes home, and how many pixels across it pays for
    optics = _optics(k, cases, camera, speed, camera.pixels)
    possible = _send(k, cases, least_mbit, rules, out)
    if possible > 0.0:
        paid = math.sqrt(1e6 * possible / camera.bits_per_square) / camera.window
        optics = _optics(k, cases, camera, speed, min(camera.pixels, paid))
    arrival = _arrive(k, cases, rules.errors, out)
    tracked = camera.autonomous and cases.acquire_km[k] / speed >= camera.acquire_s
    along = (0.0 if tracked else max(arrival.along_km, 1e-9), camera.half_field_rad)
    view = View(sun, optics, along, cases.detect_km[k], aims)
    perfect_t, perfect_r, out.best_quality[k] = aim_as_known(np.zeros(3), sun, optics, (0.0, 0.0), aims)
    perfect = (perfect_t, perfect_r)
    chosen = choose(k, cases, arrival, view, perfect, rules, sheets)
    _keep(k, chosen, sheets.first, cases.spare_km_s[k], sheets.work, out)
    if out.aim_km[k] > 0.0:
        # now that the distance is known, so is the set of images: how long it takes
        _send(k, cases, _wanted_mbit(out.aim_km[k], optics, camera, least_mbit), rules, out)
    if out.reason[k] == OK and out.best_quality[k] < LOW_BEST:
        out.reason[k] = reason_of_quality(perfect, sun, optics)
    elif out.reason[k] == OK and chosen.quality < LOW_SHARE * out.best_quality[k]:
        out.reason[k] = reason_of_delivery(
            cases.acquire_km[k], arrival.seen_s, chosen.sighted, chosen.afforded, rules.errors, tracked
        )


@njit(cache=True)
def _judge_many(cases, rules, aims, out):
    n, asked = rules.normals.start.shape[0], rules.asked.size
    sheets = Sheets(sheet_of(n, asked), sheet_of(n, asked), np.empty(n))
    for k in range(cases.encounter_s.size):
        known = cases.state[k].sum() + cases.burn_km_s[k].sum() + cases.detect_km[k] + cases.encounter_s[k]
        if math.isfinite(known + cases.since_release_s[k] + cases.target_cov_km2[k].sum()):
            _judge_one(k, cases, rules, aims, sheets, out)
