"""What every plan must keep: which opportunities may be used at all, and which may be used together.

Dates are compared as the tables store them (JD TDB), so that a reader of the tables finds the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pyarrow as pa
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import csr_array, vstack

from swarm.plan.data import PlanData, column
from swarm.plan.flight import NO_OFFSETS, Flight, Offsets, least_distance_km
from targets.base.constants import DAY_S, STANDARD_GRAVITY_M_S2
from targets.base.errors import NothingFeasible

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

UNUSED = -1
WEEK_DAYS = 7.0
# A difference of two dates as the tables hold them is good to this.
ROUNDING_DAYS = 1e-6
_SEP_LIMIT = "constraints.sun_earth_probe_min_deg"


# --- the constraints a study can lift -----------------------------------------------------------------------


@dataclass(frozen=True)
class Constraint:
    """A constraint as the study declares it, and the settings that lift it."""

    name: str
    lifted: dict[str, Any]  # settings of `section`
    section: str = "constraints"

    def holds(self, study: Study) -> bool:
        """Whether the study asks for it."""
        settings = getattr(study, self.section)
        return any(getattr(settings, key) != value for key, value in self.lifted.items())

    def without(self, study: Study) -> Study:
        """The study with this constraint lifted and nothing else changed."""
        settings = getattr(study, self.section).model_copy(update=self.lifted)
        return study.model_copy(update={self.section: settings})


CONSTRAINTS = (
    Constraint("release spacing (release_spacing_days)", {"release_spacing_days": 0.0}),
    Constraint("release rate (releases_max)", {"releases_max": 0}),
    Constraint("check-out (probe.checkout_days)", {"checkout_days": 0.0}, section="probe"),
    Constraint("blackouts", {"blackouts": ()}),
    Constraint(
        "around flybys and manoeuvres (event_clear_before_days, event_clear_after_days)",
        {"event_clear_before_days": 0.0, "event_clear_after_days": 0.0},
    ),
    Constraint("Sun-Earth-probe angle (sun_earth_probe_min_deg)", {"sun_earth_probe_min_deg": 0.0}),
    Constraint("clear of the Sun over the downlink (downlink_clear_days)", {"downlink_clear_days": 0.0}),
    Constraint("not too near the Sun (sun_range_min_au)", {"sun_range_min_au": 0.0}),
    Constraint("not too far from the Sun (sun_range_max_au)", {"sun_range_max_au": 1000.0}),
    Constraint("impulsive burn (burn_share_max)", {"burn_share_max": 1.0}),
    Constraint(
        "release direction (release_sun_angle_min_deg, release_sun_angle_max_deg)",
        {"release_sun_angle_min_deg": 0.0, "release_sun_angle_max_deg": 180.0},
    ),
    Constraint("recontact (recontact_km)", {"recontact_km": 0.0}),
    Constraint("relay (relay_busy_days)", {"relay_busy_days": 0.0}),
    Constraint("tracking (tracking_hours_per_week)", {"tracking_hours_per_week": None}),
    Constraint("one probe per target (pairs)", {"pairs": True}),
)


# --- opportunities on their own -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Allowed:
    """Which opportunities may be used, and how many each limit removed (in this order, each counted once)."""

    mask: Bools
    removed: dict[str, int]


def allowed(study: Study, opportunities: pa.Table, flight: Flight | None) -> Allowed:
    """Apply every limit that concerns one opportunity alone.

    A blackout bars release and burn, both its ends included. The Sun-Earth-probe angle is read at the
    encounter, and at release and burn where the table has `sun_earth_probe_release_deg` and
    `sun_earth_probe_burn_deg`.

    flight : where the probes of `opportunities` are; None only where the study limits nothing along the arcs

    Raises ValueError where a limit along the arcs could not be kept: no rule is left out silently.
    """
    require_flight(study, flight)
    mask = np.ones(opportunities.num_rows, dtype=bool)
    removed = {}
    for limit, breaks in _LIMITS:
        broken = mask & breaks(study, opportunities)
        removed[limit] = int(broken.sum())
        mask &= ~broken
    if flight is None:
        return Allowed(mask, removed)
    # what is barred already is not looked at again: its arc may have no meaning
    left = flight.take(mask)
    for limit, along in _ARC_LIMITS:
        broken = np.zeros(len(mask), dtype=bool)
        broken[np.flatnonzero(mask)] = along(study, left)
        left = left.take(~broken[mask])
        removed[limit] = int(broken.sum())
        mask &= ~broken
    return Allowed(mask, removed)


def need_arcs(study: Study) -> list[str]:
    """Return the keys of the study that cannot be kept without knowing the mothership's path."""
    limits = study.constraints
    asked = (
        ("recontact_km", limits.recontact_km > 0.0),
        ("downlink_clear_days", limits.downlink_clear_days > 0.0),
        ("sun_range_min_au", limits.sun_range_min_au > 0.0),
        ("sun_range_max_au", limits.sun_range_max_au < 1000.0),
        ("release_sun_angle_min_deg", limits.release_sun_angle_min_deg > 0.0),
        ("release_sun_angle_max_deg", limits.release_sun_angle_max_deg < 180.0),
    )
    return [key for key, on in asked if on]


