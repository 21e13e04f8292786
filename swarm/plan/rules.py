"""What opportunities must keep together: the rules of a plan for compiled code, and what of them is linear."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pyarrow as pa
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import csr_array, vstack

from swarm.plan.data import PlanData, column
from swarm.plan.flight import NO_OFFSETS, Flight, Offsets, come_near
from targets.base.constants import DAY_S

if TYPE_CHECKING:
    from swarm.study.schema import Study
    from swarm.study.sections.approach import ApproachSettings
from swarm.plan.constraints import UNUSED, require_flight
from swarm.plan.live_relay import channel_left, live_intervals, live_sets
from swarm.plan.protection import PARTS, impact_parts, tank_parts
from swarm.plan.tracking import weekly_hours
from swarm.study.by_design import design_numbers

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


# Pairs of opportunities that are known at once whether they meet: own choice, a power of two, 256 KiB.
_PAIRS = 1 << 15


class PlanRules(NamedTuple):
    """What compiled code needs to keep plans feasible; n allowed opportunities, t targets."""

    release_jd_tdb: Floats  # (n,)
    encounter_jd_tdb: Floats  # (n,)
    target: Ints  # (n,)
    spacing_days: float  # between any two releases of a plan
    releases_most: int  # within less than `window_days`; 0 any number
    window_days: float
    relay_days: float  # between any two encounters served by the relay; 0 none is needed
    relayed: Bools  # (n,) whether the relay serves it, over days
    live: Floats  # (n, 2) between which the mothership hears it live; NaN where it does not
    channels: int  # how many it hears at one moment; 0 where none is heard live
    week: Ints  # (n,) first week of tracking
    week_hours: Floats  # (n, weeks) hours of tracking from there on
    hours_most: float  # hours of all probes in a week; infinite without limit
    recontact_km: float  # between any two probes; 0 not looked at
    recontact_days: float  # counted from so long after the later burn
    offsets: Offsets  # where the probes are
    per_target: int  # most probes at one target
    place: Ints  # (n,) row of the targets table: where a probe arrives, be it a place that many may pass
    options_start: Ints  # (t + 1,) slices of `options`
    options: Ints  # opportunities by target, the least propellant first
    encounter_limits: bool  # whether a linear rule looks at when encounters are
    candidates: Ints  # opportunities worth looking at when a place is to be filled
    kind: Ints  # (n,) index into `kinds`
    kinds: Ints  # distinct sets of shared-failure groups a probe may belong to
    design: Ints  # (n,) index into `design_most`
    design_most: Ints  # (d,) most probes of each design; of one design no other limit than that of the plan
    approach: Ints  # (n,) index into `approach_most`; -1 for what no approach limits
    approach_most: Ints  # (a,) most probes of each [[approach]]
    # (p, n) what each takes of the limit of each protected body, and of the mothership's tank, in PARTS of it
    shares: Ints


def plan_rules(
    study: Study, opportunities: pa.Table, data: PlanData, *, flight: Flight | None, relayed: Bools
) -> PlanRules:
    """Collect the rules for the allowed `opportunities`; row k of all is one opportunity.

    flight  : where the probes are; None only where the study does not keep probes apart (recontact)
    relayed : (n,) encounters whose data come home through the mothership

    Raises ValueError where a rule could not be kept.
    """
    require_flight(study, flight)
    limits, target = study.constraints, data.target
    release, live = column(opportunities, "release_jd_tdb"), live_intervals(opportunities, relayed)
    order = np.lexsort((np.arange(len(target)), release, data.propellant_kg, target))
    targets = int(target.max()) + 1 if len(target) else 0
    kinds, kind = np.unique(data.group_mask, return_inverse=True)
    tracked = limits.tracking_hours_per_week is not None
    week, week_hours = weekly_hours(study, opportunities) if tracked else _no_weeks(target)
    apart = limits.recontact_km > 0.0 and flight is not None
    return PlanRules(
        release_jd_tdb=release,
        encounter_jd_tdb=column(opportunities, "encounter_jd_tdb").astype(np.float64),
        target=target,
        spacing_days=float(limits.release_spacing_days),
        releases_most=int(limits.releases_max),
        window_days=float(limits.release_window_days),
        relay_days=float(limits.relay_busy_days),
        relayed=np.asarray(relayed, dtype=bool) & np.isnan(live[:, 0]),
        live=live,
        channels=0 if np.isnan(live).all() else study.mothership.relay_channels,
        week=week,
        week_hours=week_hours,
        hours_most=float("inf") if limits.tracking_hours_per_week is None else limits.tracking_hours_per_week,
        recontact_km=float(limits.recontact_km) if apart else 0.0,
        recontact_days=float(limits.recontact_after_days),
        offsets=flight.offsets if flight is not None and apart else NO_OFFSETS,
        per_target=2 if limits.pairs else 1,
        place=column(opportunities, "target_index").astype(np.int64),
        options_start=np.searchsorted(target[order], np.arange(targets + 1)).astype(np.int64),
        options=order.astype(np.int64),
        encounter_limits=limits.relay_busy_days > 0.0 or tracked,
        candidates=np.arange(len(target), dtype=np.int64),
        kind=kind.reshape(-1).astype(np.int64),
        kinds=kinds.astype(np.int64),
        design=design_numbers(study, opportunities),
        design_most=np.array([each.count for each in study.designs], dtype=np.int64),
        approach=_approaches(study, opportunities),
        approach_most=np.array([ask.probes_max for ask in _limited(study)], dtype=np.int64),
        shares=np.concatenate([impact_parts(study, opportunities), tank_parts(study, opportunities)]),
    )


def _limited(study: Study) -> list[ApproachSettings]:
    """The approaches that no more than so many probes may fly."""
    return [ask for ask in study.approach if ask.probes_max is not None]


def _approaches(study: Study, opportunities: pa.Table) -> Ints:
    """(n,) which of the limited approaches asks for each row; -1 for none."""
    limited = {ask.name: k for k, ask in enumerate(_limited(study))}
    if not limited or "approach" not in opportunities.column_names:
        return np.full(opportunities.num_rows, -1, dtype=np.int64)
    return np.array([limited.get(name, -1) for name in opportunities["approach"].to_pylist()], dtype=np.int64)


def _no_weeks(target: Ints) -> tuple[Ints, Floats]:
    return np.zeros_like(target), np.zeros((len(target), 0))


def linear_limits(rules: PlanRules, columns: Ints, *, probes: int) -> tuple[csr_array, Floats]:
    """What of the rules is linear in the choice of `columns`, as A x <= b with one row a limit.

    Releases closer than the spacing, and encounters that need the relay at once, exclude each other: one row per
    maximal clique of each interval graph, as of probes that are heard live. Recontact is not linear and is left out.
    """
    rows = [np.arange(len(columns))]
    at_most = [float(probes)]

    def add(members: Ints, most: float) -> None:
        if len(members) > most:
            rows.append(members)
            at_most.append(most)

    release, encounter = rules.release_jd_tdb[columns], rules.encounter_jd_tdb[columns]
    for members in _windows(release, rules.spacing_days):
        add(members, 1.0)
    for members in _windows(release, rules.window_days) if rules.releases_most > 0 else ():
        add(members, float(rules.releases_most))
    served = np.flatnonzero(rules.relayed[columns])
    for members in _windows(encounter[served], rules.relay_days):
        add(served[members], 1.0)
    for members in live_sets(rules.live[columns]) if rules.channels > 0 else ():
        add(members, float(rules.channels))
    for design, most in enumerate(rules.design_most if rules.design_most.size > 1 else ()):
        add(np.flatnonzero(rules.design[columns] == design), float(most))
    for target in np.unique(rules.target[columns]):
        add(np.flatnonzero(rules.target[columns] == target), float(rules.per_target))
    for approach, most in enumerate(rules.approach_most):
        add(np.flatnonzero(rules.approach[columns] == approach), float(most))
    lengths = [len(members) for members in rows]
    where = (np.repeat(np.arange(len(rows)), lengths), np.concatenate(rows))
    matrix = csr_array((np.ones(sum(lengths)), where), shape=(len(rows), len(columns)))
    weekly = _weekly_limits(rules, columns)
    if weekly is not None:
        matrix = vstack([matrix, weekly], format="csr")
        at_most += [rules.hours_most] * weekly.shape[0]
    if rules.shares.shape[0]:
        # as shares of the limit: numbers that the solver's tolerance suits
        matrix = vstack([matrix, csr_array(rules.shares[:, columns] / PARTS)], format="csr")
        at_most += [1.0] * rules.shares.shape[0]
    return matrix, np.array(at_most)


def _weekly_limits(rules: PlanRules, columns: Ints) -> csr_array | None:
    """One row a week: hours of tracking of every column in it."""
    if not rules.week_hours.shape[1]:
        return None
    column_of, k = np.nonzero(rules.week_hours[columns])
    weeks = rules.week[columns][column_of] + k
    weeks -= weeks.min(initial=0)
    hours = rules.week_hours[columns][column_of, k]
    return csr_array((hours, (weeks, column_of)), shape=(int(weeks.max(initial=0)) + 1, len(columns)))


def _windows(dates: Floats, days: float) -> list[Ints]:
    """Maximal sets of two or more dates that lie within less than `days`."""
    order = np.argsort(dates, kind="stable")
    ordered = dates[order]
    ends = np.searchsorted(ordered, ordered + days, side="left")
    # the sum above is rounded; membership is decided by the difference, as `fits` does
    sets, reached = [], 0
    for first in range(len(ordered)):
        end = int(ends[first])
        while end < len(ordered) and ordered[end] - ordered[first] < days:
            end += 1
        while end > first and not ordered[end - 1] - ordered[first] < days:
            end -= 1
        if end - first > 1 and end > reached:
            sets.append(order[first:end])
            reached = end
    return sets


@njit(cache=True)
def fits(o: int, plan: Ints, rules: PlanRules) -> bool:
    """Return whether opportunity `o` can join `plan`, which keeps the rules itself."""
    if not _fits_but_for_distance(o, plan, rules):
        return False
    if rules.recontact_km > 0.0:
        for i in range(plan.size):
            if plan[i] >= 0 and _recontact(o, plan[i], rules):
                return False
    return True


@njit(cache=True)
def fits_as_met(o: int, plan: Ints, rules: PlanRules, met: Ints) -> bool:
    """As `fits`, where many plans of the same opportunities are asked of.

    met : `new_met`; what is known of pairs, which takes longer to find than all else, and is asked again and again
    """
    if not _fits_but_for_distance(o, plan, rules):
        return False
    if rules.recontact_km > 0.0:
        for i in range(plan.size):
            if plan[i] >= 0 and _recontact_as_met(o, plan[i], rules, met):
                return False
    return True


@njit(cache=True)
def new_met() -> Ints:
    """Room for what is known of pairs; nothing is yet."""
    return np.zeros(_PAIRS, dtype=np.int64)


@njit(cache=True)
def _recontact_as_met(a: int, b: int, rules: PlanRules, met: Ints) -> bool:
    """`_recontact`, which is the same both ways round, looked up; of two pairs in one place the later is known."""
    low, high = min(a, b), max(a, b)
    pair = low * rules.target.size + high + 1
    place = (low * 40503 + high * 10007) & (_PAIRS - 1)
    if met[place] >> 1 != pair:
        met[place] = 2 * pair + _recontact(a, b, rules)
    return (met[place] & 1) == 1


@njit(cache=True)
def _fits_but_for_distance(o: int, plan: Ints, rules: PlanRules) -> bool:
    visits = 0
    for i in range(plan.size):
        p = plan[i]
        if p < 0:
            continue
        if abs(rules.release_jd_tdb[o] - rules.release_jd_tdb[p]) < rules.spacing_days:
            return False
        encounters_days = abs(rules.encounter_jd_tdb[o] - rules.encounter_jd_tdb[p])
        if rules.relayed[o] and rules.relayed[p] and encounters_days < rules.relay_days:
            return False
        if rules.target[o] == rules.target[p]:
            visits += 1
    if visits >= rules.per_target:
        return False
    if rules.design_most.size > 1 and not _some_left(o, plan, rules.design, rules.design_most):
        return False
    if rules.approach_most.size > 0 and not _some_left(o, plan, rules.approach, rules.approach_most):
        return False
    if rules.channels > 0 and not channel_left(o, plan, rules.live, rules.channels):
        return False
    if rules.shares.shape[0] > 0 and not _shares_kept(o, plan, rules):
        return False
    if rules.releases_most > 0 and not _rate_kept(o, plan, rules):
        return False
    return rules.week_hours.shape[1] == 0 or _hours_kept(o, plan, rules)


@njit(cache=True)
def _some_left(o: int, plan: Ints, group: Ints, most: Ints) -> bool:
    """Whether the group of `o`, a design or an approach, has room for it."""
    if group[o] < 0:
        return True
    count = 1
    for i in range(plan.size):
        if plan[i] >= 0 and group[plan[i]] == group[o]:
            count += 1
    return count <= most[group[o]]


@njit(cache=True)
def _shares_kept(o: int, plan: Ints, rules: PlanRules) -> bool:
    """Whether what adds up, chances of hitting a body and the mothership's propellant, keeps its limit with `o`."""
    for body in range(rules.shares.shape[0]):
        parts = rules.shares[body, o]
        for i in range(plan.size):
            if plan[i] >= 0:
                parts += rules.shares[body, plan[i]]
        if parts > PARTS:
            return False
    return True


