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

from swarm.encounter.aim import best_aim
from swarm.encounter.delivery import (
    errors_of,
    fill_influence,
    fill_start,
    larger_sigma,
    linear_covariance,
    normals_of,
    plan_corrections,
    quantile,
    sample_arrivals,
    sight_s,
)
from swarm.encounter.downlink import chance_of, downlink_of, sample_earth, send_home
from swarm.encounter.propellant import carried_m_s
from swarm.encounter.quality import (
    Optics,
    capture_at,
    detection_range_km,
    factors_at,
    pixel_angle_rad,
    quality_at,
)
from swarm.reach.arcs.bplane import b_plane_axes
from targets.base.constants import DAY_S
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.knowledge import position_covariance_km2, states_at
from targets.catalogue.reading import Catalogue
from targets.catalogue.worth import diameters

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]

# Why an opportunity is worth little; the first that applies. Sentences for a reader: `REASONS`.
OK, STORAGE, LIFE, POWER, CONJUNCTION, LINK = range(6)
PHASE, RESOLUTION, MOTION, NEVER_SEEN, SEEN_TOO_LATE, TOO_DEAR, CAPTURE = range(6, 13)
REASONS = (
    "nothing stands out against it",
    "the probe would be released after longer on the mothership than it can be stored",
    "the probe's life ends before its data are home",
    "the panels do not feed the transmitter so far from the Sun, and the battery is empty too soon",
    "the Sun stands in the way of the link for as long as data could be sent",
    "the link is too slow for even the smallest set of images",
    "the target shows too little of its lit side, whatever the aim side",
    "the target is too small for the camera at the nearest allowed distance",
    "the pass is too fast for slew rate, exposure and frame rate",
    "the orbit of the target is known too badly: it may pass beyond the camera's sight",
    "the camera sees the target too late for a correction",
    "the corrections need more than the probe carries",
    "the time of closest approach is too uncertain for the field of view",
)
# Below these the reason is said (own choices): chance of the data, quality at best, share of it that delivery leaves.
_LOW_RETURN, _LOW_BEST, _LOW_SHARE = 0.5, 0.1, 0.5
# Reasons by what `send_home` says.
_WHY_NOT_HOME = (LINK, STORAGE, LIFE, POWER, CONJUNCTION, LINK)


@dataclass(frozen=True)
class Judged:
    """n opportunities; chances are given working hardware. B-plane: T, R of the contract, from target to probe.

    chance_returned     : (n,) P(data come home | the encounter happens)
    chance_quality      : (n, q) P(quality >= the q-th asked one over the delivery); samples that need more than
                          the probe carries count as 0
    expected_quality    : (n,) quality averaged over the delivery, not delivered samples as 0
    best_quality        : (n,) quality with a perfect delivery at the best aim point
    seen_chance         : (n,) share of samples that get a correction with the target in sight
    dv99_m_s            : (n,) 99th percentile of the sum of corrections flown, never more than is carried
    dv99_needed_m_s     : (n,) the same if nothing were lacking
    delivered_chance    : (n,) share of samples whose corrections the probe can fly
    aim_t_km, aim_r_km, aim_km : (n,) aim point and its distance
    delivery_cov_km2    : (n, 3) TT, RR, TR of the miss relative to the aim point, after the last correction
    start_cov_km2       : (n, 3) the same before any correction, the target's own error left out
    before_cov_km2      : (n, 3) the same after every correction from the ground, before the probe sees the target
    sigma_time_s        : (n,) of the time of closest approach
    detect_range_km, detect_h_before : (n,) where, and how long before closest approach, the target is seen first
    data_mbit, downlink_h : (n,) data that can be returned of the set wanted, and transmitting hours it takes
    home_days           : (n,) days from encounter until they are home
    relayed             : (n,) bool, whether most of them come by the mothership
    corrections         : (n,) int16, how many are planned, optical ones included
    reason              : (n,) int8, index of REASONS
    """

    chance_returned: Floats
    chance_quality: Floats
    expected_quality: Floats
    best_quality: Floats
    seen_chance: Floats
    dv99_m_s: Floats
    dv99_needed_m_s: Floats
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
    reason: NDArray[np.int8]