def require_flight(study: Study, flight: Flight | None) -> None:
    """Raise ValueError where the study limits what lies along the arcs, and the arcs are not known."""
    needed = need_arcs(study)
    if flight is None and needed:
        raise ValueError(f"without the mothership's path these limits cannot be kept: {', '.join(needed)}")


def require_some(
    found: Allowed, study: Study, opportunities: pa.Table | None = None, flight: Flight | None = None
) -> None:
    """Raise NothingFeasible, naming the limits that emptied the list, if no opportunity is left.

    With `opportunities` it also says which single constraint's removal would leave some, or that none would.
    """
    if found.mask.any():
        return
    if not found.mask.size:
        limit = f"probe.burn_limit_m_s = {study.probe.burn_limit_m_s:g}: no opportunity was found within it"
        raise NothingFeasible("there is no opportunity to plan with", limit=limit)
    active = [(limit, count) for limit, count in found.removed.items() if count]
    told = "; before it, ".join(f"{limit} removed {count}" for limit, count in reversed(active))
    if opportunities is not None:
        told += f". {_ways_out(study, opportunities, flight)}"
    raise NothingFeasible(f"none of the {found.mask.size} opportunities may be used", limit=told)


def _ways_out(study: Study, opportunities: pa.Table, flight: Flight | None) -> str:
    """Each constraint that alone empties the list, in a sentence."""
    freed = []
    for constraint in CONSTRAINTS:
        if constraint.holds(study):
            count = int(allowed(constraint.without(study), opportunities, flight).mask.sum())
            if count:
                freed.append(f"without {constraint.name} alone, {count} could be used")
    return "; ".join(freed) if freed else "no single constraint's removal would let any be used"


def _not_finite(study: Study, table: pa.Table) -> Bools:
    names = ("release_jd_tdb", "burn_jd_tdb", "encounter_jd_tdb", "burn_m_s", "v_rel_km_s", "phase_in_deg")
    return ~np.all([np.isfinite(column(table, name)) for name in names], axis=0)


def _burn_too_large(study: Study, table: pa.Table) -> Bools:
    return column(table, "burn_m_s") > study.probe.burn_limit_m_s


def _outside_span(study: Study, table: pa.Table) -> Bools:
    start, end = study.study.start_jd_tdb, study.study.end_jd_tdb
    return (column(table, "release_jd_tdb") < start) | (column(table, "encounter_jd_tdb") > end)


def _not_checked_out(study: Study, table: pa.Table) -> Bools:
    waited = column(table, "burn_jd_tdb") - column(table, "release_jd_tdb")
    return waited < study.probe.checkout_days - ROUNDING_DAYS


def _not_impulsive(study: Study, table: pa.Table) -> Bools:
    arc_s = DAY_S * (column(table, "encounter_jd_tdb") - column(table, "burn_jd_tdb"))
    return burn_seconds(study, column(table, "burn_m_s")) > study.constraints.burn_share_max * arc_s


