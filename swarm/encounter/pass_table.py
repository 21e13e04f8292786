"""Low passes as rows of tables: what is written of them, and what judging reads of that again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.pass_judging import JudgedPasses
from swarm.encounter.pass_worth import PassCases
from swarm.encounter.propellant import later_m_s
from swarm.encounter.steering import PROBE
from swarm.reach.approach.rows import LowPasses
from swarm.reach.approach.scene import Scene
from swarm.study.kind_names import LOW_PASS
from swarm.study.sections.science import Where
from targets.base.constants import AU_KM, DAY_S
from targets.base.timescale import jd_from_tdb_s
from targets.base.vectors import angle_deg, lengths
from targets.catalogue.bodies import Catalogue
from targets.ephemeris.planets import EARTH
from targets.masses.massive import Mass, planet_of

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class PassMet:
    """n encounters with a body as flown.

    met_s : (n,) epochs of the encounter; v_rel_km_s (n, 3) there, relative to the body; s (n, 3) incoming asymptote
    """

    kind: str
    body: Mass
    release_s: Floats
    burn_s: Floats
    burn_km_s: Floats
    met_s: Floats
    v_rel_km_s: Floats
    s: Floats


def opportunity_columns(
    study: Study, scene: Scene, rows: LowPasses, judged: JudgedPasses, kept: Ints, *, steer: str
) -> dict[str, Any]:
    """Columns of `opportunities` of some of the judged rows, but its number and the target's; study of one design."""
    shots, which, ship = rows.shots, judged.rows[kept], judged.steered
    met = PassMet(
        LOW_PASS, rows.passage.body, rows.release_s[which], rows.burn_s[which],
        shots.burn_km_s[which] - ship.aimed_km_s[kept], shots.closest_s[which], shots.relative[which, 3:],
        shots.s[which],
    )  # fmt: skip
    return met_columns(study, scene, met) | {
        "arrival_offset_s": met.met_s - rows.passage.closest_tdb_s,
        "steer": pa.array([steer] * len(which), pa.string()),
        "carrier_propellant_kg": ship.propellant_kg[kept],
        "carrier_impact_chance": judged.ship_chance[kept],
        "later_impact_chance": judged.later_chance[kept],
    }


def met_columns(study: Study, scene: Scene, met: PassMet) -> dict[str, Any]:
    """Columns of `opportunities` of encounters with a body, but its number and the target's; study of one design."""
    body, met_s, burn_m_s = met.body, met.met_s, 1e3 * met.burn_km_s
    n = len(met_s)
    place = scene.ephemeris.about_sun(body, met_s) if n else np.empty((0, 6))
    target_km, from_earth = place[:, :3], place[:, :3] - scene.planets.state(EARTH, met_s)[:, :3]
    return {
        "target": pa.array([body.name] * n, pa.string()),
        "kind": pa.array([met.kind] * n, pa.string()),
        "slot": np.floor((met.release_s - scene.span_tdb_s[0]) / (study.search.slot_days * DAY_S)).astype(
            np.int64
        ),
        "release_jd_tdb": jd_from_tdb_s(met.release_s),
        "burn_jd_tdb": jd_from_tdb_s(met.burn_s),
        "encounter_jd_tdb": jd_from_tdb_s(met_s),
        "burn_tdb_s": met.burn_s,
        "encounter_tdb_s": met_s,
        "burn_m_s": lengths(burn_m_s),
        **vector_columns("burn_", burn_m_s, "_m_s"),
        "v_rel_km_s": lengths(met.v_rel_km_s),
        **vector_columns("v_rel_", met.v_rel_km_s, "_km_s"),
        # the Sun stands at -target, the probe comes along S
        "phase_in_deg": angle_deg(target_km, met.s),
        "sun_range_au": lengths(target_km) / AU_KM,
        "earth_range_au": lengths(from_earth) / AU_KM,
        "sun_earth_probe_deg": angle_deg(from_earth - target_km, from_earth),
        "sun_earth_probe_release_deg": _seen_from_earth_deg(scene, met.release_s),
        "sun_earth_probe_burn_deg": _seen_from_earth_deg(scene, met.burn_s),
        "mothership_range_km": lengths(target_km - ship_at(scene, met_s)[:, :3]),
        **vector_columns("target_", target_km, "_km"),
        **vector_columns("target_v", place[:, 3:], "_km_s"),
        "revolutions": np.zeros(n, dtype=np.int64),
        "shot": np.ones(n, dtype=np.int64),
        "center": pa.array([planet_of(body).name] * n, pa.string()),
    }


