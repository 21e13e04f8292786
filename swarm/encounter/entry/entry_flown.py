"""Rows of an approach of entries flown down: where they enter, what they bear, how deep they come, what is heard.

Nothing here hangs on how well a probe is delivered: that is `entry_worth`, from numbers of a table.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.entry.air_motion import PRESSURE, TIME, X
from swarm.encounter.entry.corridor import EDGE_NAMES, Corridor
from swarm.encounter.entry.descent import SKIPPED, SURFACE, Loads, flown
from swarm.encounter.entry.heating import is_heating_known
from swarm.encounter.entry.relay import Heard, heard, on_even_times
from swarm.encounter.entry.setting import LOST_BATTERY, LOST_GROUND, LOST_NAMES, Setting
from swarm.encounter.entry.world import angles_deg, fill_ups, in_axes
from swarm.encounter.link import ground_link, relay_link
from swarm.encounter.pass_geometry import pass_geometry
from swarm.reach.approach.entry_rows import EntryRows

Floats = NDArray[np.float64]
Names = NDArray[np.object_]


@dataclass(frozen=True, eq=False)
class EntriesFlown:
    """n rows; columns as in the table `entries`.

    corridor_edges_deg : (n, 2, 3) shallow and steep edge at the row's clock angle, by spread of the air
    relay_begin_s, relay_end_s : epochs between which the mothership hears it; NaN where it does not
    relay_db, direct_db : the links that the bits were counted with, bit/s at 1 km
    lost : what it is lost by; "skip" where it leaves the atmosphere again
    """

    v_entry_inertial_km_s: Floats
    v_entry_relative_km_s: Floats
    angle_deg: Floats
    angle_inertial_deg: Floats
    heading_deg: Floats
    latitude_deg: Floats
    longitude_e_deg: Floats
    local_solar_h: Floats
    sun_elevation_deg: Floats
    corridor_shallow_deg: Floats
    corridor_steep_deg: Floats
    corridor_edges_deg: Floats
    shallow_limit: Names
    steep_limit: Names
    peak_g: Floats
    peak_g_altitude_km: Floats
    peak_q_kpa: Floats
    flux_convective_w_cm2: Floats
    flux_radiative_w_cm2: Floats
    heat_load_j_cm2: Floats
    heating_known: NDArray[np.bool_]
    reached_bar: Floats
    descent_min: Floats
    lost: Names
    relay_min: Floats
    relay_range_min_km: Floats
    relay_mbit: Floats
    relay_db: Floats
    relay_begin_s: Floats
    relay_end_s: Floats
    direct_min: Floats
    direct_mbit: Floats
    direct_db: Floats
    burn_m_s: Floats


@dataclass(frozen=True, eq=False)
class Descent:
    """One row flown: its loads, profile, and what is heard of it; `lost` a code of LOST_NAMES.

    way : (m, COLUMNS) the profile at even times until it is lost; `relay` and `direct` have its rows
    """

    loads: Loads
    profile: Floats
    way: Floats
    relay: Heard | None
    direct: Heard
    lost: int
    lost_s: float


def fly_entries(
    rows: EntryRows, setting: Setting, corridor: Corridor, which: NDArray[np.int64]
) -> EntriesFlown:
    """Fly some rows of one passage and design; the answer for one does not depend on which others there are."""
    n = len(which)
    kinds: dict[str, NDArray] = {
        "corridor_edges_deg": np.full((n, 2, 3), np.nan),
        "heating_known": np.zeros(n, dtype=bool),
        **{name: np.full(n, "", dtype=object) for name in ("shallow_limit", "steep_limit", "lost")},
    }
    out = EntriesFlown(**{f.name: kinds.get(f.name, np.full(n, np.nan)) for f in fields(EntriesFlown)})
    for j, k in enumerate(int(each) for each in which):
        epoch = float(rows.shots.entry_s[k])
        _keep_interface(out, j, rows.shots.relative[k], epoch, setting)
        out.burn_m_s[j] = 1e3 * float(np.linalg.norm(rows.shots.burn_km_s[k]))
        _keep_edges(out, j, rows.shots.b_km[k], corridor)
        _keep_descent(out, j, descent_of(rows.shots.relative[k], epoch, setting), epoch, setting)
    return out


def descent_of(relative: Floats, epoch: float, setting: Setting) -> Descent:
    """Fly one state (6,) at the interface down, and follow both links until it is lost."""
    state = in_axes(setting.passage.body, relative, epoch)[0]
    loads, profile = flown(state, setting.world, setting.air(), setting.shell, setting.course)
    # what skips out is not heard of
    last = 0.0 if loads.status == SKIPPED else min(float(profile[-1, TIME]), setting.life_s)
    lost = setting.lost if last < setting.life_s else LOST_BATTERY
    if loads.status == SURFACE and last < setting.life_s:
        lost = LOST_GROUND
    way = on_even_times(profile, last)
    ups = np.empty((len(way), 3))
    fill_ups(np.ascontiguousarray(way[:, X : X + 3]), setting.world, ups)
    turn = in_axes(setting.passage.body, np.hstack([np.eye(3), np.eye(3)]), epoch)[:, :3].T
    earth = heard(
        way, ups, np.tile(turn @ setting.passage.earth_km, (len(way), 1)), link=ground_link(setting.design),
        rules=setting.rules,
    )  # fmt: skip
    relay = None
    if setting.place is not None:
        there = setting.place(epoch + way[:, TIME]) @ turn.T
        relay = heard(way, ups, there, link=relay_link(setting.design), rules=setting.rules)
    return Descent(loads, profile, way, relay, earth, lost, last)


def _keep_interface(out: EntriesFlown, j: int, relative: Floats, epoch: float, setting: Setting) -> None:
    body = setting.passage.body
    state = in_axes(body, relative, epoch)[0]
    out.v_entry_inertial_km_s[j], out.angle_inertial_deg[j], _ = angles_deg(
        state, setting.world, turning_rad_s=0.0
    )
    out.v_entry_relative_km_s[j], out.angle_deg[j], out.heading_deg[j] = angles_deg(
        state, setting.world, turning_rad_s=setting.world.air_rad_s
    )
    ground = pass_geometry(body, relative, epoch, setting.passage.sun_km)
    out.latitude_deg[j], out.longitude_e_deg[j] = ground.latitude_deg[0], ground.longitude_e_deg[0]
    out.local_solar_h[j], out.sun_elevation_deg[j] = ground.local_time_h[0], ground.sun_elevation_deg[0]


def _keep_edges(out: EntriesFlown, j: int, b_km: Floats, corridor: Corridor) -> None:
    clock = math.degrees(math.atan2(b_km[1], b_km[0]))
    out.corridor_edges_deg[j] = corridor.edges_at(clock)
    out.corridor_shallow_deg[j], out.corridor_steep_deg[j] = corridor.edges_deg(clock)
    shallow, steep = corridor.reasons(clock)
    out.shallow_limit[j], out.steep_limit[j] = EDGE_NAMES[shallow], EDGE_NAMES[steep]


def _keep_descent(out: EntriesFlown, j: int, way: Descent, epoch: float, setting: Setting) -> None:
    loads, profile, design = way.loads, way.profile, setting.design
    out.peak_g[j], out.peak_g_altitude_km[j], out.peak_q_kpa[j] = (
        loads.peak_g,
        loads.peak_g_km,
        loads.peak_kpa,
    )
    out.flux_convective_w_cm2[j], out.flux_radiative_w_cm2[j] = loads.convective, loads.radiative
    out.heat_load_j_cm2[j] = loads.load
    out.heating_known[j] = is_heating_known(setting.passage.body.name, float(out.v_entry_relative_km_s[j]))
    out.lost[j] = EDGE_NAMES[0] if loads.status == SKIPPED else LOST_NAMES[way.lost]
    out.reached_bar[j] = 1e-5 * float(np.interp(way.lost_s, profile[:, TIME], profile[:, PRESSURE]))
    out.descent_min[j] = way.lost_s / 60.0
    out.direct_min[j], out.direct_mbit[j] = way.direct.minutes, way.direct.mbit
    out.direct_db[j], out.relay_db[j] = ground_link(design).decibels, relay_link(design).decibels
    if way.relay is not None:
        open_ = way.relay.rate_bit_s > 0.0
        out.relay_min[j], out.relay_mbit[j] = way.relay.minutes, way.relay.mbit
        out.relay_range_min_km[j] = way.relay.range_km[open_].min() if open_.any() else np.nan
        out.relay_begin_s[j], out.relay_end_s[j] = epoch + way.relay.begin_s, epoch + way.relay.end_s