def burn_seconds(study: Study, burn_m_s: Floats) -> Floats:
    """Return how long the thruster burns, (n,): mass spent, m0 (1 - exp(-dv / (g0 Isp))), over mass flow."""
    exhaust_m_s = STANDARD_GRAVITY_M_S2 * study.probe.isp_s
    spent_kg = -study.probe.wet_mass_kg * np.expm1(-burn_m_s / exhaust_m_s)
    return spent_kg * exhaust_m_s / study.probe.thrust_n


def _in_blackout(study: Study, table: pa.Table) -> Bools:
    return _within(table, study.constraints.blackouts)


def _within(table: pa.Table, spans: Iterable[tuple[float, float]]) -> Bools:
    """Whether release or burn lie in one of the spans, ends included."""
    barred = np.zeros(table.num_rows, dtype=bool)
    for name in ("release_jd_tdb", "burn_jd_tdb"):
        dates = column(table, name)
        for begin, until in spans:
            barred |= (dates >= begin) & (dates <= until)
    return barred


def _near_sun(name: str) -> Callable[[Study, pa.Table], Bools]:
    def breaks(study: Study, table: pa.Table) -> Bools:
        if name not in table.column_names:
            return np.zeros(table.num_rows, dtype=bool)
        # not >=: an angle that is not known does not keep the limit
        return ~(column(table, name) >= study.constraints.sun_earth_probe_min_deg)

    return breaks


def _tracked_too_much(study: Study, table: pa.Table) -> Bools:
    most = study.constraints.tracking_hours_per_week
    if most is None:
        return np.zeros(table.num_rows, dtype=bool)
    return tracking_hours(study, table)[1].max(axis=1, initial=0.0) > most


_LIMITS: tuple[tuple[str, Callable[[Study, pa.Table], Bools]], ...] = (
    ("finite geometry", _not_finite),
    ("probe.burn_limit_m_s", _burn_too_large),
    ("study.start and study.end", _outside_span),
    ("probe.checkout_days", _not_checked_out),
    ("constraints.burn_share_max", _not_impulsive),
    ("constraints.blackouts", _in_blackout),
    (f"{_SEP_LIMIT} at release", _near_sun("sun_earth_probe_release_deg")),
    (f"{_SEP_LIMIT} at burn", _near_sun("sun_earth_probe_burn_deg")),
    (f"{_SEP_LIMIT} at encounter", _near_sun("sun_earth_probe_deg")),
    ("constraints.tracking_hours_per_week of one probe", _tracked_too_much),
)


# --- opportunities on their own, along the arc ----------------------------------------------------------------


def _near_an_event(study: Study, flight: Flight) -> Bools:
    """Release or burn near a flyby or manoeuvre of the mothership."""
    limits, barred = study.constraints, np.zeros(len(flight.burn_s), dtype=bool)
    before_s, after_s = DAY_S * limits.event_clear_before_days, DAY_S * limits.event_clear_after_days
    for begin_s, end_s in flight.events_s:
        for at_s in (flight.release_s, flight.burn_s):
            barred |= (at_s > begin_s - before_s) & (at_s < end_s + after_s)
    return barred


def _too_near_the_sun(study: Study, flight: Flight) -> Bools:
    least = study.constraints.sun_range_min_au
    return ~(flight.sun_range_au[0] >= least) if least > 0.0 else _none(flight)


def _too_far_from_the_sun(study: Study, flight: Flight) -> Bools:
    most = study.constraints.sun_range_max_au
    return ~(flight.sun_range_au[1] <= most) if most < 1000.0 else _none(flight)


def _released_off_the_cone(study: Study, flight: Flight) -> Bools:
    low, high = study.constraints.release_sun_angle_min_deg, study.constraints.release_sun_angle_max_deg
    if low <= 0.0 and high >= 180.0:
        return _none(flight)
    angle = flight.release_sun_angle_deg
    return ~((angle >= low) & (angle <= high))


def _hidden_during_downlink(study: Study, flight: Flight) -> Bools:
    days = study.constraints.downlink_clear_days
    if days <= 0.0:
        return _none(flight)
    return ~(flight.downlink_angle_deg(days) >= study.constraints.sun_earth_probe_min_deg)


def _back_at_the_mothership(study: Study, flight: Flight) -> Bools:
    limits = study.constraints
    if limits.recontact_km <= 0.0:
        return _none(flight)
    return ~(flight.mothership_distance_km(limits.recontact_after_days) >= limits.recontact_km)


