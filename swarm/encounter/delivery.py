"""Where a probe really arrives, and what its corrections cost. Compiled; km, km/s, s; B-plane T, R of the contract.

The miss e is the B-plane error at closest approach. A velocity change dv at time t moves it by M dv, M = (T, R) Phi_rv,
a position change by N = (T, R) Phi_rr (two-body transition matrix from t to the encounter).

    start       spring, mothership's orbit, execution of the main burn
    ground      a correction -M^+ (e + n): n is what tracking does not know of the probe; the target's own error t is
                not seen, so the miss relative to the target stays e - t
    optical     once the probe has seen the target for `turnaround`: -M^+ (e - t + n), n the centroid error times the
                range of the last image; only here t goes away
    execution   every burn errs by the Gates model: fixed part, proportional part along, pointing across

The error along the relative velocity (when the probe passes) is not corrected: it is in `sigma_along`.

References
----------
[1] Gates, "A simplified model of midcourse maneuver execution errors", JPL TR 32-504, 1963: sigma^2 = s1^2 + (s2 dv)^2
    along, s3^2 + (s4 dv)^2 on each axis across. Here s3 = s1.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.quality import pixel_angle_rad
from swarm.reach.arcs.transition import fill_transition
from targets.base.constants import DAY_S, GM_SUN_KM3_S2
from targets.motion.twobody import drift

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]

GROUND, OPTICAL = 0, 1
# Room for every correction of a study: five after the burn, five before the encounter, two optical.
CORRECTIONS_MAX = 12
# Normal numbers per sample: two for the start, three for the target; per correction two for what is not known and
# seven for its execution.
START_NORMALS, CORRECTION_NORMALS = 5, 9
# A ground correction where the smaller singular value of M is under this share of the time left is left out: near such
# an arc geometry it would cost many times what the next one does (own choice).
_WEAK = 0.05
# How many sigmas of the miss the first optical correction leaves room for in the camera's range (own choice).
_ROOM_SIGMAS = 3.0
# Own tracking finds a target that passes within this share of the range at which it is seen head-on.
_ROOM_LEAST = 0.5
# The first sighting gets a correction of its own if it comes this many times earlier than the last one (own choice).
_EARLY = 1.5


class Errors(NamedTuple):
    """One-sigma errors per axis, and the times of the corrections, of a study."""

    fixed_km_s: float
    proportional: float
    pointing_rad: float
    spring_km_s: float
    mothership_km: float
    mothership_km_s: float
    probe_km: float
    probe_km_s: float
    sight_rad: float
    after_burn_s: Floats
    before_s: Floats
    last_before_s: float
    turnaround_s: float
    last_min_s: float


def errors_of(study: Study) -> Errors:
    """Collect what delivery reads, in km and s.

    The direction of the spring is not known before the release is planned: its error along (share of the speed) and
    across (direction) are averaged over the axes.
    """
    probe, delivery, known = study.probe, study.delivery, study.knowledge
    spring_km_s = 1e-3 * probe.spring_m_s
    along = delivery.spring_fraction * spring_km_s
    across = math.radians(delivery.spring_direction_deg) * spring_km_s
    return Errors(
        1e-3 * probe.execution_fixed_m_s,
        probe.execution_proportional,
        1e-3 * probe.execution_pointing_mrad,
        math.sqrt((along**2 + 2.0 * across**2) / 3.0),
        known.mothership_position_km,
        1e-3 * known.mothership_velocity_m_s,
        known.probe_position_km,
        1e-3 * known.probe_velocity_m_s,
        probe.centroid_px * pixel_angle_rad(probe),
        np.array(delivery.corrections_after_burn_days, dtype=float) * DAY_S,
        np.array(delivery.corrections_before_days, dtype=float) * DAY_S,
        delivery.last_before_days * DAY_S,
        3600.0 * delivery.turnaround_hours,
        3600.0 * delivery.last_min_hours,
    )


class Normals(NamedTuple):
    """Common random numbers of a study: the same for every opportunity."""

    start: Floats  # (samples, START_NORMALS)
    corrections: Floats  # (CORRECTIONS_MAX, samples, CORRECTION_NORMALS)


# First number of the spawn key of everything random in delivery; other stages use other numbers.
SPAWN_KEY = 4


def normals_of(study: Study) -> Normals:
    """Draw the numbers of a study's seed."""
    sequence = np.random.SeedSequence(study.study.seed, spawn_key=(SPAWN_KEY,))
    random = np.random.Generator(np.random.PCG64(sequence))
    count = study.delivery.samples
    start = random.standard_normal((count, START_NORMALS))
    return Normals(start, random.standard_normal((CORRECTIONS_MAX, count, CORRECTION_NORMALS)))