def judge(
    study: Study, opportunities: pa.Table, targets: Catalogue, *, qualities: tuple[float, ...]
) -> Judged:
    """Judge every opportunity; the answer for one does not depend on which others are in the table.

    Parameters
    ----------
    study         : probe, delivery, knowledge, margins, constraints.sun_earth_probe_min_deg are read
    opportunities : columns release_jd_tdb, burn_jd_tdb, encounter_jd_tdb, burn_x/y/z_m_s, burn_m_s,
                    v_rel_x/y/z_km_s, v_rel_km_s, phase_in_deg, target_x/y/z_km, sun_earth_probe_deg,
                    earth_range_au, sun_range_au, mothership_range_km and target_index, the row of `targets`
    qualities     : q values for `chance_quality`
    """
    columns = _Columns(opportunities)
    row = columns.whole("target_index")
    bodies = targets.take(row)
    encounter_s = tdb_s_from_jd(columns["encounter_jd_tdb"])
    v_rel = columns.vectors("v_rel_{}_km_s")
    place = columns.vectors("target_{}_km")
    _, target_v = states_at(bodies, encounter_s)
    covariance, _ = position_covariance_km2(
        bodies,
        encounter_s,
        floor_km=study.knowledge.target_floor_km,
        runoff_fraction=study.knowledge.runoff_fraction,
    )
    axes = b_plane_axes(v_rel)
    release_s, burn_s = (tdb_s_from_jd(columns[name]) for name in ("release_jd_tdb", "burn_jd_tdb"))
    detect_km = detection_range_km(
        bodies.h_mag,
        bodies.g_slope,
        sun_range_au=columns["sun_range_au"],
        phase_in_deg=columns["phase_in_deg"],
        limiting_mag=study.probe.limiting_mag,
    )
    margins = study.margins
    spare_m_s = carried_m_s(study) - columns["burn_m_s"] * (1.0 + margins.deterministic_fraction)
    spare_m_s -= margins.attitude_m_s * (1.0 + margins.attitude_fraction)
    stored_days = columns["release_jd_tdb"] - study.study.start_jd_tdb + study.survival.stored_before_days
    cases = _Cases(
        np.hstack([place, target_v + v_rel]),
        axes,
        np.linalg.norm(v_rel, axis=1),
        1e-3 * columns.vectors("burn_{}_m_s"),
        encounter_s,
        encounter_s - release_s,
        encounter_s - burn_s,
        stored_days,
        diameters(bodies)[0],
        columns["sun_range_au"],
        detect_km,
        covariance,
        columns["mothership_range_km"],
        1e-3 * np.maximum(spare_m_s, 0.0),
    )
    # the span of the study, not of this table: where a grid begins shows in the last bit of what is read off it
    last_s = float(tdb_s_from_jd(study.study.end_jd_tdb)) + study.probe.downlink_max_days * DAY_S
    earth, grid = sample_earth(float(tdb_s_from_jd(study.study.start_jd_tdb)), last_s)
    out = _Answers(*_room(len(encounter_s), len(qualities)))
    _judge_many(
        cases,
        _camera(study),
        downlink_of(study),
        earth,
        grid,
        errors_of(study),
        normals_of(study),
        np.array(qualities, dtype=float),
        out,
    )
    return Judged(**out._asdict())  # fmt: skip


class _Columns:
    """Columns of a table as arrays of their own memory."""

    def __init__(self, table: pa.Table) -> None:
        self._table = table

    def __getitem__(self, name: str) -> Floats:
        return np.array(self._table[name].to_numpy(), dtype=float)

    def whole(self, name: str) -> NDArray[np.int64]:
        return np.array(self._table[name].to_numpy(), dtype=np.int64)

    def vectors(self, pattern: str) -> Floats:
        return np.column_stack([self[pattern.format(axis)] for axis in "xyz"])


class _Cases(NamedTuple):
    """What the loop reads of n opportunities; km, km/s, s."""

    state: Floats  # (n, 6) probe at the encounter
    axes: Floats  # (n, 3, 3) S, T, R
    speed_km_s: Floats
    burn_km_s: Floats  # (n, 3)
    encounter_s: Floats
    since_release_s: Floats
    since_burn_s: Floats
    stored_days: Floats
    diameter_km: Floats
    sun_range_au: Floats
    detect_km: Floats
    target_cov_km2: Floats  # (n, 3, 3) ICRF
    mothership_km: Floats
    spare_km_s: Floats  # left for corrections