def _none(flight: Flight) -> Bools:
    return np.zeros(len(flight.burn_s), dtype=bool)


_ARC_LIMITS: tuple[tuple[str, Callable[[Study, Flight], Bools]], ...] = (
    ("constraints.event_clear_before_days and event_clear_after_days", _near_an_event),
    ("constraints.sun_range_min_au along the arc", _too_near_the_sun),
    ("constraints.sun_range_max_au along the arc", _too_far_from_the_sun),
    ("constraints.release_sun_angle_min_deg and release_sun_angle_max_deg", _released_off_the_cone),
    (f"{_SEP_LIMIT} over the downlink", _hidden_during_downlink),
    ("constraints.recontact_km with the mothership", _back_at_the_mothership),
)


# --- opportunities together ---------------------------------------------------------------------------------


class PlanRules(NamedTuple):
    """What compiled code needs to keep plans feasible; n allowed opportunities, t targets."""

    release_jd_tdb: Floats  # (n,)
    encounter_jd_tdb: Floats  # (n,)
    target: Ints  # (n,)
    spacing_days: float  # between any two releases of a plan
    releases_most: int  # within less than `window_days`; 0 any number
    window_days: float
    relay_days: float  # between any two encounters served by the relay; 0 none is needed
    relayed: Bools  # (n,) whether the relay serves it
    week: Ints  # (n,) first week of tracking
    week_hours: Floats  # (n, weeks) hours of tracking from there on
    hours_most: float  # hours of all probes in a week; infinite without limit
    recontact_km: float  # between any two probes; 0 not looked at
    recontact_days: float  # counted from so long after the later burn
    offsets: Offsets  # where the probes are
    per_target: int  # most probes at one target
    options_start: Ints  # (t + 1,) slices of `options`
    options: Ints  # opportunities by target, the least propellant first
    encounter_limits: bool  # whether a linear rule looks at when encounters are
    candidates: Ints  # opportunities worth looking at when a place is to be filled
    kind: Ints  # (n,) index into `kinds`
    kinds: Ints  # distinct sets of shared-failure groups a probe may belong to


def plan_rules(
    study: Study,
    opportunities: pa.Table,
    data: PlanData,
    *,
    flight: Flight | None,
    relayed: Bools,
) -> PlanRules:
    """Collect the rules for the allowed `opportunities`; row k of all is one opportunity.

    flight  : where the probes are; None only where the study does not keep probes apart (recontact)
    relayed : (n,) encounters whose data come home through the mothership

    Raises ValueError where a rule could not be kept.
    """
    require_flight(study, flight)
    limits = study.constraints
    target = column(opportunities, "target_index").astype(np.int64)
    release = column(opportunities, "release_jd_tdb").astype(np.float64)
    order = np.lexsort((np.arange(len(target)), release, data.propellant_kg, target))
    targets = int(target.max()) + 1 if len(target) else 0
    kinds, kind = np.unique(data.group_mask, return_inverse=True)
    tracked = limits.tracking_hours_per_week is not None
    week, week_hours = (
        tracking_hours(study, opportunities) if tracked else (np.zeros_like(target), _no_weeks(target))
    )
    apart = limits.recontact_km > 0.0 and flight is not None
    return PlanRules(
        release_jd_tdb=release,
        encounter_jd_tdb=column(opportunities, "encounter_jd_tdb").astype(np.float64),
        target=target,
        spacing_days=float(limits.release_spacing_days),
        releases_most=int(limits.releases_max),
        window_days=float(limits.release_window_days),
        relay_days=float(limits.relay_busy_days),
        relayed=np.asarray(relayed, dtype=bool),
        week=week,
        week_hours=week_hours,
        hours_most=float("inf") if limits.tracking_hours_per_week is None else limits.tracking_hours_per_week,
        recontact_km=float(limits.recontact_km) if apart else 0.0,
        recontact_days=float(limits.recontact_after_days),
        offsets=flight.offsets if flight is not None and apart else NO_OFFSETS,
        per_target=2 if limits.pairs else 1,
        options_start=np.searchsorted(target[order], np.arange(targets + 1)).astype(np.int64),
        options=order.astype(np.int64),
        encounter_limits=limits.relay_busy_days > 0.0 or tracked,
        candidates=np.arange(len(target), dtype=np.int64),
        kind=kind.reshape(-1).astype(np.int64),
        kinds=kinds.astype(np.int64),
    )