# --- the arc ------------------------------------------------------------------------------------------------


@njit(cache=True)
def fill_influence(state, axes, before_s, by_velocity, by_position):
    """Write d(S, T, R) at the encounter / d velocity and d position `before_s` earlier, (3, 3) each.

    state : six numbers at the encounter; axes : (3, 3) rows S, T, R
    """
    then = drift(state[0], state[1], state[2], state[3], state[4], state[5], GM_SUN_KM3_S2, -before_s)
    stm = np.zeros((6, 6))
    fill_transition(then[0], then[1], then[2], then[3], then[4], then[5], GM_SUN_KM3_S2, before_s, stm)
    for i in range(3):
        for j in range(3):
            vel = pos = 0.0
            for k in range(3):
                pos += axes[i, k] * stm[k, j]
                vel += axes[i, k] * stm[k, 3 + j]
            by_position[i, j] = pos
            by_velocity[i, j] = vel


@njit(cache=True)
def _outer(rows, scale, out):
    """Add scale * (rows 1, 2)(rows 1, 2)^T to out = (TT, RR, TR)."""
    for j in range(3):
        out[0] += scale * rows[1, j] * rows[1, j]
        out[1] += scale * rows[2, j] * rows[2, j]
        out[2] += scale * rows[1, j] * rows[2, j]


@njit(cache=True)
def _execution(by_velocity, spread, errors, out):
    """Add M E[Gates] M^T to out for a burn whose second moment is `spread`, (3, 3) km^2/s^2."""
    trace = spread[0, 0] + spread[1, 1] + spread[2, 2]
    _outer(by_velocity, errors.fixed_km_s**2 + errors.pointing_rad**2 * trace, out)
    weight = errors.proportional**2 - errors.pointing_rad**2
    for i in range(3):
        for j in range(3):
            part = weight * spread[i, j]
            out[0] += part * by_velocity[1, i] * by_velocity[1, j]
            out[1] += part * by_velocity[2, i] * by_velocity[2, j]
            out[2] += part * by_velocity[1, i] * by_velocity[2, j]


@njit(cache=True)
def _fill_inverse(by_velocity, inverse):
    """Write M^+ = M^T (M M^T)^-1, (3, 2); return the smaller singular value of M."""
    tt = rr = tr = 0.0
    for j in range(3):
        tt += by_velocity[1, j] ** 2
        rr += by_velocity[2, j] ** 2
        tr += by_velocity[1, j] * by_velocity[2, j]
    det = tt * rr - tr * tr
    middle = 0.5 * (tt + rr)
    smaller = max(middle - math.sqrt(max(middle * middle - det, 0.0)), 0.0)
    if det <= 0.0:
        return 0.0
    for j in range(3):
        inverse[j, 0] = (rr * by_velocity[1, j] - tr * by_velocity[2, j]) / det
        inverse[j, 1] = (tt * by_velocity[2, j] - tr * by_velocity[1, j]) / det
    return math.sqrt(smaller)