@njit(cache=True)
def _rate_kept(o: int, plan: Ints, rules: PlanRules) -> bool:
    """Whether no window that begins with a release, of `o` or before it, holds too many with `o`."""
    new = rules.release_jd_tdb[o]
    for i in range(-1, plan.size):
        first = new
        if i >= 0:
            if plan[i] < 0:
                continue
            first = rules.release_jd_tdb[plan[i]]
        if first > new or not new - first < rules.window_days:
            continue
        count = 1
        for j in range(plan.size):
            if plan[j] >= 0:
                since = rules.release_jd_tdb[plan[j]] - first
                if since >= 0.0 and since < rules.window_days:
                    count += 1
        if count > rules.releases_most:
            return False
    return True


@njit(cache=True)
def _hours_kept(o: int, plan: Ints, rules: PlanRules) -> bool:
    """Whether every week of `o` has hours left for it."""
    weeks = rules.week_hours.shape[1]
    for k in range(weeks):
        hours = rules.week_hours[o, k]
        if hours <= 0.0:
            continue
        for i in range(plan.size):
            if plan[i] >= 0:
                j = rules.week[o] + k - rules.week[plan[i]]
                if j >= 0 and j < weeks:
                    hours += rules.week_hours[plan[i], j]
        if hours > rules.hours_most:
            return False
    return True


