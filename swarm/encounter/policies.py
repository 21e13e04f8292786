"""The policy of an opportunity: corrections in sight of the target or from the ground only, and its samples. Compiled.

The choice, and how it keeps chances from falling as the delta-v budget grows: `swarm.encounter.spending`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.corrections import Corrections, plan_corrections
from swarm.encounter.delivery import linear_covariance, sample_arrivals
from swarm.encounter.known_aims import aim_as_known
from swarm.encounter.quality import Optics, capture_at, is_shown, quality_at
from swarm.encounter.spending import best_sums, spending_limit

Floats = NDArray[np.float64]

# Images below this quality are counted apart: they show the target and hardly more (own choice, a tenth of the scale).
LOW_QUALITY = 0.1


class View(NamedTuple):
    """What the pass is seen by."""

    sun: tuple[float, float]  # T, R of the unit vector to the Sun
    optics: Optics
    along: tuple[
        float, float
    ]  # error along the relative velocity that the pointing has (km), half field (rad)
    sight_km: float  # range at which the target is bright enough
    aims: Floats  # aim points found before


class Arrival(NamedTuple):
    """What delivery starts from: covariances in km^2, times in s."""

    start: Floats  # (3,) TT, RR, TR before any correction
    target: Floats  # (3, 3) of the target's place, T, R, S
    across: Floats  # (3,) its TT, RR, TR
    along_km: float  # sigma along the relative velocity
    sight_km: float  # range at which the target is seen on approach
    seen_s: float  # before closest approach, the target is surely seen


class Sheet(NamedTuple):
    """The samples of one opportunity, flown by one policy."""

    miss: Floats  # (n, 2) about the aim point, T and R
    spent: Floats  # (n,)
    seen: NDArray[np.bool_]  # (n,) got a correction in sight of the target
    worth: Floats  # (n, q) chance that the camera has the target, where each quality is reached
    quality: Floats  # (n,) quality times that chance
    shown: Floats  # (n,) that chance where the target is seen
    low: Floats  # (n,) the same where it is seen but hardly worth anything


class Policy(NamedTuple):
    """Corrections and aim point, whatever they cost."""

    plan: Corrections
    cov: Floats  # (3,) of the delivery
    aim_t_km: float
    aim_r_km: float
    quality: float  # expected, where the samples are delivered
    useful: float  # share of samples that see the target where the plan relies on it


class Chosen(NamedTuple):
    """What an opportunity flies."""

    policy: Policy
    quality: float  # expected, samples that are not delivered as 0
    carried: float  # share of samples that can pay for all that is planned
    afforded: float  # share of samples that could pay for corrections in sight, planned or not
    sighted: float  # share of samples that would see the target for them, paid for or not
    limit_km_s: float  # most that a sample spends that flies corrections in sight; 0 where none are flown


@njit(cache=True)
def _policy(k, in_sight, cases, arrival, view, perfect, rules, sheet):
    """Plan, aim and sample one policy: with corrections in sight of the target or without."""
    errors, speed = rules.errors, cases.speed_km_s[k]
    plan = plan_corrections(
        cases.state[k], cases.axes[k], cases.since_burn_s[k], arrival.seen_s, errors, in_sight
    )
    sample_arrivals(
        plan, arrival.start, arrival.target, arrival.sight_km, speed, errors, rules.normals,
        sheet.miss, sheet.spent, sheet.seen,
    )  # fmt: skip
    useful = 0
    for i in range(sheet.spent.size):
        if sheet.seen[i] or plan.optical == 0:
            useful += 1
    cov = linear_covariance(plan, arrival.start, arrival.across, arrival.sight_km, speed, errors)
    aim_t, aim_r, quality = aim_as_known(cov, view.sun, view.optics, view.along, view.aims)
    if quality <= 0.0:
        aim_t, aim_r = perfect
    return Policy(plan, cov, aim_t, aim_r, quality, useful / sheet.spent.size)


@njit(cache=True)
def _fill_worth(policy, view, asked, sheet):
    """What each sample is worth at the aim point of a policy. Images count only where the target is seen."""
    sheet.worth[:] = 0.0
    for i in range(sheet.spent.size):
        x, y = policy.aim_t_km + sheet.miss[i, 0], policy.aim_r_km + sheet.miss[i, 1]
        b = math.sqrt(x * x + y * y)
        sheet.quality[i] = sheet.shown[i] = sheet.low[i] = 0.0
        if b <= 0.0 or b > view.sight_km:
            continue
        cos_phase = (x * view.sun[0] + y * view.sun[1]) / b
        if not is_shown(b, cos_phase, view.optics):
            continue
        caught = capture_at(b, view.along[0], view.along[1])
        quality = quality_at(b, cos_phase, view.optics)
        for q in range(asked.size):
            if quality >= asked[q]:
                sheet.worth[i, q] = caught
        sheet.quality[i], sheet.shown[i] = quality * caught, caught
        if quality < LOW_QUALITY:
            sheet.low[i] = caught


@njit(cache=True)
def choose(k, cases, arrival, view, perfect, rules, sheets):
    """The policy of an opportunity; its samples as they fly it, in sheets.first."""
    first, spare = sheets.first, cases.spare_km_s[k]
    policy = _policy(k, True, cases, arrival, view, perfect, rules, first)
    _fill_worth(policy, view, rules.asked, first)
    if policy.plan.optical == 0:
        carried = _share_within(first.spent, spare)
        return Chosen(policy, policy.quality * carried, carried, carried, 0.0, 0.0)
    ground = _policy(k, False, cases, arrival, view, perfect, rules, sheets.ground)
    _fill_worth(ground, view, rules.asked, sheets.ground)
    alone = sheets.ground.worth.sum()
    _fill_worth(policy, view, rules.asked, sheets.ground)
    price = np.maximum(first.spent, sheets.ground.spent)
    together = best_sums(first.worth, sheets.ground.worth, price)
    if together > alone or (together == alone and policy.quality * policy.useful > ground.quality):
        return _within_means(policy, ground, price, spare, sheets)
    _fill_worth(ground, view, rules.asked, sheets.ground)
    for i in range(price.size):
        _copy(sheets.ground, first, i)
    carried = _share_within(first.spent, spare)
    return Chosen(ground, ground.quality * carried, carried, carried, policy.useful, 0.0)


@njit(cache=True)
def _within_means(policy, ground, price, spare, sheets):
    """The policy with corrections in sight, flown by the samples that are to pay for them."""
    first = sheets.first
    limit = spending_limit(first.worth, sheets.ground.worth, price, spare)
    seen, quality, carried = 0, 0.0, _share_within(first.spent, spare)
    for i in range(price.size):
        if price[i] <= limit:
            seen += 1 if first.seen[i] else 0
        else:
            _copy(sheets.ground, first, i)
            quality += first.quality[i] / price.size if first.spent[i] <= spare else 0.0
    quality += policy.quality * seen / price.size
    if limit >= 0.0:
        return Chosen(policy, quality, carried, carried, policy.useful, limit)
    flown = Policy(ground.plan, ground.cov, policy.aim_t_km, policy.aim_r_km, policy.quality, policy.useful)
    return Chosen(flown, quality, _share_within(first.spent, spare), carried, policy.useful, 0.0)


@njit(cache=True)
def _share_within(spent, spare):
    """Share of samples that can pay what they spend."""
    within = 0
    for i in range(spent.size):
        within += 1 if spent[i] <= spare else 0
    return within / spent.size


@njit(cache=True)
def _copy(there, here, i):
    """Let sample i fly as on another sheet."""
    here.miss[i], here.spent[i], here.seen[i] = there.miss[i], there.spent[i], there.seen[i]
    here.worth[i], here.quality[i] = there.worth[i], there.quality[i]
    here.shown[i], here.low[i] = there.shown[i], there.low[i]


class Sheets(NamedTuple):
    """Scratch for one opportunity flown both ways."""

    first: Sheet
    ground: Sheet
    work: Floats


@njit(cache=True)
def sheet_of(n, qualities):
    return Sheet(
        np.empty((n, 2)), np.empty(n), np.zeros(n, dtype=np.bool_), np.zeros((n, qualities)),
        np.zeros(n), np.zeros(n), np.zeros(n),
    )  # fmt: skip