class _Camera(NamedTuple):
    """What the loop reads of the camera and its use."""

    pixel_rad: float
    pixels: float
    slew_limit_rad_s: float
    keepout_km: float
    smear_1au_s: float
    dwell_s: float
    bits_per_square: float  # of all kept images, per pixel
    window: float
    half_field_rad: float
    autonomous: bool
    acquire_s: float


def _camera(study: Study) -> _Camera:
    probe = study.probe
    return _Camera(
        pixel_angle_rad(probe),
        float(probe.camera_pixels),
        math.radians(probe.slew_limit_deg_s),
        probe.keepout_km,
        1e-3 * probe.exposure_ms * probe.tracking_error,
        probe.images_kept * probe.frame_s,
        probe.images_kept * probe.bits_per_pixel,
        probe.image_window,
        0.5e-6 * probe.camera_ifov_urad * probe.camera_pixels,
        probe.autonomous_tracking,
        3600.0 * study.delivery.acquire_hours,
    )


# The same fields as `Judged`, as a record that compiled code can fill.
_Answers = NamedTuple("_Answers", [(field.name, NDArray) for field in fields(Judged)])  # type: ignore[misc]


def _room(n: int, qualities: int) -> list[NDArray]:
    shapes: dict[str, tuple[int, ...]] = dict.fromkeys(_THREE, (n, 3))
    shapes["chance_quality"] = (n, qualities)
    kinds = {"relayed": np.bool_, "corrections": np.int16, "reason": np.int8}
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
def _fly(k, optical, cases, axes, target, start, seen_s, speed, spare, errors, normals, miss, spent, seen):
    """Plan, sample and sum up one policy; return (plan, share carried, share of use)."""
    state, cruise_s, sight = cases.state[k], cases.since_burn_s[k], cases.detect_km[k]
    plan = plan_corrections(state, axes, cruise_s, seen_s, errors, optical)
    sample_arrivals(plan, start, target, sight, speed, errors, normals, miss, spent, seen)
    carried = useful = 0
    for i in range(spent.size):
        if spent[i] <= spare:
            carried += 1
            if seen[i] or plan.optical == 0:
                useful += 1
    return plan, carried / spent.size, useful / spent.size


@njit(cache=True)
def _quality_chances(aim, miss, spent, spare, sun, optics, along, sight_km, asked, out):
    """P(quality >= asked) over the samples; out (q,). What the camera misses for its pointing counts as 0."""
    count = spent.size
    out[:] = 0.0
    for i in range(count):
        if spent[i] > spare:
            continue
        x, y = aim[0] + miss[i, 0], aim[1] + miss[i, 1]
        b = math.sqrt(x * x + y * y)
        quality, caught = 0.0, 1.0
        if b > 0.0 and b <= sight_km:
            quality = quality_at(b, (x * sun[0] + y * sun[1]) / b, optics)
            if along[0] > 0.0:
                caught = capture_at(b, along[0], along[1])
        for q in range(asked.size):
            if asked[q] <= 0.0:
                # asks for nothing but an encounter: one that the camera sees, be it as a point of light
                out[q] += caught if b <= sight_km else 0.0
            elif quality >= asked[q]:
                out[q] += caught
    for q in range(asked.size):
        out[q] /= count


@njit(cache=True)
def _offer(cov, useful, perfect, view, miss, spent, spare, asked, chances):
    """What one policy offers: aim point (T, R), expected quality, and `chances` of the qualities asked.

    view : what the pass is seen by: Sun, optics, errors along, range at which the target is seen
    """
    sun, optics, along, sight = view
    aim_t, aim_r, quality = best_aim(cov, sun, optics, along)
    quality *= useful
    if quality <= 0.0:
        aim_t, aim_r = perfect
    _quality_chances((aim_t, aim_r), miss, spent, spare, sun, optics, along, sight, asked, chances)
    return aim_t, aim_r, quality


@njit(cache=True)
def _reason_of_quality(aim, sun, optics):
    """The factor that is lowest at the best aim point, or halfway in where no pass is worth anything."""
    b = math.sqrt(aim[0] * aim[0] + aim[1] * aim[1])
    sun_size = math.sqrt(sun[0] * sun[0] + sun[1] * sun[1])
    cosine = sun_size
    if b > 0.0:
        cosine = (aim[0] * sun[0] + aim[1] * sun[1]) / b
    else:
        b = max(optics.v_rel_km_s / optics.slew_limit_rad_s, optics.keepout_km + 0.5 * optics.diameter_km)
    scores = factors_at(b, cosine, optics)
    shown, sharp = scores[1] * scores[2], scores[0]
    motion = scores[3] * scores[4] * scores[5] * scores[6]
    if sharp <= shown and sharp <= motion:
        return RESOLUTION
    return PHASE if shown <= motion else MOTION


