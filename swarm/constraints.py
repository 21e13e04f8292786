"""What every plan must keep: which opportunities may be used at all, and which may be used together.

Dates are compared as the tables store them (JD TDB), so that a reader of the tables finds the same.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pyarrow as pa
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import csr_array

from swarm.plan_data import PlanData, column
from targets.errors import NothingFeasible

if TYPE_CHECKING:
    from swarm.study import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

UNUSED = -1
_SEP_LIMIT = "constraints.sun_earth_probe_min_deg"


# --- opportunities on their own -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Allowed:
    """Which opportunities may be used, and how many each limit removed (in this order, each counted once)."""

    mask: Bools
    removed: dict[str, int]


def allowed(study: Study, opportunities: pa.Table) -> Allowed:
    """Apply every limit that concerns one opportunity alone.

    A blackout bars release and burn, both its ends included. The Sun-Earth-probe angle is read at the
    encounter, and at release and burn where the table has `sun_earth_probe_release_deg` and
    `sun_earth_probe_burn_deg`.
    """
    mask = np.ones(opportunities.num_rows, dtype=bool)
    removed = {}
    for limit, breaks in _LIMITS:
        broken = mask & breaks(study, opportunities)
        removed[limit] = int(broken.sum())
        mask &= ~broken
    return Allowed(mask, removed)


def require_some(found: Allowed, study: Study) -> None:
    """Raise NothingFeasible, naming the limit that emptied the list, if no opportunity is left."""
    if found.mask.any():
        return
    if not found.mask.size:
        limit = f"probe.burn_limit_m_s = {study.probe.burn_limit_m_s:g}: no opportunity was found within it"
        raise NothingFeasible("there is no opportunity to plan with", limit=limit)
    active = [(limit, count) for limit, count in found.removed.items() if count]
    told = [f"{limit} removed {count}" for limit, count in reversed(active)]
    raise NothingFeasible(
        f"none of the {found.mask.size} opportunities may be used",
        limit="; before it, ".join(told),
    )


def _not_finite(study: Study, table: pa.Table) -> Bools:
    names = ("release_jd_tdb", "burn_jd_tdb", "encounter_jd_tdb", "burn_m_s", "v_rel_km_s", "phase_in_deg")
    return ~np.all([np.isfinite(column(table, name)) for name in names], axis=0)


def _burn_too_large(study: Study, table: pa.Table) -> Bools:
    return column(table, "burn_m_s") > study.probe.burn_limit_m_s


def _outside_span(study: Study, table: pa.Table) -> Bools:
    start, end = study.study.start_jd_tdb, study.study.end_jd_tdb
    return (column(table, "release_jd_tdb") < start) | (column(table, "encounter_jd_tdb") > end)


def _in_blackout(study: Study, table: pa.Table) -> Bools:
    barred = np.zeros(table.num_rows, dtype=bool)
    for name in ("release_jd_tdb", "burn_jd_tdb"):
        dates = column(table, name)
        for begin, until in study.constraints.blackouts:
            barred |= (dates >= begin) & (dates <= until)
    return barred


def _near_sun(name: str) -> Callable[[Study, pa.Table], Bools]:
    def breaks(study: Study, table: pa.Table) -> Bools:
        if name not in table.column_names:
            return np.zeros(table.num_rows, dtype=bool)
        # not >=: an angle that is not known does not keep the limit
        return ~(column(table, name) >= study.constraints.sun_earth_probe_min_deg)

    return breaks


_LIMITS: tuple[tuple[str, Callable[[Study, pa.Table], Bools]], ...] = (
    ("finite geometry", _not_finite),
    ("probe.burn_limit_m_s", _burn_too_large),
    ("study.start and study.end", _outside_span),
    ("constraints.blackouts", _in_blackout),
    (f"{_SEP_LIMIT} at release", _near_sun("sun_earth_probe_release_deg")),
    (f"{_SEP_LIMIT} at burn", _near_sun("sun_earth_probe_burn_deg")),
    (f"{_SEP_LIMIT} at encounter", _near_sun("sun_earth_probe_deg")),
)


# --- opportunities together ---------------------------------------------------------------------------------


class PlanRules(NamedTuple):
    """What compiled code needs to keep plans feasible; n allowed opportunities, t targets."""

    release_jd_tdb: Floats  # (n,)
    target: Ints  # (n,)
    spacing_days: float  # between any two releases of a plan
    per_target: int  # most probes at one target
    options_start: Ints  # (t + 1,) slices of `options`
    options: Ints  # opportunities by target, the least propellant first
    encounter_limits: bool  # whether any rule looks at when encounters are
    candidates: Ints  # opportunities worth looking at when a place is to be filled
    kind: Ints  # (n,) index into `kinds`
    kinds: Ints  # distinct sets of shared-failure groups a probe may belong to


def plan_rules(study: Study, opportunities: pa.Table, data: PlanData) -> PlanRules:
    """Collect the rules for the allowed `opportunities`; row k of both is one opportunity."""
    target = column(opportunities, "target_index").astype(np.int64)
    release = column(opportunities, "release_jd_tdb").astype(np.float64)
    order = np.lexsort((np.arange(len(target)), release, data.propellant_kg, target))
    kinds, kind = np.unique(data.group_mask, return_inverse=True)
    targets = int(target.max()) + 1 if len(target) else 0
    return PlanRules(
        release_jd_tdb=release,
        target=target,
        spacing_days=float(study.constraints.release_spacing_days),
        per_target=2 if study.constraints.pairs else 1,
        options_start=np.searchsorted(target[order], np.arange(targets + 1)).astype(np.int64),
        options=order.astype(np.int64),
        encounter_limits=False,
        candidates=np.arange(len(target), dtype=np.int64),
        kind=kind.reshape(-1).astype(np.int64),
        kinds=kinds.astype(np.int64),
    )


def linear_limits(rules: PlanRules, columns: Ints, *, probes: int) -> tuple[csr_array, Floats]:
    """What of the rules is linear in the choice of `columns`, as A x <= b with one row a limit.

    Releases closer than the spacing exclude each other: one row per maximal clique of that interval graph.
    """
    release = rules.release_jd_tdb[columns]
    rows = [np.arange(len(columns))]
    at_most = [float(probes)]
    for members in _windows(release, rules.spacing_days):
        rows.append(members)
        at_most.append(1.0)
    for target in np.unique(rules.target[columns]):
        members = np.flatnonzero(rules.target[columns] == target)
        if len(members) > rules.per_target:
            rows.append(members)
            at_most.append(float(rules.per_target))
    lengths = [len(members) for members in rows]
    where = (np.repeat(np.arange(len(rows)), lengths), np.concatenate(rows))
    matrix = csr_array((np.ones(sum(lengths)), where), shape=(len(rows), len(columns)))
    return matrix, np.array(at_most)


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
    """Return whether opportunity `o` can join `plan`: releases far enough apart, its target not used up."""
    visits = 0
    for i in range(plan.size):
        if plan[i] < 0:
            continue
        if abs(rules.release_jd_tdb[o] - rules.release_jd_tdb[plan[i]]) < rules.spacing_days:
            return False
        if rules.target[o] == rules.target[plan[i]]:
            visits += 1
    return visits < rules.per_target


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