def pass_columns(
    approach: str, number: int, scene: Scene, rows: LowPasses, judged: JudgedPasses, kept: Ints
) -> dict[str, Any]:
    """Columns of `passes` of some of the judged rows, but the opportunity's number."""
    cases, worth, ground, given = judged.cases, judged.worth, judged.ground, judged.steered
    which = judged.rows[kept]
    met_s, n = rows.shots.closest_s[which], len(which)
    ship, probe = (
        ship_at(scene, met_s),
        scene.ephemeris.about_sun(rows.passage.body, met_s) if n else np.empty((0, 6)),
    )
    parting = lengths(ship[:, 3:] - probe[:, 3:] - rows.shots.relative[which, 3:])
    lists, burning = pa.list_(pa.float64()), ship_at(scene, rows.burn_s[which])
    return {
        "approach": pa.array([approach] * n, pa.string()),
        "passage": np.full(n, number, dtype=np.int64),
        "days_before": ((rows.passage.closest_tdb_s - rows.release_s) / DAY_S)[which],
        "clock_deg": rows.clock_deg[which],
        "v_inf_km_s": cases.v_inf_km_s[kept],
        **{
            name: getattr(ground, name)[kept]
            for name in ("periapsis_speed_km_s", "altitude_km", "latitude_deg", "longitude_e_deg",
                         "ground_speed_km_s", "sun_elevation_deg")
        },
        **{
            name: getattr(judged, name)[kept]
            for name in ("dwell_s", "pixel_m", "smear_px", "count_sigma", "sigma_major_km", "sigma_minor_km",
                         "lowest_altitude_for_limit_km")
        },
        "b_t_km": cases.b_km[kept, 0].copy(),
        "b_r_km": cases.b_km[kept, 1].copy(),
        "sigma_altitude_km": worth.sigma_altitude_km[kept],
        "impact_chance": worth.impact_chance[kept],
        "ephemeris_sigma_km": cases.ephemeris_sigma_km[kept],
        "lowest_km": cases.lowest_km[kept],
        "unburned_t_km": cases.unburned_km[kept, 0].copy(),
        "unburned_r_km": cases.unburned_km[kept, 1].copy(),
        "parting_km_s": parting,
        "by_burn": pa.array(cases.by_burn[kept].reshape(n, 12).tolist(), lists),
        "corrections_before_s": pa.array([cases.before_s[k].tolist() for k in kept], lists),
        "by_corrections": pa.array([cases.by_corrections[k].ravel().tolist() for k in kept], lists),
        **vector_columns("aimed_", 1e3 * given.aimed_km_s[kept], "_m_s"),
        "carrier_out_m_s": given.out_m_s[kept],
        "carrier_back_m_s": given.back_m_s[kept],
        "impact_course_days": given.course_days[kept],
        **vector_columns("ship_", burning[:, :3], "_km"),
        **vector_columns("ship_v", burning[:, 3:], "_km_s"),
        **vector_columns("ship_release_", ship_at(scene, rows.release_s[which])[:, :3], "_km"),
    }  # fmt: skip


