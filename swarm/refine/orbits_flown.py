"""The orbits of a plan flown in the full field on the workers: burns and heights reached beside those judged.

Judged are impulses with a law of what finite burns lose, and averaged motion; flown are burns of one direction and
finite length, and the life in the full field until the first upkeep is due. The averaged life is followed as long.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from swarm.encounter.orbit.insertion_flown import Engine, FlownOrbit, NotInserted, fly_orbit
from swarm.encounter.orbit.mean_life import live
from swarm.encounter.orbit.orbit_asked import surroundings_about
from swarm.encounter.orbit.orbit_judging import thruster_of
from swarm.encounter.orbit.orbit_tables import mean_orbit_of
from swarm.encounter.orbit.osculating import osculating_orbit
from swarm.encounter.orbit.spiral_flown import FlownSpiral
from swarm.encounter.orbit.surroundings import Surroundings, turn_s_of
from swarm.reach.approach.scene import ephemeris_of
from swarm.refine.pass_path import NotFollowed, PassPath, field_of_pass, path_of_pass
from swarm.run.tables import parquet_tables
from swarm.run.workers import Pool
from swarm.study.schema import Study
from swarm.study.whole_study import ONE_DESIGN
from targets.base.constants import DAY_S
from targets.masses.massive import mass_named

FLOWN = "flown_orbits"
_SPIRAL = ("spiral_m_s", "judged_spiral_m_s", "spiral_days", "spiral_from_km", "spiral_spare_days")
# What is said of burns and heights that are farther from those judged: own choices.
_BURN_SHARE, _HEIGHT_KM = 0.03, 5.0


def flown_orbits(
    study: Study, plan: int, rows: Sequence[tuple[int, dict[str, Any]]], *, pool: Pool
) -> tuple[dict[str, pa.Table], list[str]]:
    """The table of the orbits that are reached in the field, and sentences on what differs or cannot be reached.

    rows : probe numbers and rows of `opportunities` as widened by `passes` and `orbits`
    """
    found = pool.map(_task, [row for _, row in rows], shared=study)
    made, said = [], list[str]()
    for (probe, row), one in zip(rows, found, strict=True):
        if isinstance(one, str):
            said.append(
                f"probe {probe}: its orbit about {row['target']} is not reached in the full field: {one}"
            )
            continue
        made.append({"plan": plan, "probe": probe} | one)
        said += _differences(made[-1])
    if not made:
        return {}, said
    columns = parquet_tables()[FLOWN].columns
    return {
        FLOWN: pa.table({c.name: pa.array([row[c.name] for row in made], type=c.type) for c in columns})
    }, said


def fly_row(
    study: Study, row: dict[str, Any], around: Surroundings, path: PassPath, *, days: float, kept_up: bool
) -> FlownOrbit:
    """A row flown from its arrival on, for so many days of science; kept_up: with its upkeep. Raises NotInserted."""
    arrival, body = path.after[-1].stretch, mass_named(row["target"])
    sun_km = float(np.linalg.norm([row[f"target_{axis}_km"] for axis in "xyz"]))
    alone = study.of_design(row.get("design") or ONE_DESIGN)
    (ask,) = (each for each in study.approach if each.name == row["approach"])
    own = thruster_of(alone, sun_km)
    engine = Engine(own.wet_mass_kg, own.isp_s, own.thrust_n, alone.probe.duty, ask.spiral_from_km)
    return fly_orbit(
        row, (float(arrival.epochs_tdb_s[-1]), arrival.states[-1]), engine, around,
        body_km=body.radius_km, days=days, turn_s=turn_s_of(body) if kept_up else math.inf,
    )  # fmt: skip


def orbit_lines(table: pa.Table) -> list[str]:
    """What is printed of the orbits of a plan."""
    return [_line(row) for row in table.to_pylist()]


def _line(row: dict[str, Any]) -> str:
    into = (
        f"{row['periapsis_km']:.1f} x {row['apoapsis_km']:.1f} km (judged {row['judged_periapsis_km']:g} x "
    )
    into += f"{row['judged_apoapsis_km']:g})"
    if row["capture"] == "spiral":
        burns = f"by a spiral of {row['spiral_m_s']:.0f} m/s in {row['spiral_days']:.0f} d from "
        burns += f"{row['spiral_from_km']:.0f} km on (judged {row['judged_spiral_m_s']:.0f}, excess speed before that)"
    else:
        burns = f"by {row['burns']} burns of {row['insertion_m_s']:.1f} m/s (judged {row['judged_insertion_m_s']:.1f})"
    return (
        f"probe {row['probe']:>2}: orbit about {row['target']} in the full field {into}, {burns}; lowest in "
        f"{row['days']:.1f} d {row['least_km']:.1f} km (averaged {row['judged_least_km']:.1f})"
    )


def _task(row: dict[str, Any], study: Study) -> dict[str, Any] | str:
    ephemeris, body = ephemeris_of(study), mass_named(row["target"])
    (ask,) = (each for each in study.approach if each.name == row["approach"])
    around = surroundings_about(study, ask, body, row["encounter_tdb_s"], ephemeris=ephemeris)
    days = min(float(row["science_days"]), turn_s_of(body) / DAY_S)
    try:
        path = path_of_pass(row, field_of_pass(row, ephemeris), ephemeris, after_s=0.0)
        orbit = fly_row(study, row, around, path, days=days, kept_up=False)
    except (NotInserted, NotFollowed) as why:
        return str(why)
    first, judged = orbit.science.coasts[0].states[0], mean_orbit_of(row)
    shape = osculating_orbit(first, around.field.gm_km3_s2)
    life = live(judged, float(row["begin_tdb_s"]), days, around, turn_s=turn_s_of(body))
    return {
        **{name: row[name] for name in ("opportunity", "target", "capture")},
        "burns": len(orbit.burns),
        "insertion_m_s": 1e3 * sum(float(np.linalg.norm(burn.dv_km_s)) for burn in orbit.burns),
        "judged_insertion_m_s": row["insertion_m_s"] + row["finite_loss_m_s"],
        "burn_s": max((burn.duration_s for burn in orbit.burns), default=0.0),
        **_spiral_of(row, orbit.spiral),
        "begin_tdb_s": orbit.begin_tdb_s,
        "periapsis_km": shape.periapsis_km - body.radius_km,
        "judged_periapsis_km": row["periapsis_km"],
        "apoapsis_km": shape.apoapsis_km - body.radius_km,
        "judged_apoapsis_km": row["apoapsis_km"],
        "days": orbit.science.days,
        "least_km": orbit.science.least_km,
        "judged_least_km": float(life.lowest_km.min()),
        "hit": orbit.science.hit,
    }  # fmt: skip


def _spiral_of(row: dict[str, Any], spiral: FlownSpiral | None) -> dict[str, float]:
    if spiral is None:
        return dict.fromkeys(_SPIRAL, math.nan)
    # before the path begins, at the same thrust, the excess speed is taken off
    excess_kg = spiral.mass_kg[0] * math.expm1(row["excess_m_s"] / spiral.exhaust_m_s)
    excess_days = excess_kg * spiral.exhaust_m_s / spiral.thrust_n / DAY_S
    between_days = (float(spiral.tdb_s[0]) - row["encounter_tdb_s"]) / DAY_S
    judged = row["spiral_m_s"] - row["excess_m_s"]
    found = (spiral.spent_m_s, judged, spiral.days, spiral.from_km, between_days - excess_days)
    return dict(zip(_SPIRAL, found, strict=True))


def _differences(made: dict[str, Any]) -> list[str]:
    """What is far from the judged, in sentences."""
    said, name = [], f"probe {made['probe']}, orbit about {made['target']}"
    flown, judged = made["insertion_m_s"], made["judged_insertion_m_s"]
    if abs(flown - judged) > _BURN_SHARE * judged:
        said.append(f"{name}: its burns take {flown:.1f} m/s in the full field, judged {judged:.1f}")
    flown, judged = made["spiral_m_s"], made["judged_spiral_m_s"]
    if flown > (1.0 + _BURN_SHARE) * judged:
        said.append(f"{name}: its spiral takes {flown:.0f} m/s in the full field, judged {judged:.0f}")
    if made["spiral_spare_days"] < 0.0:
        said.append(
            f"{name}: in the full field its spiral and its excess speed take {-made['spiral_spare_days']:.1f} d more "
            "than the days judged (thrust_n)"
        )
    for key, words in (
        ("periapsis_km", "it is put into a periapsis of"),
        ("least_km", "its lowest point is"),
    ):
        flown, judged = made[key], made[f"judged_{key}"]
        if abs(flown - judged) > _HEIGHT_KM:
            said.append(f"{name}: in the full field {words} {flown:.1f} km, judged {judged:.1f}")
    if made["hit"]:
        said.append(f"{name}: in the full field it meets the ground after {made['days']:.1f} d")
    return said