@njit(cache=True)
def larger_sigma(cov):
    """Square root of the larger eigenvalue of (TT, RR, TR)."""
    middle = 0.5 * (cov[0] + cov[1])
    return math.sqrt(max(middle + math.sqrt(0.25 * (cov[0] - cov[1]) ** 2 + cov[2] ** 2), 0.0))


@njit(cache=True)
def fill_start(state, axes, burn_km_s, times_s, errors, out):
    """Write the covariance of the miss before any correction; times_s = (release, burn) before the encounter."""
    velocity, position = np.empty((3, 3)), np.empty((3, 3))
    out[:] = 0.0
    fill_influence(state, axes, times_s[0], velocity, position)
    _outer(velocity, errors.mothership_km_s**2 + errors.spring_km_s**2, out)
    _outer(position, errors.mothership_km**2, out)
    fill_influence(state, axes, times_s[1], velocity, position)
    spread = np.empty((3, 3))
    for i in range(3):
        for j in range(3):
            spread[i, j] = burn_km_s[i] * burn_km_s[j]
    _execution(velocity, spread, errors, out)


# --- corrections --------------------------------------------------------------------------------------------


class Corrections(NamedTuple):
    """Up to CORRECTIONS_MAX corrections in order of time; arrays with one entry each."""

    planned: int
    optical: int  # how many of them wait for the target to be seen
    before_s: Floats  # before the encounter
    kind: Floats  # GROUND or OPTICAL
    influence: Floats  # (k, 3, 3) rows S, T, R by velocity
    inverse: Floats  # (k, 3, 2)
    unknown: Floats  # (k, 3) covariance of what tracking does not know, TT, RR, TR
    unknown_along: Floats  # (k,) and its variance along S


@njit(cache=True)
def sight_s(range_km, speed_km_s, miss_sigma_km, along_sigma_km):
    """Time before closest approach from which the target is surely seen, whatever the miss and the error along."""
    room = _ROOM_SIGMAS * miss_sigma_km
    seen_km = math.sqrt(max(range_km * range_km - room * room, 0.0)) - _ROOM_SIGMAS * along_sigma_km
    return max(seen_km, _ROOM_LEAST * range_km) / speed_km_s


@njit(cache=True)
def _sorted_times(cruise_s, seen_s, errors, with_optical, times, kinds):
    """Fill times (before the encounter, falling) and kinds; return how many, and how many are optical."""
    n = 0
    for after in errors.after_burn_s:
        if cruise_s - after > errors.last_before_s:
            times[n], kinds[n] = cruise_s - after, GROUND
            n += 1
    for before in errors.before_s:
        if errors.last_before_s < before < cruise_s - DAY_S:
            times[n], kinds[n] = before, GROUND
            n += 1
    optical = 0
    first = min(seen_s - errors.turnaround_s, cruise_s - DAY_S)
    if with_optical and first >= errors.last_min_s:
        last = min(first, errors.last_before_s)
        if first >= _EARLY * last:
            times[n], kinds[n] = first, OPTICAL
            n, optical = n + 1, optical + 1
        times[n], kinds[n] = last, OPTICAL
        n, optical = n + 1, optical + 1
    _sort_falling(n, times, kinds)
    return n, optical


@njit(cache=True)
def _sort_falling(n, times, kinds):
    """Insertion sort of a handful; equal times keep their order."""
    for i in range(1, n):
        time, kind, j = times[i], kinds[i], i
        while j > 0 and times[j - 1] < time:
            times[j], kinds[j] = times[j - 1], kinds[j - 1]
            j -= 1
        times[j], kinds[j] = time, kind