def cases_of_table(table: pa.Table) -> PassCases:
    """What judging reads of the rows of `opportunities`, as widened by `passes`."""

    def held(name: str) -> Floats:
        return np.array(table[name].to_numpy(), dtype=float)

    def lists(name: str) -> list[Floats]:
        return [np.array(values, dtype=float) for values in table[name].to_pylist()]

    n = table.num_rows
    return PassCases(
        body=tuple(table["target"].to_pylist()),
        v_inf_km_s=held("v_inf_km_s"),
        ground_speed_km_s=held("ground_speed_km_s"),
        sun_elevation_deg=held("sun_elevation_deg"),
        ephemeris_sigma_km=held("ephemeris_sigma_km"),
        lowest_km=held("lowest_km"),
        checkout_s=DAY_S * (held("burn_jd_tdb") - held("release_jd_tdb")),
        b_km=np.column_stack([held("b_t_km"), held("b_r_km")]),
        unburned_km=np.column_stack([held("unburned_t_km"), held("unburned_r_km")]),
        burn_km_s=1e-3 * impulses_m_s(table),
        own_burn_m_s=held("burn_m_s"),
        by_ship=np.array([steer != PROBE for steer in table["steer"].to_pylist()], dtype=bool),
        by_burn=np.array(lists("by_burn")).reshape(n, 2, 6),
        before_s=tuple(lists("corrections_before_s")),
        by_corrections=tuple(values.reshape(-1, 2, 6) for values in lists("by_corrections")),
        later_m_s=later_m_s(table),
    )


def impulses_m_s(table: pa.Table) -> Floats:
    """(n, 3) what puts each probe on its way: its own burn, and what the mothership gave it where that steers."""
    given = np.zeros((table.num_rows, 3))
    for stem in ("burn", "aimed"):
        names = [f"{stem}_{axis}_m_s" for axis in "xyz"]
        if all(name in table.column_names for name in names):
            columns = [np.array(table[name].to_numpy(zero_copy_only=False), dtype=float) for name in names]
            given += np.nan_to_num(np.column_stack(columns), nan=0.0)
    return given


def pass_fits(where: Where, opportunities: pa.Table, targets: Catalogue) -> Bools:
    """(n,) passes that are what a science row asks for; False where the table tells of none."""
    n = opportunities.num_rows
    if "altitude_km" not in opportunities.column_names:
        return np.zeros(n, dtype=bool)

    def held(name: str) -> Floats:
        # rows of another kind have gaps, and no comparison with NaN holds
        return np.array(opportunities[name].to_numpy(zero_copy_only=False), dtype=float)

    fits = np.isfinite(held("altitude_km"))
    if where.body is not None:
        fits &= np.asarray(opportunities["target"].to_pylist(), dtype=object) == where.body
    for most, name in ((where.altitude_km_max, "altitude_km"), (where.resolution_m_max, "pixel_m")):
        if most is not None:
            fits &= held(name) <= most
    for least, name in ((where.dwell_s_min, "dwell_s"), (where.count_sigma_min, "count_sigma")):
        if least is not None:
            fits &= held(name) >= least
    for window, name in (
        (where.latitude_deg, "latitude_deg"),
        (where.sun_elevation_deg, "sun_elevation_deg"),
    ):
        if window is not None:
            fits &= (held(name) >= window[0]) & (held(name) <= window[1])
    if where.longitude_deg is not None:
        low, high = where.longitude_deg
        fits &= (held("longitude_e_deg") - low) % 360.0 <= (
            high - low if high - low == 360.0 else (high - low) % 360.0
        )
    return fits


def ship_at(scene: Scene, tdb_s: Floats) -> Floats:
    """The mothership at dates within the study; at its end where a pass comes later (such a row is left out)."""
    return scene.states(np.minimum(tdb_s, scene.span_tdb_s[1])) if len(tdb_s) else np.empty((0, 6))


def _seen_from_earth_deg(scene: Scene, tdb_s: Floats) -> Floats:
    earth_km = scene.planets.state(EARTH, tdb_s)[:, :3]
    return angle_deg(-earth_km, ship_at(scene, tdb_s)[:, :3] - earth_km)


def vector_columns(stem: str, vectors: Floats, suffix: str) -> dict[str, Floats]:
    """Three columns of vectors (n, 3)."""
    return {f"{stem}{axis}{suffix}": vectors[:, k].copy() for k, axis in enumerate("xyz")}
