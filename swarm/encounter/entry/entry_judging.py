"""What the rows of an approach of entries come to: loads, corridor, what is heard, quality, what it asks for."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.cases import spare_km_s
from swarm.encounter.entry.air_motion import PRESSURE, TIME, X
from swarm.encounter.entry.corridor import EDGE_NAMES, Corridor, corridor_chance
from swarm.encounter.entry.descent import SKIPPED, SURFACE, Loads, flown
from swarm.encounter.entry.divert import Divert, divert_of
from swarm.encounter.entry.heating import is_heating_known
from swarm.encounter.entry.relay import Heard, heard, on_even_times
from swarm.encounter.entry.setting import LOST_BATTERY, LOST_GROUND, LOST_NAMES, Setting
from swarm.encounter.entry.world import angles_deg, fill_ups, in_axes
from swarm.encounter.error_model import Errors, Normals, errors_of, normals_of
from swarm.encounter.link import ground_link, relay_link
from swarm.encounter.pass_delivery import PassDelivery, Sight, deliver
from swarm.encounter.pass_geometry import pass_geometry
from swarm.reach.approach.entry_goals import angle_sigma_deg
from swarm.reach.approach.entry_rows import EntryRows
from swarm.reach.approach.field import OK
from swarm.reach.approach.influence import influence_at
from targets.base.constants import DAY_S

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]

# Depth counts from so small a share of `bar_full` on, by the logarithm of pressure: own choice.
FIRST_SHARE = 1e-3
# With less than this chance the corridor is what limits a row: own choice.
_SURE = 0.99
_SHARES = np.linspace(0.0, 1.0, 101)


@dataclass(frozen=True, eq=False)
class JudgedEntries:
    """n rows as shot (`rows`: which of those asked for); columns as in the table `entries`.

    chance_quality   : (n, q) P(quality >= each that is asked), given working hardware
    expected_quality : over delivery, air and link
    begin_s, end_s   : between which the mothership hears it, seconds TDB; NaN where it does not
    """

    rows: NDArray[np.int64]
    v_entry_inertial_km_s: Floats
    v_entry_relative_km_s: Floats
    angle_deg: Floats
    angle_inertial_deg: Floats
    heading_deg: Floats
    latitude_deg: Floats
    longitude_e_deg: Floats
    local_solar_h: Floats
    sun_elevation_deg: Floats
    angle_sigma_deg: Floats
    corridor_shallow_deg: Floats
    corridor_steep_deg: Floats
    corridor_chance: Floats
    limited_by: NDArray[np.object_]
    peak_g: Floats
    peak_g_altitude_km: Floats
    peak_q_kpa: Floats
    flux_convective_w_cm2: Floats
    flux_radiative_w_cm2: Floats
    heat_load_j_cm2: Floats
    heating_known: NDArray[np.bool_]
    reached_bar: Floats
    descent_min: Floats
    relay_min: Floats
    relay_range_min_km: Floats
    relay_mbit: Floats
    direct_mbit: Floats
    burn_m_s: Floats
    dv99_m_s: Floats
    divert_m_s: Floats
    impact_course_days: Floats
    carrier_propellant_kg: Floats
    carrier_impact_chance: Floats
    expected_quality: Floats
    chance_quality: Floats
    begin_s: Floats
    end_s: Floats


@dataclass(frozen=True, eq=False)
class Descent:
    """One row flown: its loads, profile, and what is heard of it; `lost` a code of LOST_NAMES."""

    loads: Loads
    profile: Floats
    relay: Heard | None
    direct: Heard
    lost: int
    lost_s: float


def judge_entries(
    rows: EntryRows, setting: Setting, corridor: Corridor, qualities: tuple[float, ...] = ()
) -> JudgedEntries:
    """Judge every row of one passage and design; the answer for one does not depend on which others there are."""
    good = np.flatnonzero(rows.shots.status == OK)
    n = len(good)
    kinds: dict[str, NDArray] = {
        "rows": good,
        "limited_by": np.full(n, "", dtype=object),
        "heating_known": np.zeros(n, dtype=bool),
        "chance_quality": np.zeros((n, len(qualities))),
    }
    alone = setting.study.of_design(setting.design.name)
    errors, normals = errors_of(alone), normals_of(alone)
    out = JudgedEntries(**{f.name: kinds.get(f.name, np.full(n, np.nan)) for f in fields(JudgedEntries)})
    for j, k in enumerate(good):
        _keep_interface(out, j, rows, int(k), setting)
        made = _delivery(rows, int(k), setting, errors, normals)
        paid = _paid(made, float(out.burn_m_s[j]), setting, alone)
        _keep_corridor(out, j, rows, int(k), setting, corridor, made)
        out.corridor_chance[j] *= paid
        way = descent_of(rows, int(k), setting)
        _keep_descent(out, j, way, setting)
        _keep_quality(out, j, way, setting, qualities)
        if way.relay is not None:
            epoch = float(rows.shots.entry_s[k])
            out.begin_s[j], out.end_s[j] = epoch + way.relay.begin_s, epoch + way.relay.end_s
        _keep_divert(out, j, divert_of(rows, int(k), setting))
        out.limited_by[j] = _limited_by(out, j, way, setting, corridor, rows.shots.b_km[k], paid)
    return out


def descent_of(rows: EntryRows, k: int, setting: Setting) -> Descent:
    """Fly one row down, and follow both links until it is lost."""
    epoch = float(rows.shots.entry_s[k])
    state = in_axes(setting.passage.body, rows.shots.relative[k], epoch)[0]
    loads, profile = flown(state, setting.world, setting.air(), setting.shell, setting.course)
    # what skips out is not heard of
    last = 0.0 if loads.status == SKIPPED else min(float(profile[-1, TIME]), setting.life_s)
    lost = setting.lost if last < setting.life_s else LOST_BATTERY
    if loads.status == SURFACE and last < setting.life_s:
        lost = LOST_GROUND
    way = on_even_times(profile, last)
    ups = _ups(way, setting)
    turn = _turn(setting, epoch)
    earth = heard(
        way, ups, np.tile(turn @ setting.passage.earth_km, (len(way), 1)), link=ground_link(setting.design),
        rules=setting.rules,
    )  # fmt: skip
    relay = None
    if setting.place is not None:
        there = setting.place(epoch + way[:, TIME]) @ turn.T
        relay = heard(way, ups, there, link=relay_link(setting.design), rules=setting.rules)
    return Descent(loads, profile, relay, earth, lost, last)


def _turn(setting: Setting, epoch: float) -> Floats:
    return in_axes(setting.passage.body, np.hstack([np.eye(3), np.eye(3)]), epoch)[:, :3].T


def _ups(way: Floats, setting: Setting) -> Floats:
    out = np.empty((len(way), 3))
    fill_ups(np.ascontiguousarray(way[:, X : X + 3]), setting.world, out)
    return out


def _keep_interface(out: JudgedEntries, j: int, rows: EntryRows, k: int, setting: Setting) -> None:
    body, shots = setting.passage.body, rows.shots
    epoch = float(shots.entry_s[k])
    state = in_axes(body, shots.relative[k], epoch)[0]
    out.v_entry_inertial_km_s[j], out.angle_inertial_deg[j], _ = angles_deg(
        state, setting.world, turning_rad_s=0.0
    )
    out.v_entry_relative_km_s[j], out.angle_deg[j], out.heading_deg[j] = angles_deg(
        state, setting.world, turning_rad_s=setting.world.air_rad_s
    )
    ground = pass_geometry(body, shots.relative[k], epoch, setting.passage.sun_km)
    out.latitude_deg[j], out.longitude_e_deg[j] = ground.latitude_deg[0], ground.longitude_e_deg[0]
    out.local_solar_h[j], out.sun_elevation_deg[j] = ground.local_time_h[0], ground.sun_elevation_deg[0]
    out.burn_m_s[j] = 1e3 * float(np.linalg.norm(shots.burn_km_s[k]))


def _delivery(rows: EntryRows, k: int, setting: Setting, errors: Errors, normals: Normals) -> PassDelivery:
    """Corrections of a probe that steers; a probe that the mothership aims has none."""
    shots, delivery = rows.shots, setting.study.delivery
    burn_s, met_s = float(rows.burn_s[k]), float(shots.entry_s[k])
    dates = np.array([])
    if setting.ask.steer == "probe":
        after = burn_s + np.array(delivery.corrections_after_burn_days) * DAY_S
        last_s = met_s - delivery.last_before_days * DAY_S
        before = met_s - np.array([*delivery.corrections_before_days, delivery.last_before_days]) * DAY_S
        dates = np.unique(np.concatenate([after, before]))
        dates = dates[(dates > burn_s + 3600.0) & (dates <= last_s + 1.0)]
    state = rows.path[k].copy()
    state[3:] += shots.burn_km_s[k]
    by_start = np.ascontiguousarray(shots.by_state[k, :2])
    return deliver(
        by_start, influence_at(state, burn_s, dates, by_start=by_start, field=rows.field), met_s - dates,
        burn_km_s=shots.burn_km_s[k], checkout_s=float(rows.burn_s[k] - rows.release_s[k]),
        sight=Sight(setting.passage.body.radius_km, float(shots.v_inf_km_s[k]), setting.ask.ephemeris_sigma_km),
        errors=errors, normals=normals,
    )  # fmt: skip


def _paid(made: PassDelivery, burn_m_s: float, setting: Setting, alone: Study) -> float:
    """Share of samples that can pay their corrections; a probe that the mothership aims has none."""
    if setting.ask.steer != "probe":
        return 1.0
    return float((made.spent_m_s <= 1e3 * spare_km_s(alone, np.array([burn_m_s]))[0]).mean())


def _keep_corridor(
    out: JudgedEntries,
    j: int,
    rows: EntryRows,
    k: int,
    setting: Setting,
    corridor: Corridor,
    made: PassDelivery,
) -> None:
    b, shots = rows.shots.b_km[k], rows.shots
    clock = math.degrees(math.atan2(b[1], b[0]))
    out.corridor_shallow_deg[j], out.corridor_steep_deg[j] = corridor.edges_deg(clock)
    out.corridor_chance[j] = corridor_chance(
        corridor, b, made.delivered_cov, angle_deg=float(out.angle_inertial_deg[j]), asymptote=setting.asymptote,
        interface=setting.interface,
    )  # fmt: skip
    tt, rr, tr = made.delivered_cov
    along = b / np.hypot(*b)
    sigma = math.sqrt(max(along[0] ** 2 * tt + along[1] ** 2 * rr + 2.0 * along[0] * along[1] * tr, 0.0))
    out.angle_sigma_deg[j] = angle_sigma_deg(
        sigma, out.angle_inertial_deg[j], v_inf_km_s=shots.v_inf_km_s[k], v_entry_km_s=out.v_entry_inertial_km_s[j],
        radius_km=np.linalg.norm(shots.relative[k, :3]),
    )  # fmt: skip
    out.dv99_m_s[j] = made.dv99_m_s


def _keep_descent(out: JudgedEntries, j: int, way: Descent, setting: Setting) -> None:
    loads, profile = way.loads, way.profile
    out.peak_g[j], out.peak_g_altitude_km[j], out.peak_q_kpa[j] = (
        loads.peak_g,
        loads.peak_g_km,
        loads.peak_kpa,
    )
    out.flux_convective_w_cm2[j], out.flux_radiative_w_cm2[j] = loads.convective, loads.radiative
    out.heat_load_j_cm2[j] = loads.load
    out.heating_known[j] = is_heating_known(setting.passage.body.name, float(out.v_entry_relative_km_s[j]))
    out.reached_bar[j] = 1e-5 * float(np.interp(way.lost_s, profile[:, TIME], profile[:, PRESSURE]))
    out.descent_min[j] = way.lost_s / 60.0
    out.direct_mbit[j] = way.direct.mbit
    if way.relay is not None:
        open_ = way.relay.rate_bit_s > 0.0
        out.relay_min[j], out.relay_mbit[j] = way.relay.minutes, way.relay.mbit
        out.relay_range_min_km[j] = way.relay.range_km[open_].min() if open_.any() else np.nan


def _keep_quality(
    out: JudgedEntries, j: int, way: Descent, setting: Setting, qualities: tuple[float, ...]
) -> None:
    """Depth by the logarithm of pressure, times the share of the data that comes home; the link is off by its sigma."""
    entry, probe = setting.design.entry, setting.design
    assert entry is not None
    possible = max(float(np.nan_to_num(out.relay_mbit[j])), float(out.direct_mbit[j]))
    depth = depth_score(float(out.reached_bar[j]), setting.ask.bar_full)

    def chance(quality: float) -> float:
        needed = max(entry.data_least_mbit, quality / depth * entry.data_mbit) if depth > 0.0 else math.inf
        if quality > depth or possible <= 0.0 or way.loads.status == SKIPPED:
            return 0.0
        spare_db = probe.link_margin_db + 10.0 * math.log10(possible / needed)
        return 0.5 * math.erfc(-spare_db / (probe.link_sigma_db * math.sqrt(2.0)))

    inside = float(out.corridor_chance[j])
    out.chance_quality[j] = [inside * chance(quality) for quality in qualities]
    out.expected_quality[j] = inside * float(
        np.trapezoid([chance(depth * s) for s in _SHARES], depth * _SHARES)
    )


def depth_score(reached_bar: float, full_bar: float) -> float:
    """0 at FIRST_SHARE of `full_bar`, 1 there, by the logarithm of pressure."""
    if reached_bar <= 0.0:
        return 0.0
    return min(max(1.0 - math.log(reached_bar / full_bar) / math.log(FIRST_SHARE), 0.0), 1.0)


def _keep_divert(out: JudgedEntries, j: int, divert: Divert) -> None:
    out.divert_m_s[j], out.impact_course_days[j] = divert.divert_m_s, divert.impact_course_days
    out.carrier_propellant_kg[j] = divert.propellant_kg
    out.carrier_impact_chance[j] = divert.impact_chance


def _limited_by(
    out: JudgedEntries,
    j: int,
    way: Descent,
    setting: Setting,
    corridor: Corridor,
    b_km: Floats,
    paid: float,
) -> str:
    """What keeps a row from more: its tank or the nearer edge, else what is heard, else what it is lost by."""
    if out.corridor_chance[j] < _SURE:
        shallow, steep = corridor.reasons(math.degrees(math.atan2(b_km[1], b_km[0])))
        angle = float(out.angle_inertial_deg[j])
        if paid <= out.corridor_chance[j] / max(paid, 1e-12):
            return "tank"
        to_shallow, to_steep = angle - out.corridor_shallow_deg[j], out.corridor_steep_deg[j] - angle
        return EDGE_NAMES[shallow if to_shallow < to_steep else steep]
    entry = setting.design.entry
    assert entry is not None
    if max(float(np.nan_to_num(out.relay_mbit[j])), float(out.direct_mbit[j])) < entry.data_mbit:
        return "relay"
    return LOST_NAMES[way.lost]