@njit(cache=True)
def plan_corrections(state, axes, cruise_s, seen_s, errors, with_optical):
    """Return the corrections of an arc of `cruise_s` whose target is seen `seen_s` before the encounter."""
    times, kinds = np.empty(CORRECTIONS_MAX), np.empty(CORRECTIONS_MAX)
    planned, optical = _sorted_times(cruise_s, seen_s, errors, with_optical, times, kinds)
    influence, inverse = np.empty((CORRECTIONS_MAX, 3, 3)), np.empty((CORRECTIONS_MAX, 3, 2))
    unknown, along = np.zeros((CORRECTIONS_MAX, 3)), np.zeros(CORRECTIONS_MAX)
    position = np.empty((3, 3))
    n = 0
    for k in range(planned):
        fill_influence(state, axes, times[k], influence[n], position)
        smaller = _fill_inverse(influence[n], inverse[n])
        if smaller < _WEAK * times[k]:
            optical -= 1 if kinds[k] == OPTICAL else 0
            continue
        unknown[n] = 0.0
        _outer(position, errors.probe_km**2, unknown[n])
        _outer(influence[n], errors.probe_km_s**2, unknown[n])
        along[n] = 0.0
        for j in range(3):
            along[n] += (errors.probe_km * position[0, j]) ** 2 + (
                errors.probe_km_s * influence[n, 0, j]
            ) ** 2
        times[n], kinds[n] = times[k], kinds[k]
        n += 1
    return Corrections(n, optical, times, kinds, influence, inverse, unknown, along)


@njit(cache=True)
def _sees(before_s, range_km, speed_km_s, turnaround_s):
    """Whether a correction can use images: on the nominal path the target was in range `turnaround` earlier."""
    return speed_km_s * (before_s + turnaround_s) <= range_km


@njit(cache=True)
def _after_correction(k, plan, cov, unknown, errors, out):
    """Covariance of the miss after correction k of a miss of `cov` known to within `unknown`, both (3,)."""
    spread = np.zeros((3, 3))
    tt, rr, tr = cov[0] + unknown[0], cov[1] + unknown[1], cov[2] + unknown[2]
    gain = plan.inverse[k]
    for i in range(3):
        for j in range(3):
            spread[i, j] = gain[i, 0] * (tt * gain[j, 0] + tr * gain[j, 1]) + gain[i, 1] * (
                tr * gain[j, 0] + rr * gain[j, 1]
            )
    out[:] = unknown
    _execution(plan.influence[k], spread, errors, out)


@njit(cache=True)
def linear_covariance(plan, start, target, range_km, speed_km_s, errors):
    """Covariance (TT, RR, TR) of the miss relative to the target after the corrections of `plan`.

    start  : (3,) before any correction;  target : (3,) of the target's own place
    Exact for the model as long as every correction is flown and the target is always seen where it is on the nominal
    path.
    """
    cov, known, fresh = start.copy(), np.empty(3), np.empty(3)
    seen = False
    for k in range(plan.planned):
        if _sees(plan.before_s[k], range_km, speed_km_s, errors.turnaround_s):
            if not seen:
                cov += target
            seen = True
            known[:] = 0.0
            known[:2] = (errors.sight_rad * speed_km_s * (plan.before_s[k] + errors.turnaround_s)) ** 2
        elif plan.kind[k] == OPTICAL:
            continue
        else:
            known[:] = plan.unknown[k]
        _after_correction(k, plan, cov, known, errors, fresh)
        cov[:] = fresh
    if not seen:
        cov += target
    return cov


@njit(cache=True)
def cholesky2(cov):
    """Lower factor (a, b, c): [[a, 0], [b, c]] of (TT, RR, TR)."""
    a = math.sqrt(max(cov[0], 0.0))
    b = cov[2] / a if a > 0.0 else 0.0
    return a, b, math.sqrt(max(cov[1] - b * b, 0.0))


@njit(cache=True)
def _cholesky3(matrix):
    low = np.zeros((3, 3))
    for i in range(3):
        for j in range(i + 1):
            rest = matrix[i, j]
            for k in range(j):
                rest -= low[i, k] * low[j, k]
            if i == j:
                low[i, i] = math.sqrt(max(rest, 0.0))
            elif low[j, j] > 0.0:
                low[i, j] = rest / low[j, j]
    return low


