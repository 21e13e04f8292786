"""Re-verifies every plan of a front from the tables of a run alone.

Written apart from the search, as its part `verify_tables` is: nothing of `swarm` is used but the study's settings,
and arcs are moved by a solution of Kepler's equation of its own. So an error would have to be made twice to go
unseen. What is checked are the constraints of the study, the sums of the tables, and that no plan of the front beats
another.

Limits that are distances or angles along an arc are checked with a small allowance, since two ways of computing
them differ by rounding and by the spacing of samples: see the constants.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from swarm.plan.verify_tables import (
    approach_problems,
    channel_problems,
    design_problems,
    front_problems,
    order_problems,
    probe_of,
    protection_problems,
    sum_problems,
)
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris.planets import EARTH, sample_planets

if TYPE_CHECKING:
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


def verify(study: Study, tables: Tables, *, probes: int | None = None) -> int:
    """Check every plan and return how many there are. Raises BrokenPlan with everything that is wrong."""
    wrong = problems_of(study, tables, probes=probes)
    if wrong:
        more = f" (and {len(wrong) - 5} more)" if len(wrong) > 5 else ""
        raise BrokenPlan("the front does not keep its promises: " + "; ".join(wrong[:5]) + more)
    return tables.front.num_rows


def problems_of(study: Study, tables: Tables, *, probes: int | None = None) -> list[str]:
    """Return everything that is wrong, as sentences that name the plan and the constraint."""
    known = {row["opportunity"]: row for row in tables.opportunities.to_pylist()}
    most = study.probe.count if probes is None else probes
    rows, members = tables.front.to_pylist(), tables.plans.to_pylist()
    by_plan: dict[int, list[Row]] = {}
    for row in members:
        by_plan.setdefault(row["plan"], []).append(row)
    wrong = front_problems(rows, most)
    order = [(row["plan"], row["probe"]) for row in members]
    if order != sorted(order):
        wrong.append("plans are not in order of plan and probe")
    missing = {row["opportunity"] for row in members} - set(known)
    if missing:
        return [*wrong, f"opportunities {sorted(missing)} are not in the table"]
    used = sorted({row["opportunity"] for row in members})
    arcs = None if tables.mothership is None else _Arcs([known[o] for o in used], tables.mothership)
    alone = {o: list(_alone_problems(study, known[o], arcs)) for o in used}
    near = _Recontact(study, arcs)
    for row in rows:
        flown = by_plan.pop(row["plan"], [])
        chosen = [known[member["opportunity"]] for member in flown]
        told = [*sum_problems(study, row, flown), *order_problems(flown, chosen)]
        told += [
            f"opportunity {o['opportunity']}: {text}" for o in chosen for text in alone[o["opportunity"]]
        ]
        told += [*_together_problems(study, chosen), *near.problems(chosen)]
        told += [*design_problems(study, chosen), *protection_problems(study, chosen)]
        told += approach_problems(study, chosen)
        told += _relay_problems(study, chosen, tables.relayed or {})
        told += channel_problems(study, chosen, tables.relayed or {})
        wrong += [f"plan {row['plan']}: {text}" for text in told]
    wrong += [f"plan {plan} is not on the front" for plan in by_plan]
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
    if o["burn_jd_tdb"] - o["release_jd_tdb"] < probe.checkout_days - _DATE_DAYS:
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
            after[3:] += 1e-3 * np.array([o[f"burn_{c}_m_s"] for c in "xyz"])
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
        return _angle_deg(np.array([o[f"burn_{c}_m_s"] for c in "xyz"]), sunward)

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


def kepler(state: Floats, dt_s: Floats) -> Floats:
    """Move one heliocentric state by each of `dt_s`, (n, 6): Kepler's equation, or integration off the ellipses."""
    r, v = state[:3], state[3:]
    distance, speed2 = math.sqrt(float(r @ r)), float(v @ v)
    alpha = 2.0 / distance - speed2 / GM_SUN_KM3_S2
    eccentricity = ((speed2 - GM_SUN_KM3_S2 / distance) * r - float(r @ v) * v) / GM_SUN_KM3_S2
    e = math.sqrt(float(eccentricity @ eccentricity))
    if alpha <= 0.0 or not 1e-6 < e < 0.99:
        return np.array([_integrated(state, float(dt)) for dt in dt_s]).reshape(-1, 6)
    a = 1.0 / alpha
    normal = np.cross(r, v)
    p_axis = eccentricity / e
    q_axis = np.cross(normal / math.sqrt(float(normal @ normal)), p_axis)
    b = a * math.sqrt(1.0 - e * e)
    anomaly0 = math.atan2(float(r @ q_axis) / b, float(r @ p_axis) / a + e)
    n = math.sqrt(GM_SUN_KM3_S2 / a**3)
    anomaly = _eccentric_anomaly(anomaly0 - e * math.sin(anomaly0) + n * dt_s, e)
    cos, sin = np.cos(anomaly), np.sin(anomaly)
    rate = n / (1.0 - e * cos)
    position = (a * (cos - e))[:, None] * p_axis + (b * sin)[:, None] * q_axis
    velocity = (-a * sin * rate)[:, None] * p_axis + (b * cos * rate)[:, None] * q_axis
    return np.hstack([position, velocity])


def _eccentric_anomaly(mean: Floats, e: float) -> Floats:
    """Solve E - e sin E = M by Newton's method from the far side, from where it converges."""
    anomaly = mean + e * np.sign(np.sin(mean))
    for _ in range(100):
        step = (anomaly - e * np.sin(anomaly) - mean) / (1.0 - e * np.cos(anomaly))
        anomaly = anomaly - step
        if np.abs(step).max(initial=0.0) < 1e-14:
            break
    return anomaly


def _integrated(state: Floats, dt_s: float) -> Floats:
    if dt_s == 0.0:
        return state
    solved = solve_ivp(_pull, (0.0, dt_s), state, method="DOP853", rtol=1e-12, atol=1e-9)
    return solved.y[:, -1]


def _pull(_: float, state: Floats) -> Floats:
    return np.concatenate([state[3:], -GM_SUN_KM3_S2 * state[:3] / float(state[:3] @ state[:3]) ** 1.5])