@njit(cache=True)
def _recontact(a: int, b: int, rules: PlanRules) -> bool:
    """Whether two probes come too near to each other while both are on their way.

    Two of one target are meant to meet there: for them the last days before the encounter do not count.
    """
    offsets, apart_s = rules.offsets, rules.recontact_days * DAY_S
    low = max(offsets.burn_s[a], offsets.burn_s[b]) + apart_s
    high = min(offsets.encounter_s[a], offsets.encounter_s[b])
    if rules.place[a] == rules.place[b]:
        high -= apart_s
    return come_near(a, b, low, high, offsets, rules.recontact_km)


@njit(cache=True)
def feasible(plans: Ints, rules: PlanRules) -> NDArray:
    """Return whether each plan keeps the rules, (n,) bool."""
    kept = np.ones(plans.shape[0], dtype=np.bool_)
    for i in range(plans.shape[0]):
        for j in range(1, plans.shape[1]):
            if plans[i, j] >= 0 and not fits(plans[i, j], plans[i, :j], rules):
                kept[i] = False
                break
    return kept


@njit(cache=True)
def decode(genes: Ints, rules: PlanRules) -> Ints:
    """Turn genes into feasible plans, (n, probes) -> (n, probes); a feasible plan only gets sorted.

    A gene is an opportunity, or negative for none. Genes are served in order; one that does not fit is
    replaced by the cheapest opportunity of the same target that does, else dropped.
    """
    return decode_as_met(genes, rules, new_met())