@njit(cache=True)
def _send(k, cases, axes, wanted_mbit, earth, grid, downlink, out):
    """Fill in what comes home of one encounter; return all that could be sent, Mbit."""
    state, cruise_days = cases.state[k], cases.since_release_s[k] / DAY_S
    recede = _recede_km_s(state, axes, cases.burn_km_s[k], cases.since_burn_s[k])
    possible, hours, days, relayed, why = send_home(
        state, cases.encounter_s[k], (cases.stored_days[k], cruise_days), (cases.mothership_km[k], recede),
        wanted_mbit, earth, grid, downlink,
    )  # fmt: skip
    out.data_mbit[k] = min(possible, wanted_mbit)
    out.downlink_h[k], out.home_days[k] = hours, days
    out.relayed[k] = relayed > 0.5 * possible
    out.chance_returned[k] = chance_of(possible, downlink.data_min_mbit, downlink)
    if out.chance_returned[k] < _LOW_RETURN:
        out.reason[k] = _WHY_NOT_HOME[why]
    return possible


@njit(cache=True)
def _reason_of_delivery(seen_s, share_seen, carried, errors, tracked):
    """What keeps most of the quality from being delivered."""
    if seen_s - errors.turnaround_s < errors.last_min_s:
        return SEEN_TOO_LATE
    if carried < _LOW_SHARE:
        return TOO_DEAR
    if share_seen < _LOW_SHARE:
        return NEVER_SEEN
    return NEVER_SEEN if tracked else CAPTURE


@njit(cache=True)
def _deliver(k, cases, errors, out):
    """Covariances before the target is seen; return (start, target in T R S, its T R part, variance along)."""
    state, axes, cruise_s = cases.state[k], cases.axes[k], cases.since_burn_s[k]
    start = np.empty(3)
    fill_start(state, axes, cases.burn_km_s[k], (cases.since_release_s[k], cruise_s), errors, start)
    target = _in_b_plane(cases.target_cov_km2[k], axes)
    across = np.array([target[0, 0], target[1, 1], target[0, 1]])
    ground = plan_corrections(state, axes, cruise_s, 0.0, errors, False)
    out.start_cov_km2[k] = start
    out.before_cov_km2[k] = linear_covariance(ground, start, across, 0.0, cases.speed_km_s[k], errors)
    along = target[2, 2] + (ground.unknown_along[ground.planned - 1] if ground.planned > 0 else 0.0)
    return start, target, across, along


