"""What every plan must keep: which opportunities may be used at all, and which may be used together.

Dates are compared as the tables store them (JD TDB), so that a reader of the tables finds the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.propellant import burn_seconds
from swarm.plan.data import column
from swarm.plan.flight import Flight
from swarm.plan.protection import PROTECTION, TANK, alone_over_the_limit, alone_over_the_tank, least_chances
from swarm.plan.tracking import weekly_hours
from swarm.study.by_design import by_design, probe_values
from swarm.study.kind_names import ENTRY
from targets.base.constants import DAY_S
from targets.base.errors import NothingFeasible

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

UNUSED = -1
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
    kind: str | None = None  # of encounter: it concerns no other

    def holds(self, study: Study) -> bool:
        """Whether the study asks for it."""
        if self.kind is not None and all(row.where.kind != self.kind for row in study.science.rows):
            return False
        asked = [getattr(study, self.section)]
        if self.section == "probe":
            asked += study.designs
        return any(
            getattr(settings, key) != value for settings in asked for key, value in self.lifted.items()
        )

    def without(self, study: Study) -> Study:
        """The study with this constraint lifted and nothing else changed."""
        return study.with_keys(self.section, **self.lifted)


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
    Constraint(
        "heard at one time (relay_channels)", {"relay_channels": 100}, section="mothership", kind=ENTRY
    ),
    Constraint("tracking (tracking_hours_per_week)", {"tracking_hours_per_week": None}),
    Constraint("one probe per target (pairs)", {"pairs": True}),
    Constraint("impact (protection.impact_chance_max)", {"impact_chance_max": {}}, section="protection"),
    Constraint(
        "the mothership's propellant (mothership.propellant_kg)",
        {"propellant_kg": None},
        section="mothership",
    ),
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
        ("event_clear_before_days", limits.event_clear_before_days > 0.0),
        ("event_clear_after_days", limits.event_clear_after_days > 0.0),
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
    left: Allowed, study: Study, opportunities: pa.Table | None = None, flight: Flight | None = None
) -> None:
    """Raise NothingFeasible, naming the limits that emptied the list, if no opportunity is left.

    With `opportunities` it also says which single constraint's removal would leave some, or that none would.
    """
    if left.mask.any():
        return
    if not left.mask.size:
        limits = " and ".join(f"{alone.probe.burn_limit_m_s:g}" for alone in study.by_design.values())
        limit = f"probe.burn_limit_m_s = {limits}: no opportunity was found within it"
        raise NothingFeasible("there is no opportunity to plan with", limit=limit)
    active = [(limit, count) for limit, count in left.removed.items() if count]
    told = "; before it, ".join(f"{limit} removed {count}" for limit, count in reversed(active))
    if opportunities is not None:
        if left.removed.get(PROTECTION):
            told += f"; {least_chances(study, opportunities)}"
        told += f". {_ways_out(study, opportunities, flight)}"
    raise NothingFeasible(f"none of the {left.mask.size} opportunities may be used", limit=told)


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
    return column(table, "burn_m_s") > probe_values(study, table, "burn_limit_m_s")


def _outside_span(study: Study, table: pa.Table) -> Bools:
    start, end = study.study.start_jd_tdb, study.study.end_jd_tdb
    return (column(table, "release_jd_tdb") < start) | (column(table, "encounter_jd_tdb") > end)


def _not_checked_out(study: Study, table: pa.Table) -> Bools:
    waited = column(table, "burn_jd_tdb") - column(table, "release_jd_tdb")
    burns = column(table, "burn_m_s") != 0.0  # one that the mothership steers has nothing to wait for
    return burns & (waited < probe_values(study, table, "checkout_days") - ROUNDING_DAYS)


def _not_impulsive(study: Study, table: pa.Table) -> Bools:
    arc_s = DAY_S * (column(table, "encounter_jd_tdb") - column(table, "burn_jd_tdb"))
    burning_s = by_design(study, table, lambda own, _, part: burn_seconds(own, column(part, "burn_m_s")))
    return burning_s > study.constraints.burn_share_max * arc_s


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
    return weekly_hours(study, table)[1].max(axis=1, initial=0.0) > most


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
    (PROTECTION, alone_over_the_limit),
    (TANK, alone_over_the_tank),
)


# --- opportunities on their own, along the arc ----------------------------------------------------------------


def _near_an_event(study: Study, flight: Flight) -> Bools:
    """Release or burn near a flyby or manoeuvre of the mothership.

    A probe that is to pass a planet or a moon is let go on the way there: its approach says how late.
    """
    limits, barred = study.constraints, np.zeros(len(flight.burn_s), dtype=bool)
    before_s, after_s = DAY_S * limits.event_clear_before_days, DAY_S * limits.event_clear_after_days
    for begin_s, end_s in flight.events_s:
        for at_s in (flight.release_s, flight.burn_s):
            barred |= (at_s > begin_s - before_s) & (at_s < end_s + after_s)
    return barred & ~flight.place


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
