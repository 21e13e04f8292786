"""Entries as rows of tables: what is written of them, what judging reads of that again, what a science row asks."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.entry.entry_judging import JudgedEntries
from swarm.encounter.entry.entry_worth import EntryCases
from swarm.encounter.pass_table import impulses_m_s, ship_at, vector_columns
from swarm.reach.approach.entry_rows import EntryRows
from swarm.reach.approach.scene import Scene
from swarm.study.sections.science import Where
from targets.base.constants import DAY_S
from targets.base.timescale import jd_from_tdb_s
from targets.base.vectors import lengths
from targets.catalogue.bodies import Catalogue

if TYPE_CHECKING:
    from swarm.reach.approach.entry_shoot import EntryShots

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_LISTS = pa.list_(pa.float64())
# Columns that are fields of what was flown, and of what was judged.
_FLOWN = (
    "v_entry_inertial_km_s", "v_entry_relative_km_s", "angle_deg", "angle_inertial_deg", "heading_deg", "latitude_deg",
    "longitude_e_deg", "local_solar_h", "sun_elevation_deg", "corridor_shallow_deg", "corridor_steep_deg", "peak_g",
    "peak_g_altitude_km", "peak_q_kpa", "flux_convective_w_cm2", "flux_radiative_w_cm2", "heat_load_j_cm2",
    "heating_known", "reached_bar", "descent_min", "relay_min", "relay_range_min_km", "relay_mbit", "relay_db",
    "direct_min", "direct_mbit", "direct_db",
)  # fmt: skip
_FLOWN_NAMES = ("shallow_limit", "steep_limit", "lost")
# Columns that judging reads as they are.
_HELD = (
    "v_inf_km_s", "interface_km", "ephemeris_sigma_km", "reached_bar", "bar_full", "relay_min", "relay_mbit",
    "relay_db", "direct_min", "direct_mbit", "direct_db",
)  # fmt: skip
_JUDGED = ("angle_sigma_deg", "corridor_chance")


def entry_columns(
    approach: str, number: int, scene: Scene, rows: EntryRows, judged: JudgedEntries
) -> dict[str, Any]:
    """Columns of `entries` of judged rows, but the opportunity's number."""
    which, cases, down, shots = judged.rows, judged.cases, judged.flown, rows.shots
    given = judged.able.steered
    n, met_s = len(which), rows.shots.entry_s[which]
    burning = ship_at(scene, rows.burn_s[which])
    return {
        "approach": pa.array([approach] * n, pa.string()),
        "passage": np.full(n, number, dtype=np.int64),
        "days_before": ((rows.passage.closest_tdb_s - rows.release_s) / DAY_S)[which],
        "clock_deg": rows.clock_deg[which],
        "arrival_offset_s": rows.offset_s[which],
        "v_inf_km_s": cases.v_inf_km_s,
        **{name: getattr(down, name) for name in _FLOWN},
        **{name: pa.array(getattr(down, name).tolist(), pa.string()) for name in _FLOWN_NAMES},
        **{name: getattr(judged.worth, name) for name in _JUDGED},
        "limited_by": pa.array(judged.worth.limited_by.tolist(), pa.string()),
        "relay_begin_jd_tdb": jd_from_tdb_s(down.relay_begin_s),
        "relay_end_jd_tdb": jd_from_tdb_s(down.relay_end_s),
        "interface_km": cases.interface_km,
        "bar_full": cases.bar_full,
        "ephemeris_sigma_km": cases.ephemeris_sigma_km,
        "b_t_km": cases.b_km[:, 0].copy(),
        "b_r_km": cases.b_km[:, 1].copy(),
        **_entered(shots, which),
        "parting_km_s": lengths(ship_at(scene, met_s)[:, 3:] - _probe_km_s(scene, rows, which)),
        "corridor_edges_deg": _listed(cases.edges_deg.reshape(n, 6)),
        "by_burn": _listed(cases.by_burn.reshape(n, 12)),
        "corrections_before_s": pa.array([each.tolist() for each in cases.before_s], _LISTS),
        "by_corrections": pa.array([each.ravel().tolist() for each in cases.by_corrections], _LISTS),
        **vector_columns("aimed_", 1e3 * given.aimed_km_s, "_m_s"),
        "carrier_out_m_s": given.out_m_s,
        "carrier_back_m_s": given.back_m_s,
        "impact_course_days": given.course_days,
        **vector_columns("ship_", burning[:, :3], "_km"),
        **vector_columns("ship_v", burning[:, 3:], "_km_s"),
        **vector_columns("ship_release_", ship_at(scene, rows.release_s[which])[:, :3], "_km"),
    }