@njit(cache=True)
def _judge_one(k, cases, camera, downlink, earth, grid, errors, normals, asked, out, sheets):
    state, axes, speed, spare = cases.state[k], cases.axes[k], cases.speed_km_s[k], cases.spare_km_s[k]
    place_km = math.sqrt(_dot(state, state))
    sun = (-_dot(axes[1], state) / place_km, -_dot(axes[2], state) / place_km)
    # what comes home, and how many pixels across it pays for
    whole = _optics(k, cases, camera, speed, camera.pixels)
    possible = _send(k, cases, axes, downlink.data_min_mbit, earth, grid, downlink, out)
    paid = math.sqrt(1e6 * possible / camera.bits_per_square) / camera.window
    optics = _optics(k, cases, camera, speed, min(camera.pixels, paid)) if possible > 0.0 else whole
    # where it arrives, with a correction in sight of the target or without: whichever has the greater chances of the
    # qualities the science asks for, or else the greater expected quality
    start, target, across, along_var = _deliver(k, cases, errors, out)
    sight = cases.detect_km[k]
    out.detect_range_km[k], out.detect_h_before[k] = sight, sight / speed / 3600.0
    out.sigma_time_s[k] = math.sqrt(along_var) / speed
    seen_s = sight_s(sight, speed, larger_sigma(out.before_cov_km2[k]), math.sqrt(along_var))
    tracked = camera.autonomous and sight / speed >= camera.acquire_s
    along = (0.0 if tracked else max(math.sqrt(along_var), 1e-9), camera.half_field_rad)
    perfect_t, perfect_r, out.best_quality[k] = best_aim(np.zeros(3), sun, optics, (0.0, 0.0))
    plan, carried, useful = _fly(
        k,
        True,
        cases,
        axes,
        target,
        start,
        seen_s,
        speed,
        spare,
        errors,
        normals,
        sheets.miss,
        sheets.spent,
        sheets.seen,
    )
    cov = linear_covariance(plan, start, across, sight, speed, errors)
    chances = out.chance_quality[k]
    view = (sun, optics, along, sight)
    aim_t, aim_r, quality = _offer(
        cov, useful, (perfect_t, perfect_r), view, sheets.miss, sheets.spent, spare, asked, chances
    )
    sheet_spent, sheet_seen = sheets.spent, sheets.seen
    if plan.optical > 0 and useful < 1.0:
        other, other_carried, other_useful = _fly(
            k, False, cases, axes, target, start, seen_s, speed, spare, errors, normals,
            sheets.other_miss, sheets.other_spent, sheets.other_seen,
        )  # fmt: skip
        other_cov, other_chances = (
            linear_covariance(other, start, across, sight, speed, errors),
            np.empty(asked.size),
        )
        other_t, other_r, other_quality = _offer(
            other_cov, other_useful, (perfect_t, perfect_r), view, sheets.other_miss, sheets.other_spent, spare, asked,
            other_chances,
        )  # fmt: skip
        more = other_chances.sum() - chances.sum()
        if more > 0.0 or (more == 0.0 and other_quality > quality):
            plan, cov, carried = other, other_cov, other_carried
            aim_t, aim_r, quality = other_t, other_r, other_quality
            chances[:] = other_chances
            sheet_spent, sheet_seen = sheets.other_spent, sheets.other_seen
    out.delivery_cov_km2[k] = cov
    out.corrections[k], out.delivered_chance[k] = plan.planned, carried
    out.aim_t_km[k], out.aim_r_km[k], out.aim_km[k] = aim_t, aim_r, math.sqrt(aim_t * aim_t + aim_r * aim_r)
    out.expected_quality[k] = quality
    if out.aim_km[k] > 0.0:
        # now that the distance is known, so is the set of images: how long it takes
        wanted = _wanted_mbit(out.aim_km[k], optics, camera, downlink.data_min_mbit)
        _send(k, cases, axes, wanted, earth, grid, downlink, out)
    needed = quantile(sheet_spent, 0.99, sheets.work)
    out.dv99_needed_m_s[k], out.dv99_m_s[k] = 1000.0 * needed, 1000.0 * min(needed, spare)
    share_seen = 0.0
    for i in range(sheet_seen.size):
        share_seen += 1.0 if sheet_seen[i] else 0.0
    out.seen_chance[k] = share_seen / sheet_seen.size
    if out.reason[k] == OK and out.best_quality[k] < _LOW_BEST:
        out.reason[k] = _reason_of_quality((perfect_t, perfect_r), sun, optics)
    elif out.reason[k] == OK and quality < _LOW_SHARE * out.best_quality[k]:
        out.reason[k] = _reason_of_delivery(seen_s, out.seen_chance[k], carried, errors, tracked)


class _Sheets(NamedTuple):
    """Scratch for the samples of one opportunity, flown both ways."""

    miss: Floats
    spent: Floats
    seen: NDArray[np.bool_]
    other_miss: Floats
    other_spent: Floats
    other_seen: NDArray[np.bool_]
    work: Floats


@njit(cache=True)
def _judge_many(cases, camera, downlink, earth, grid, errors, normals, asked, out):
    n = normals.start.shape[0]
    sheets = _Sheets(
        np.empty((n, 2)), np.empty(n), np.zeros(n, dtype=np.bool_),
        np.empty((n, 2)), np.empty(n), np.zeros(n, dtype=np.bool_), np.empty(n),
    )  # fmt: skip
    for k in range(cases.encounter_s.size):
        known = cases.state[k].sum() + cases.burn_km_s[k].sum() + cases.detect_km[k] + cases.encounter_s[k]
        if math.isfinite(known + cases.since_release_s[k] + cases.target_cov_km2[k].sum()):
            _judge_one(k, cases, camera, downlink, earth, grid, errors, normals, asked, out, sheets)