@njit(cache=True)
def sample_arrivals(plan, start, target, range_km, speed_km_s, errors, normals, miss, spent, seen):
    """Fly every sample through the corrections of `plan`.

    target : (3, 3) covariance of the target's place, rows T, R, S
    miss   : (samples, 2) out, relative to the target;  spent : (samples,) out, sum of the corrections, km/s
    seen   : (samples,) out, whether an optical correction was flown
    """
    a, b, c = cholesky2(start)
    low = _cholesky3(target)
    count = miss.shape[0]
    roots = np.empty((plan.planned, 3))
    possible = np.empty(plan.planned, dtype=np.bool_)
    for k in range(plan.planned):
        roots[k] = cholesky2(plan.unknown[k])
        possible[k] = _sees(plan.before_s[k], range_km, speed_km_s, errors.turnaround_s)
    for i in range(count):
        z = normals.start[i]
        x, y = a * z[0], b * z[0] + c * z[1]
        target_x, target_y = low[0, 0] * z[2], low[1, 0] * z[2] + low[1, 1] * z[3]
        along = low[2, 0] * z[2] + low[2, 1] * z[3] + low[2, 2] * z[4]
        total, found = 0.0, False
        for k in range(plan.planned):
            g = normals.corrections[k, i]
            optical = False
            if possible[k]:
                # the last image used: far out by the time left, off by the miss, early or late by the error along
                far = speed_km_s * (plan.before_s[k] + errors.turnaround_s)
                depth, off_x, off_y = far + along, x - target_x, y - target_y
                optical = depth * depth + off_x * off_x + off_y * off_y <= range_km * range_km or found
            if optical:
                if not found:
                    x, y, target_x, target_y = x - target_x, y - target_y, 0.0, 0.0
                found = True
                known_x, known_y = errors.sight_rad * far * g[0], errors.sight_rad * far * g[1]
            elif plan.kind[k] == OPTICAL:
                continue
            else:
                known_x, known_y = roots[k, 0] * g[0], roots[k, 1] * g[0] + roots[k, 2] * g[1]
            gain, move = plan.inverse[k], plan.influence[k]
            bx, by = x + known_x, y + known_y
            vx = -(gain[0, 0] * bx + gain[0, 1] * by)
            vy = -(gain[1, 0] * bx + gain[1, 1] * by)
            vz = -(gain[2, 0] * bx + gain[2, 1] * by)
            total += math.sqrt(vx * vx + vy * vy + vz * vz)
            # Gates: fixed on every axis, proportional along, pointing across (dv x z has that spread)
            fixed, along_part, across = errors.fixed_km_s, errors.proportional * g[5], errors.pointing_rad
            ex = fixed * g[2] + along_part * vx + across * (vy * g[8] - vz * g[7])
            ey = fixed * g[3] + along_part * vy + across * (vz * g[6] - vx * g[8])
            ez = fixed * g[4] + along_part * vz + across * (vx * g[7] - vy * g[6])
            x = -known_x + move[1, 0] * ex + move[1, 1] * ey + move[1, 2] * ez
            y = -known_y + move[2, 0] * ex + move[2, 1] * ey + move[2, 2] * ez
        miss[i, 0], miss[i, 1] = x - target_x, y - target_y
        spent[i] = total
        seen[i] = found


@njit(cache=True)
def quantile(values, share, work):
    """The ceil(share * n)-th smallest of n values; `work` is scratch of the same length."""
    low, high = 0, values.size - 1
    for i in range(values.size):
        work[i] = values[i]
    k = min(max(int(math.ceil(share * values.size)) - 1, 0), high)
    while low < high:  # Hoare's selection
        pivot = work[(low + high) // 2]
        i, j = low, high
        while i <= j:
            while work[i] < pivot:
                i += 1
            while work[j] > pivot:
                j -= 1
            if i <= j:
                work[i], work[j] = work[j], work[i]
                i += 1
                j -= 1
        if k <= j:
            high = j
        elif k >= i:
            low = i
        else:
            break
    return work[k]