def _listed(values: Floats) -> pa.Array:
    return pa.array(values.tolist(), _LISTS)


def _entered(shots: EntryShots, which: Ints) -> dict[str, Floats]:
    """The state at the interface, from the body's centre."""
    state = shots.relative[which]
    return vector_columns("entry_", state[:, :3], "_km") | vector_columns("entry_v", state[:, 3:], "_km_s")


def _probe_km_s(scene: Scene, rows: EntryRows, which: Ints) -> Floats:
    met_s = rows.shots.entry_s[which]
    if not len(which):
        return np.empty((0, 3))
    velocity: Floats = (
        scene.ephemeris.about_sun(rows.passage.body, met_s)[:, 3:] + rows.shots.relative[which, 3:]
    )
    return velocity


def cases_of_entries(table: pa.Table) -> EntryCases:
    """What judging reads of the rows of `opportunities`, as widened by `entries`."""

    def held(name: str) -> Floats:
        return np.array(table[name].to_numpy(zero_copy_only=False), dtype=float)

    def names(name: str) -> NDArray[np.object_]:
        return np.array(table[name].to_pylist(), dtype=object)

    def lists(name: str) -> list[Floats]:
        return [np.array(values, dtype=float) for values in table[name].to_pylist()]

    n = table.num_rows
    said: dict[str, Any] = {name: names(name) for name in _FLOWN_NAMES}
    said |= {name: held(name) for name in _HELD}
    return EntryCases(
        body=tuple(table["target"].to_pylist()),
        v_entry_km_s=held("v_entry_inertial_km_s"),
        angle_deg=held("angle_inertial_deg"),
        radius_km=lengths(np.column_stack([held(f"entry_{axis}_km") for axis in "xyz"])),
        checkout_s=DAY_S * (held("burn_jd_tdb") - held("release_jd_tdb")),
        b_km=np.column_stack([held("b_t_km"), held("b_r_km")]),
        burn_km_s=1e-3 * impulses_m_s(table),
        own_burn_m_s=held("burn_m_s"),
        by_burn=np.array(lists("by_burn")).reshape(n, 2, 6),
        before_s=tuple(lists("corrections_before_s")),
        by_corrections=tuple(values.reshape(-1, 2, 6) for values in lists("by_corrections")),
        edges_deg=np.array(lists("corridor_edges_deg")).reshape(n, 2, 3),
        **said,
    )


def entry_fits(where: Where, opportunities: pa.Table, targets: Catalogue) -> Bools:
    """(n,) entries that are what a science row asks for; False where the table tells of none."""
    n = opportunities.num_rows
    if "reached_bar" not in opportunities.column_names:
        return np.zeros(n, dtype=bool)

    def held(name: str) -> Floats:
        # rows of another kind have gaps, and no comparison with NaN holds
        return np.array(opportunities[name].to_numpy(zero_copy_only=False), dtype=float)

    fits: Bools = np.isfinite(held("reached_bar"))
    if where.body is not None:
        fits &= np.asarray(opportunities["target"].to_pylist(), dtype=object) == where.body
    if where.bar_min is not None:
        fits &= held("reached_bar") >= where.bar_min
    for window, name in (
        (where.latitude_deg, "latitude_deg"),
        (where.sun_elevation_deg, "sun_elevation_deg"),
    ):
        if window is not None:
            fits &= (held(name) >= window[0]) & (held(name) <= window[1])
    for window, name, turn in (
        (where.longitude_deg, "longitude_e_deg", 360.0),
        (where.local_time_h, "local_solar_h", 24.0),
    ):
        if window is not None:
            low, high = window
            width = turn if high - low == turn else (high - low) % turn
            fits &= (held(name) - low) % turn <= width
    return fits