def _no_weeks(target: Ints) -> Floats:
    return np.zeros((len(target), 0))


def tracking_hours(study: Study, opportunities: pa.Table) -> tuple[Ints, Floats]:
    """Return each probe's first week of tracking, counted from study.start, and its hours week by week, (n, w).

    From release on at the cruise rate, about the encounter at the encounter's rate instead.
    """
    limits = study.constraints
    around = limits.tracking_encounter_days
    release, encounter = (
        column(opportunities, f"{name}_jd_tdb") - study.study.start_jd_tdb
        for name in ("release", "encounter")
    )
    release, encounter = (np.where(np.isfinite(days), days, 0.0) for days in (release, encounter))
    near = np.maximum(encounter - around, release)
    week = np.floor(release / WEEK_DAYS).astype(np.int64)
    weeks = int((np.floor((encounter + around) / WEEK_DAYS) - week).max(initial=-1)) + 1
    hours = np.zeros((len(week), max(weeks, 0)))
    for k in range(hours.shape[1]):
        begin = WEEK_DAYS * (week + k)
        cruise = _overlap_days(begin, release, near) * limits.tracking_cruise_hours_per_week / WEEK_DAYS
        hours[:, k] = (
            cruise + _overlap_days(begin, near, encounter + around) * limits.tracking_encounter_hours_per_day
        )
    return week, hours


def _overlap_days(week_begin: NDArray, begin: NDArray, end: NDArray) -> NDArray:
    return np.maximum(np.minimum(week_begin + WEEK_DAYS, end) - np.maximum(week_begin, begin), 0.0)


def linear_limits(rules: PlanRules, columns: Ints, *, probes: int) -> tuple[csr_array, Floats]:
    """What of the rules is linear in the choice of `columns`, as A x <= b with one row a limit.

    Releases closer than the spacing, and encounters that need the relay at once, exclude each other: one row per
    maximal clique of each interval graph. Recontact is not linear and is left out.
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
    for target in np.unique(rules.target[columns]):
        add(np.flatnonzero(rules.target[columns] == target), float(rules.per_target))
    lengths = [len(members) for members in rows]
    where = (np.repeat(np.arange(len(rows)), lengths), np.concatenate(rows))
    matrix = csr_array((np.ones(sum(lengths)), where), shape=(len(rows), len(columns)))
    weekly = _weekly_limits(rules, columns)
    if weekly is None:
        return matrix, np.array(at_most)
    return vstack([matrix, weekly], format="csr"), np.append(
        at_most, np.full(weekly.shape[0], rules.hours_most)
    )


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
    if rules.releases_most > 0 and not _rate_kept(o, plan, rules):
        return False
    if rules.week_hours.shape[1] > 0 and not _hours_kept(o, plan, rules):
        return False
    if rules.recontact_km > 0.0:
        for i in range(plan.size):
            if plan[i] >= 0 and _recontact(o, plan[i], rules):
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
    if rules.target[a] == rules.target[b]:
        high -= apart_s
    return least_distance_km(a, b, low, high, offsets, rules.recontact_km) < rules.recontact_km


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
    plans = np.full_like(genes, UNUSED)
    for i in range(genes.shape[0]):
        for j in range(genes.shape[1]):
            if genes[i, j] >= 0:
                plans[i, j] = _nearest_fit(genes[i, j], plans[i], rules)
        sort_plan(plans[i], rules.release_jd_tdb)
    return plans


@njit(cache=True)
def _nearest_fit(o: int, plan: Ints, rules: PlanRules) -> int:
    if fits(o, plan, rules):
        return o
    target = rules.target[o]
    visits = 0
    for i in range(plan.size):
        if plan[i] >= 0 and rules.target[plan[i]] == target:
            visits += 1
    if visits < rules.per_target:
        for k in range(rules.options_start[target], rules.options_start[target + 1]):
            if fits(rules.options[k], plan, rules):
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
