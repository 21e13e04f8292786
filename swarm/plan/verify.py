"""Re-verifies every plan of a front from the tables of a run alone.

Written apart from the search, as its parts `verify_tables` and `verify_motion` are: nothing of `swarm` is used but the
study's settings and, to look at plans side by side, the workers; and arcs are moved by a solution of Kepler's equation
of its own. So an error would have to be made twice to go unseen. What is checked are the constraints of the study, the
sums of the tables, and that no plan of the front beats another.

Limits that are distances or angles along an arc are checked with a small allowance, since two ways of computing
them differ by rounding and by the spacing of samples: see the constants.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from swarm.plan.verify_motion import kepler
from swarm.plan.verify_tables import (
    approach_problems,
    channel_problems,
    design_problems,
    front_problems,
    order_problems,
    probe_of,
    protection_problems,
    steering_problems,
    sum_problems,
    summed_problems,
)
from targets.base.constants import AU_KM, DAY_S
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris.planets import EARTH, sample_planets

if TYPE_CHECKING:
    from swarm.run.workers import Pool
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Row = dict[str, Any]

# Dates as the tables hold them, and sums of dates; hours of a week.
_DATE_DAYS, _HOURS = 1e-6, 1e-6
# Samples along arcs are this far apart; between them an angle moves by less than the allowance, a distance from
# the Sun by far less (both are flat where they are extreme).
_SAMPLE_DAYS = 0.5
_ANGLE_DEG, _SUN_AU = 0.02, 1e-5
# Recontact: distances of single precision offsets and chords of the search against chords of half a day here.
_DISTANCE_SHARE, _DISTANCE_KM = 0.02, 0.5
# Plans that are looked at in one task; neighbours on the front share most of their pairs.
_TOGETHER = 100

# Kinds of encounter with planets and moons: many probes may pass one, and are let go on the way there.
_AT_PLACES = ("low-pass", "entry")


class BrokenPlan(Exception):
    """A plan of the front does not keep what it must; names the plan and the constraint."""


@dataclass(frozen=True)
class Tables:
    """What is checked.

    mothership : the mothership's path; may be missing where the study limits nothing along the arcs
    relayed    : by opportunity, whether its data come home through the mothership; all unless given
    """

    opportunities: pa.Table
    front: pa.Table
    plans: pa.Table
    mothership: pa.Table | None = None
    relayed: dict[int, bool] | None = None


def verify(study: Study, tables: Tables, *, probes: int | None = None, pool: Pool | None = None) -> int:
    """Check every plan and return how many there are. Raises BrokenPlan with everything that is wrong."""
    wrong = problems_of(study, tables, probes=probes, pool=pool)
    if wrong:
        more = f" (and {len(wrong) - 5} more)" if len(wrong) > 5 else ""
        raise BrokenPlan("the front does not keep its promises: " + "; ".join(wrong[:5]) + more)
    return tables.front.num_rows


def problems_of(
    study: Study, tables: Tables, *, probes: int | None = None, pool: Pool | None = None
) -> list[str]:
    """Return everything that is wrong, as sentences that name the plan and the constraint."""
    most = study.probe.count if probes is None else probes
    rows, members = tables.front.to_pylist(), tables.plans.to_pylist()
    by_plan: dict[int, list[Row]] = {}
    for row in members:
        by_plan.setdefault(row["plan"], []).append(row)
    wrong = front_problems(rows, most)
    order = [(row["plan"], row["probe"]) for row in members]
    if order != sorted(order):
        wrong.append("plans are not in order of plan and probe")
    used = pa.array(sorted({row["opportunity"] for row in members}), pa.int64())
    flown = tables.opportunities.filter(pc.is_in(tables.opportunities["opportunity"], value_set=used))
    missing = set(used.to_pylist()) - set(flown["opportunity"].to_pylist())
    if missing:
        return [*wrong, f"opportunities {sorted(missing)} are not in the table"]
    pairs = [(row, by_plan.pop(row["plan"], [])) for row in rows]
    parts = [pairs[k : k + _TOGETHER] for k in range(0, len(pairs), _TOGETHER)]
    shared = (study, replace(tables, opportunities=flown))
    told = (
        (_broken(part, shared) for part in parts) if pool is None else pool.map(_broken, parts, shared=shared)
    )
    wrong += [text for part in told for text in part]
    wrong += [f"plan {plan} is not on the front" for plan in by_plan]
    return wrong


def _broken(part: list[tuple[Row, list[Row]]], shared: tuple[Study, Tables]) -> list[str]:
    """A task: what is wrong with some plans, each a row of the front with its rows of `plans`."""
    study, tables = shared
    own = {member["opportunity"] for _, flown in part for member in flown}
    known = {row["opportunity"]: row for row in tables.opportunities.to_pylist() if row["opportunity"] in own}
    arcs = None if tables.mothership is None else _Arcs(list(known.values()), tables.mothership)
    alone = {o: list(_alone_problems(study, row, arcs)) for o, row in known.items()}
    near, wrong = _Recontact(study, arcs), []
    for row, flown in part:
        chosen = [known[member["opportunity"]] for member in flown]
        told = [*sum_problems(study, row, flown), *order_problems(flown, chosen)]
        told += [
            f"opportunity {o['opportunity']}: {text}" for o in chosen for text in alone[o["opportunity"]]
        ]
        told += summed_problems(study, row, chosen)
        told += [*_together_problems(study, chosen), *near.problems(chosen)]
        told += [*design_problems(study, chosen), *protection_problems(study, chosen)]
        told += [*approach_problems(study, chosen), *steering_problems(study, chosen)]
        told += _relay_problems(study, chosen, tables.relayed or {})
        told += channel_problems(study, chosen, tables.relayed or {})
        wrong += [f"plan {row['plan']}: {text}" for text in told]
    return wrong


# --- one opportunity ----------------------------------------------------------------------------------------


def _alone_problems(study: Study, o: Row, arcs: _Arcs | None) -> list[str]:
    limits, probe = study.constraints, probe_of(study, o)
    wrong = []
    span = (study.study.start, o["release_jd_tdb"], o["burn_jd_tdb"], o["encounter_jd_tdb"], study.study.end)
    if list(span) != sorted(span):
        wrong.append("dates out of order or out of the study's span")
    if not o["burn_m_s"] <= probe.burn_limit_m_s:
        wrong.append(f"probe.burn_limit_m_s: burn of {o['burn_m_s']} m/s")
    waits = o.get("steer") in (None, "probe")
    if waits and o["burn_jd_tdb"] - o["release_jd_tdb"] < probe.checkout_days - _DATE_DAYS:
        wrong.append("probe.checkout_days: burn before the end of the check-out")
    for begin, until in limits.blackouts:
        for event in ("release", "burn"):
            if begin <= o[f"{event}_jd_tdb"] <= until:
                wrong.append(f"constraints.blackouts: {event} within a blackout")
    for angle in ("sun_earth_probe_deg", "sun_earth_probe_release_deg", "sun_earth_probe_burn_deg"):
        if angle in o and not o[angle] >= limits.sun_earth_probe_min_deg:
            wrong.append(f"constraints.sun_earth_probe_min_deg: {angle} is {o[angle]}")
    burning, arc_s = _burn_s(study, o), DAY_S * (o["encounter_jd_tdb"] - o["burn_jd_tdb"])
    if burning > limits.burn_share_max * arc_s * (1.0 + 1e-9):
        wrong.append(f"constraints.burn_share_max: {burning:.0f} s of burn in {arc_s:.0f} s to the encounter")
    if max(_week_hours(study, o).values(), default=0.0) > _most_hours(study):
        wrong.append("constraints.tracking_hours_per_week: one probe needs more")
    return wrong if arcs is None else [*wrong, *_arc_problems(study, o, arcs)]


def _burn_s(study: Study, o: Row) -> float:
    """Mass m(t) = m0 - F t / c falls until the speed gained, c ln(m0 / m), is the burn."""
    probe = probe_of(study, o)
    exhaust = 9.80665 * probe.isp_s
    mass_after = probe.wet_mass_kg / math.exp(o["burn_m_s"] / exhaust)
    return (probe.wet_mass_kg - mass_after) * exhaust / probe.thrust_n


def _arc_problems(study: Study, o: Row, arcs: _Arcs) -> list[str]:
    limits, wrong = study.constraints, []
    for begin, end in () if o.get("kind") in _AT_PLACES else arcs.events_jd:
        for event in ("release", "burn"):
            after_begin = o[f"{event}_jd_tdb"] - (begin - limits.event_clear_before_days)
            before_end = end + limits.event_clear_after_days - o[f"{event}_jd_tdb"]
            if after_begin > _DATE_DAYS and before_end > _DATE_DAYS:
                wrong.append(
                    f"constraints.event_clear_before_days, _after_days: {event} near a flyby or manoeuvre"
                )
    if limits.sun_range_min_au > 0.0 or limits.sun_range_max_au < 1000.0:
        low, high = arcs.sun_range_au(o)
        if low < limits.sun_range_min_au - _SUN_AU:
            wrong.append(f"constraints.sun_range_min_au: the arc comes to {low:.4f} au")
        if high > limits.sun_range_max_au + _SUN_AU:
            wrong.append(f"constraints.sun_range_max_au: the arc goes out to {high:.4f} au")
    if limits.release_sun_angle_min_deg > 0.0 or limits.release_sun_angle_max_deg < 180.0:
        angle = arcs.release_sun_angle_deg(o)
        low_deg, high_deg = limits.release_sun_angle_min_deg, limits.release_sun_angle_max_deg
        if not low_deg - _ANGLE_DEG <= angle <= high_deg + _ANGLE_DEG:
            wrong.append(f"constraints.release_sun_angle: released {angle:.2f} deg from the Sun")
    if limits.downlink_clear_days > 0.0:
        angle = arcs.downlink_angle_deg(o, limits.downlink_clear_days)
        if angle < limits.sun_earth_probe_min_deg - _ANGLE_DEG:
            wrong.append(f"constraints.downlink_clear_days: {angle:.2f} deg from the Sun during the downlink")
    return wrong


# --- probes together ----------------------------------------------------------------------------------------


def _together_problems(study: Study, chosen: list[Row]) -> list[str]:
    limits, wrong = study.constraints, []
    releases = sorted(o["release_jd_tdb"] for o in chosen)
    gaps = [b - a for a, b in itertools.pairwise(releases)]
    if gaps and min(gaps) < limits.release_spacing_days:
        wrong.append(f"constraints.release_spacing_days: releases only {min(gaps)} days apart")
    most = limits.releases_max
    if most and any(
        b - a < limits.release_window_days for a, b in zip(releases, releases[most:], strict=False)
    ):
        wrong.append(
            f"constraints.releases_max: more than {most} releases in {limits.release_window_days} days"
        )
    names = [o["target"] for o in chosen if o.get("kind") not in _AT_PLACES]
    if any(names.count(name) > (2 if limits.pairs else 1) for name in names):
        wrong.append("constraints.pairs: a target is visited too often")
    hours: dict[int, float] = {}
    for o in chosen:
        for week, needed in _week_hours(study, o).items():
            hours[week] = hours.get(week, 0.0) + needed
    if max(hours.values(), default=0.0) > _most_hours(study):
        wrong.append(f"constraints.tracking_hours_per_week: {max(hours.values()):.1f} h in one week")
    return wrong


def _relay_problems(study: Study, chosen: list[Row], relayed: dict[int, bool]) -> list[str]:
    """Encounters that need the relay at the same time."""
    over_days = [o for o in chosen if o.get("kind") != "entry"]
    served = sorted(o["encounter_jd_tdb"] for o in over_days if relayed.get(o["opportunity"], True))
    gaps = [b - a for a, b in itertools.pairwise(served)]
    if gaps and min(gaps) < study.constraints.relay_busy_days:
        return [f"constraints.relay_busy_days: relayed encounters only {min(gaps):.2f} days apart"]
    return []


def _most_hours(study: Study) -> float:
    most = study.constraints.tracking_hours_per_week
    return math.inf if most is None else most + _HOURS


def _week_hours(study: Study, o: Row) -> dict[int, float]:
    """Hours of tracking by week, counted from study.start: piece by piece."""
    limits = study.constraints
    if limits.tracking_hours_per_week is None:
        return {}
    start = study.study.start
    release, encounter = o["release_jd_tdb"] - start, o["encounter_jd_tdb"] - start
    around = limits.tracking_encounter_days
    turn, end = max(release, encounter - around), encounter + around
    pieces = (
        (release, turn, limits.tracking_cruise_hours_per_week / 7.0),
        (turn, end, limits.tracking_encounter_hours_per_day),
    )
    hours: dict[int, float] = {}
    for begin, until, per_day in pieces:
        at = begin
        while at < until:
            week = math.floor(at / 7.0)
            stop = min(until, 7.0 * (week + 1))
            if stop <= at:
                break
            hours[week] = hours.get(week, 0.0) + (stop - at) * per_day
            at = stop
    return hours


class _Recontact:
    """Distances of probes from each other and from the mothership; each pair is looked at once."""

    def __init__(self, study: Study, arcs: _Arcs | None) -> None:
        limits = study.constraints
        self.arcs, self.after_days = arcs, limits.recontact_after_days
        self.least_km = limits.recontact_km * (1.0 - _DISTANCE_SHARE) - _DISTANCE_KM
        self.seen: dict[tuple[int, ...], float] = {}

    def problems(self, chosen: list[Row]) -> list[str]:
        if self.arcs is None or self.least_km <= 0.0:
            return []
        wrong = []
        for a, b in (*((o, None) for o in chosen), *itertools.combinations(chosen, 2)):
            distance = self._distance_km(self.arcs, a, b)
            if distance < self.least_km:
                other = "the mothership" if b is None else f"opportunity {b['opportunity']}"
                told = f"opportunity {a['opportunity']} comes within {distance:.1f} km of {other}"
                wrong.append(f"constraints.recontact_km: {told}")
        return wrong

    def _distance_km(self, arcs: _Arcs, a: Row, b: Row | None) -> float:
        key = (a["opportunity"],) if b is None else (a["opportunity"], b["opportunity"])
        if key not in self.seen:
            self.seen[key] = arcs.least_distance_km(a, b, self.after_days)
        return self.seen[key]


# --- arcs ---------------------------------------------------------------------------------------------------


class _Arcs:
    """Where the probes of some opportunities are; two-body from the burn on, beside the mothership."""

    def __init__(self, rows: list[Row], mothership: pa.Table) -> None:
        names = ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")
        self.epochs_jd = np.array(mothership["t_jd_tdb"].to_numpy())
        self.states = np.column_stack([mothership[name].to_numpy() for name in names])
        several = "leg" in mothership.column_names
        self.leg = np.array(mothership["leg"].to_numpy()) if several else np.zeros(len(self.epochs_jd))
        self.rows = {row["opportunity"]: row for row in rows}
        self._cached: dict[int, tuple[Floats, Floats]] = {}

    @property
    def events_jd(self) -> list[tuple[float, float]]:
        """Last epoch of a leg and first of the next."""
        change = np.flatnonzero(np.diff(self.leg) != 0)
        return [(float(self.epochs_jd[k]), float(self.epochs_jd[k + 1])) for k in change]

    def mothership_at(self, jd_tdb: float) -> Floats:
        """State of the mothership: from the nearest node of its leg by Kepler's equation, (6,)."""
        k = int(np.argmin(np.abs(self.epochs_jd - jd_tdb)))
        dt = (jd_tdb - self.epochs_jd[k]) * DAY_S
        return kepler(self.states[k], np.array([dt]))[0] if dt else self.states[k]

    def burn(self, o: Row) -> tuple[Floats, Floats]:
        """States at the burn without and with it, (6,) each."""
        if o["opportunity"] not in self._cached:
            before = _given_ship(o) if o.get("kind") in _AT_PLACES else self.mothership_at(o["burn_jd_tdb"])
            after = before.copy()
            after[3:] += 1e-3 * _impulse_m_s(o)
            self._cached[o["opportunity"]] = (before, after)
        return self._cached[o["opportunity"]]

    def _sampled_s(self, o: Row) -> Floats:
        arc_days = o["encounter_jd_tdb"] - o["burn_jd_tdb"]
        return DAY_S * np.linspace(0.0, arc_days, max(int(math.ceil(arc_days / _SAMPLE_DAYS)), 1) + 1)

    def sun_range_au(self, o: Row) -> tuple[float, float]:
        probe = kepler(self.burn(o)[1], self._sampled_s(o))
        r = np.sqrt((probe[:, :3] ** 2).sum(axis=1)) / AU_KM
        return float(r.min()), float(r.max())

    def release_sun_angle_deg(self, o: Row) -> float:
        at_place = o.get("kind") in _AT_PLACES
        sunward = -(
            np.array([o[f"ship_release_{c}_km"] for c in "xyz"])
            if at_place
            else self.mothership_at(o["release_jd_tdb"])[:3]
        )
        return _angle_deg(_impulse_m_s(o), sunward)

    def downlink_angle_deg(self, o: Row, days: float) -> float:
        after_s = DAY_S * np.append(np.arange(0.0, days, _SAMPLE_DAYS), days)
        begin_s = float(tdb_s_from_jd(o["encounter_jd_tdb"]))
        planets = sample_planets(begin_s, begin_s + days * DAY_S)
        arc_s = DAY_S * (o["encounter_jd_tdb"] - o["burn_jd_tdb"])
        probe = kepler(self.burn(o)[1], arc_s + after_s)[:, :3]
        earth = planets.state(EARTH, begin_s + after_s)[:, :3]
        return min(_angle_deg(-e, p - e) for e, p in zip(earth, probe, strict=True))

    def least_distance_km(self, a: Row, b: Row | None, after_days: float) -> float:
        """Least distance of probes a and b (of a and the mothership) while both are on their way."""
        begin = max(o["burn_jd_tdb"] for o in (a, b) if o is not None) + after_days
        end = min(o["encounter_jd_tdb"] for o in (a, b) if o is not None)
        if b is not None and a["target"] == b["target"]:
            end -= after_days
        if end <= begin:
            return math.inf
        dates = np.linspace(begin, end, max(int(math.ceil((end - begin) / _SAMPLE_DAYS)), 1) + 1)
        apart = self._offset_km(a, dates) - (self._offset_km(b, dates) if b is not None else 0.0)
        return _least_from_origin(apart)

    def _offset_km(self, o: Row, dates: Floats) -> Floats:
        before, after = self.burn(o)
        since_s = DAY_S * (dates - o["burn_jd_tdb"])
        return kepler(after, since_s)[:, :3] - kepler(before, since_s)[:, :3]


def _impulse_m_s(o: Row) -> Floats:
    """What puts a probe on its way: its burn, and what a mothership that steers gave it."""
    return np.array([o[f"burn_{c}_m_s"] + (o.get(f"aimed_{c}_m_s") or 0.0) for c in "xyz"])


def _given_ship(o: Row) -> Floats:
    """State of the mothership at the burn, as the row of a pass gives it: no leg leads into a planet's sphere."""
    return np.array([o[f"ship_{part}"] for part in ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")])


def _angle_deg(a: Floats, b: Floats) -> float:
    cosine = float(a @ b) / math.sqrt(float(a @ a) * float(b @ b))
    return math.degrees(math.acos(min(max(cosine, -1.0), 1.0)))


def _least_from_origin(points: Floats) -> float:
    """Least distance of the origin from the chords between points, (n, 3)."""
    start, step = points[:-1], np.diff(points, axis=0)
    length2 = (step**2).sum(axis=1)
    along = -(start * step).sum(axis=1) / np.where(length2 > 0.0, length2, 1.0)
    nearest = start + np.clip(along, 0.0, 1.0)[:, None] * step
    return float(np.sqrt((nearest**2).sum(axis=1).min()))
