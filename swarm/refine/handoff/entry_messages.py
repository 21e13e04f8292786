"""Entries in the package: messages until the interface, a table, and what they rest on; read back.

An ephemeris message ends at the interface: below it the air decides, and the way down hangs on its density. The states
at release, after the burn and at the interface are messages of their own. The last is without covariance: the errors
of arrival are after corrections that are not in the path, and stand in `entries.csv`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.entry.heating import NOT_IN_NUMBER
from swarm.encounter.entry.setting import atmosphere_for
from swarm.encounter.entry.world import angles_deg, in_axes, world_of
from swarm.reach.approach.field import PlanetField
from swarm.refine.correct import mass_after_kg
from swarm.refine.handoff.oem import date_text, oem_text, one_line
from swarm.refine.handoff.opm import opm_text, read_opm
from swarm.refine.handoff.pass_messages import body_lines, cell, parameter_messages, whose
from swarm.refine.handoff.pass_read_back import (
    READ_BACK_KM,
    compared_again,
    messages_of,
    read_segments,
)
from swarm.refine.handoff.read_back import ReadBackDiffers
from swarm.refine.pass_path import About, PassPath, burn_km_s, field_of_pass, path_of_pass
from swarm.run.csv_cells import csv_of_rows
from swarm.run.folder import sha256_of
from swarm.study.schema import Study
from targets.base.errors import InputError
from targets.base.timescale import tdb_s_from_jd
from targets.masses.massive import mass_named
from targets.masses.rotation import place_over_ground
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]

# How far the last state of a message may be from the interface and from the angle of the table.
_HEIGHT_KM, _ANGLE_DEG = 2e-2, 1e-3
_COLUMNS = (
    "probe", "opportunity", "body", "design", "approach", "release_tdb", "burn_tdb", "burn_x_m_s", "burn_y_m_s",
    "burn_z_m_s", "steer", "aimed_x_m_s", "aimed_y_m_s", "aimed_z_m_s", "carrier_propellant_kg", "impact_course_days",
    "carrier_impact_chance", "interface_tdb", "interface_km", "v_entry_inertial_km_s", "v_entry_relative_km_s",
    "angle_inertial_deg", "angle_deg", "heading_deg", "latitude_deg", "longitude_e_deg", "local_solar_h", "b_t_km",
    "b_r_km", "angle_sigma_deg", "corridor_shallow_deg", "shallow_limit", "corridor_steep_deg", "steep_limit",
    "corridor_chance", "peak_g", "peak_g_altitude_km", "flux_convective_w_cm2", "flux_radiative_w_cm2",
    "heat_load_j_cm2", "heating_known", "reached_bar", "lost", "descent_min", "relay_begin_tdb", "relay_end_tdb",
    "relay_mbit", "direct_mbit",
)  # fmt: skip


def write_entries(
    study: Study, flown: Sequence[tuple[int, dict[str, Any]]], folder: Path, *, ephemeris: Ephemeris
) -> tuple[float, float]:
    """Write what is known of the entries of a plan; the worst of reading it back, km and km/s.

    flown : probe numbers and rows of `opportunities` as widened by `entries`

    Raises ReadBackDiffers, and NotFollowed where a path cannot be flown on from its row.
    """
    folder.mkdir(parents=True, exist_ok=True)
    worst = (0.0, 0.0)
    for probe, row in flown:
        field = field_of_pass(row, ephemeris)
        path = path_of_pass(row, field, ephemeris, after_s=0.0)
        _write_messages(study, probe, row, path, folder)
        off = _read_back(folder, probe, row, field, ephemeris)
        worst = max(worst[0], off[0]), max(worst[1], off[1])
    rows = [_row(*each) for each in flown]
    (folder / "entries.csv").write_text(csv_of_rows(_COLUMNS, rows), encoding="utf-8")
    (folder / "ENTRIES.txt").write_text(_readme(study, flown, ephemeris), encoding="utf-8")
    return worst


def _write_messages(study: Study, probe: int, row: dict[str, Any], path: PassPath, folder: Path) -> None:
    created, name = float(tdb_s_from_jd(study.study.date_jd_tdb)), f"PROBE {probe:02d}"
    stem, alone, comments = f"probe_{probe:02d}_entry", study.of_design(row["design"]), _comments(row)
    text = oem_text(
        name, [each.stretch for each in path.whole], creation_tdb_s=created, comments=comments,
        centers=[each.center for each in path.whole],
    )  # fmt: skip
    (folder / f"{stem}.oem").write_text(text, encoding="ascii")
    messages = parameter_messages(study, row, path, name, comments)
    last = path.after[-1]
    messages["interface"] = opm_text(
        name, (float(last.stretch.epochs_tdb_s[-1]), last.stretch.states[-1]), creation_tdb_s=created,
        mass_kg=mass_after_kg(alone, burn_km_s(row)), area_m2=alone.probe.solar_area_m2,
        reflectivity=alone.probe.reflectivity, covariance=None, center=last.center,
        comments=("state at the interface", *comments),
    )  # fmt: skip
    for which, message in messages.items():
        (folder / f"{stem}_{which}.opm").write_text(message, encoding="ascii")


def _comments(row: dict[str, Any]) -> tuple[str, ...]:
    return (
        f"entry of {row['target']}; impulse at {date_text(row['burn_tdb_s'])} TDB{whose(row)}",
        f"aim point B.T {row['b_t_km']:.3f} km, B.R {row['b_r_km']:.3f} km",
        f"interface {row['interface_km']:g} km at {date_text(row['encounter_tdb_s'])} TDB, inertial angle "
        f"{row['angle_inertial_deg']:.3f} deg, 1 sigma {row['angle_sigma_deg']:.3g} deg after corrections",
        "ends at the interface; atmosphere and shell: ENTRIES.txt",
    )


def _row(probe: int, row: dict[str, Any]) -> tuple[object, ...]:
    given = row | {"probe": probe, "body": row["target"]}
    for name, date in (
        ("burn_tdb", row["burn_tdb_s"]),
        ("interface_tdb", row["encounter_tdb_s"]),
        *((f"{each}_tdb", _tdb_s(row[f"{each}_jd_tdb"])) for each in ("release", "relay_begin", "relay_end")),
    ):
        given[name] = "" if date is None else date_text(date)
    return tuple(cell(given[name]) for name in _COLUMNS)


def _tdb_s(jd_tdb: float | None) -> float | None:
    return None if jd_tdb is None or jd_tdb != jd_tdb else float(tdb_s_from_jd(jd_tdb))


def _readme(study: Study, flown: Sequence[tuple[int, dict[str, Any]]], ephemeris: Ephemeris) -> str:
    lines = [
        f"{one_line(study.study.name)}: probes that enter an atmosphere",
        "Concept-study figures: a start for detailed design, not for operations. Planetary protection, re-entry and",
        "launch safety, radio licensing and recontact safety rest with the responsible authorities and licensed",
        "practice. What enters stays: planetary protection asks for its own review of every entry.",
        "",
        "Axes ICRF, TDB, km, km/s. Segments say what they are about (CENTER_NAME) and end at the interface. Forces:",
        "the planet with J2 and J4, its moons with J2, the Sun and the other planets as points; no solar pressure.",
        "Paths are computed with an impulse, the spring being taken as part of it. Corrections are not in the paths:",
        "the sigmas of entries.csv are after them. Below the interface: drag alone, three degrees of freedom, over the",
        "turning spheroid, with the mean density; deceleration, flux and load of entries.csv are of that way down.",
        "Where the mothership steers (steer in entries.csv) the impulse is its burn: aimed_x, _y, _z; it diverts",
        "impact_course_days later.",
        f"Heating is at the stagnation point of a cold wall; where heating_known is False, {NOT_IN_NUMBER}.",
        "",
    ]
    asks = {ask.name: ask for ask in study.approach}
    for name in dict.fromkeys(row["approach"] for _, row in flown):
        ask = asks[name]
        air = atmosphere_for(study, ask)
        lines += [*body_lines(mass_named(ask.body), ephemeris), f"  atmosphere of {name}: {air.source}"]
        if ask.atmosphere is not None and (file := study.base / ask.atmosphere).is_file():
            lines.append(f"  {file.name}: sha256 {sha256_of(file)}")
        if ask.body == "Earth":
            lines.append(
                "  an entry of the Earth: break-up, what reaches the ground and who is under it: not computed"
            )
    return "\n".join(lines) + "\n"


# --- reading back -------------------------------------------------------------------------------------------


def _read_back(
    folder: Path, probe: int, row: dict[str, Any], field: PlanetField, ephemeris: Ephemeris
) -> tuple[float, float]:
    """Worst differences, km and km/s, of a message from a flight that starts at its first state."""
    stem, body = f"probe_{probe:02d}_entry", mass_named(row["target"])
    file = folder / f"{stem}.oem"
    try:
        segments = read_segments(file)
        messages = messages_of(folder, stem, row, segments)
        last = segments[-1]
        end = read_opm(folder / f"{stem}_interface.opm", center=last.center)
    except (InputError, OSError, ValueError, KeyError, IndexError, StopIteration) as refused:
        raise ReadBackDiffers(f"a file of the entry of probe {probe} cannot be read: {refused}") from refused
    worst = compared_again(stem, row, (body, field, ephemeris), segments, messages)
    off = np.abs(end.state - last.stretch.states[-1])
    if off[:3].max() > READ_BACK_KM or end.manoeuvre is not None:
        raise ReadBackDiffers(f"{stem}_interface.opm: {1e3 * off[:3].max():.3g} m from where the path ends")
    _at_the_interface(file.name, last, row)
    return float(worst[0]), float(worst[1])


def _at_the_interface(name: str, last: About, row: dict[str, Any]) -> None:
    """The path ends at the height and with the angle of the table."""
    body, epoch, state = (
        mass_named(row["target"]),
        float(last.stretch.epochs_tdb_s[-1]),
        last.stretch.states[-1],
    )
    if last.center != body.name.upper():
        raise ReadBackDiffers(f"{name}: it ends about {last.center}")
    height = float(place_over_ground(body, state[None, :3], np.array([epoch]))[0][0])
    if not abs(height - row["interface_km"]) <= _HEIGHT_KM:
        raise ReadBackDiffers(
            f"{name}: it ends at {height:.3f} km, the interface is {row['interface_km']:g} km"
        )
    angle = angles_deg(in_axes(body, state, epoch)[0], world_of(body, epoch), turning_rad_s=0.0)[1]
    if not abs(angle - row["angle_inertial_deg"]) <= _ANGLE_DEG:
        raise ReadBackDiffers(
            f"{name}: it ends at {angle:.4f} deg, the table has {row['angle_inertial_deg']:.4f}"
        )