@njit(cache=True)
def decode_as_met(genes: Ints, rules: PlanRules, met: Ints) -> Ints:
    """As `decode`, where the same pairs are met again and again; `met` as of `fits_as_met`."""
    plans = np.full_like(genes, UNUSED)
    for i in range(genes.shape[0]):
        for j in range(genes.shape[1]):
            if genes[i, j] >= 0:
                plans[i, j] = _nearest_fit(genes[i, j], plans[i], rules, met)
        sort_plan(plans[i], rules.release_jd_tdb)
    return plans


@njit(cache=True)
def _nearest_fit(o: int, plan: Ints, rules: PlanRules, met: Ints) -> int:
    if fits_as_met(o, plan, rules, met):
        return o
    target = rules.target[o]
    visits = 0
    for i in range(plan.size):
        if plan[i] >= 0 and rules.target[plan[i]] == target:
            visits += 1
    if visits < rules.per_target:
        for k in range(rules.options_start[target], rules.options_start[target + 1]):
            if fits_as_met(rules.options[k], plan, rules, met):
                return rules.options[k]
    return UNUSED


@njit(cache=True)
def sort_plan(plan: Ints, release_jd_tdb: Floats) -> None:
    """Order a plan in place by release, then opportunity, unused places last: one form for one plan."""
    for i in range(1, plan.size):
        o = plan[i]
        j = i - 1
        while j >= 0 and _comes_after(plan[j], o, release_jd_tdb):
            plan[j + 1] = plan[j]
            j -= 1
        plan[j + 1] = o


@njit(cache=True)
def _comes_after(a: int, b: int, release_jd_tdb: Floats) -> bool:
    if a < 0 or b < 0:
        return a < 0 and b >= 0
    if release_jd_tdb[a] != release_jd_tdb[b]:
        return release_jd_tdb[a] > release_jd_tdb[b]
    return a > b
