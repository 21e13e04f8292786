"""Low passes in the package: a message each, the moon as it was used, a table, and what they rest on; read back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swarm.reach.approach.about import index_of
from swarm.reach.approach.field import PlanetField, relative_to
from swarm.reach.mothership.interpolation import HERMITE, interpolated
from swarm.refine.handoff.oem import J2000, date_text, oem_text, one_line
from swarm.refine.handoff.read_back import ReadBackDiffers
from swarm.refine.pass_path import PassPath, field_of_pass, followed, path_of_pass
from swarm.refine.stretches import DEGREE, Stretch
from swarm.run.csv_cells import csv_of_rows
from swarm.study.schema import Study
from targets.base.timescale import tdb_s_from_jd
from targets.masses.massive import Mass, mass_named, planet_of
from targets.masses.rotation import place_over_ground
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]

# What reading back may be off by: the polynomials between nodes, and the lowest point of a flight from the first state.
READ_BACK_KM, LOWEST_KM = 1e-2, 2e-2
_COLUMNS = (
    "probe", "opportunity", "body", "center", "approach", "burn_tdb", "burn_x_m_s", "burn_y_m_s", "burn_z_m_s",
    "closest_tdb", "steer", "aimed_x_m_s", "aimed_y_m_s", "aimed_z_m_s", "carrier_propellant_kg",
    "altitude_km", "latitude_deg", "longitude_e_deg", "v_inf_km_s", "periapsis_speed_km_s", "b_t_km",
    "b_r_km", "sigma_major_km", "sigma_minor_km", "sigma_altitude_km", "impact_chance",
)  # fmt: skip


def write_passes(
    study: Study, flown: Sequence[tuple[int, dict[str, Any]]], folder: Path, *, ephemeris: Ephemeris
) -> tuple[float, float]:
    """Write what is known of the passes of a plan; the worst of reading it back, km and km/s.

    flown : probe numbers and rows of `opportunities` as widened by `passes`

    Raises ReadBackDiffers, and NotFollowed where a path cannot be flown on from its row.
    """
    folder.mkdir(parents=True, exist_ok=True)
    created, worst = float(tdb_s_from_jd(study.study.date_jd_tdb)), (0.0, 0.0)
    for probe, row in flown:
        field = field_of_pass(row, ephemeris)
        path = path_of_pass(row, field, ephemeris)
        name = f"probe_{probe:02d}_pass.oem"
        text = oem_text(
            f"PROBE {probe:02d}", path.stretches, creation_tdb_s=created, comments=_comments(row, path),
            centers=path.centers,
        )  # fmt: skip
        (folder / name).write_text(text, encoding="ascii")
        if path.moon is not None:
            moon, planet = row["target"].upper(), planet_of(mass_named(row["target"])).name.upper()
            known = ephemeris.whereabouts(mass_named(row["target"])).ephemeris
            said = (f"states as used for probe {probe:02d}, from: {known}",)
            text = oem_text(moon, [path.moon], creation_tdb_s=created, comments=said, centers=[planet])
            (folder / f"probe_{probe:02d}_{one_line(row['target']).lower()}.oem").write_text(
                text, encoding="ascii"
            )
        off = _read_back(folder / name, row, field)
        worst = max(worst[0], off[0]), max(worst[1], off[1])
    (folder / "passes.csv").write_text(
        csv_of_rows(_COLUMNS, [_row(*each) for each in flown]), encoding="utf-8"
    )
    (folder / "PASSES.txt").write_text(_readme(study, flown, ephemeris), encoding="utf-8")
    return worst


def _comments(row: dict[str, Any], path: PassPath) -> tuple[str, ...]:
    return (
        f"low pass of {row['target']}; begins after an impulse at {date_text(row['burn_tdb_s'])} TDB{_whose(row)}",
        f"aim point B.T {row['b_t_km']:.3f} km, B.R {row['b_r_km']:.3f} km",
        f"lowest at {date_text(path.closest_tdb_s)} TDB",
        f"segments about {', '.join(path.centers)}; forces: PASSES.txt; chance of impact {row['impact_chance']:.3g}",
    )


def _whose(row: dict[str, Any]) -> str:
    """Whose impulse it is where it is not the probe's."""
    steers = row["steer"] not in (None, "probe")
    return ", the mothership's: the probe burns nothing" if steers else ""


def _row(probe: int, row: dict[str, Any]) -> tuple[object, ...]:
    given = row | {
        "probe": probe, "body": row["target"], "burn_tdb": date_text(row["burn_tdb_s"]),
        "closest_tdb": date_text(row["encounter_tdb_s"]),
    }  # fmt: skip
    return tuple(
        given[name] if not isinstance(given[name], float) else f"{given[name]:.9g}" for name in _COLUMNS
    )


def _readme(study: Study, flown: Sequence[tuple[int, dict[str, Any]]], ephemeris: Ephemeris) -> str:
    lines = [
        f"{one_line(study.study.name)}: low passes of planets and moons",
        "Concept-study figures: a start for detailed design, not for operations. Planetary protection, launch safety,",
        "radio licensing and recontact safety rest with the responsible authorities and licensed practice.",
        "",
        "Axes ICRF, TDB, km, km/s. Segments say what they are about (CENTER_NAME). Forces: the planet with J2 and J4,",
        "its moons with J2, the Sun and the other planets as points; no solar pressure; the burn is an impulse, the",
        "mothership's where it steers (steer in passes.csv: its burn and rim are aimed_x, _y, _z); the",
        "spring is taken as part of it. Corrections are not in the paths: the sigmas of passes.csv are after them.",
        "",
    ]
    for name in dict.fromkeys(row["target"] for _, row in flown):
        body, known = mass_named(name), ephemeris.whereabouts(mass_named(name))
        moved = "; approximate: it moves date and place of the pass" if known.approximate else ""
        lines += [
            f"{name}: GM {body.gm_km3_s2:.6f} km^3/s^2, equatorial radius {body.radius_km:g} km",
            f"  place by {known.ephemeris}, to {known.error_km:.3g} km{moved}",
        ]
        if body.may_harbour_life:
            lines.append(
                f"{name} may harbour life: what stays bound may meet it again; disposal is not planned here."
            )
    return "\n".join(lines) + "\n"


# --- reading back -------------------------------------------------------------------------------------------


def _read_back(file: Path, row: dict[str, Any], field: PlanetField) -> tuple[float, float]:
    """How far the message is from a flight that starts at its first state, between its nodes; km, km/s."""
    body = mass_named(row["target"])
    segments = read_segments(file)
    fly = followed(segments[0][1].states[0].copy(), float(segments[0][1].epochs_tdb_s[0]), field)
    between = [0.5 * (each.epochs_tdb_s[1:] + each.epochs_tdb_s[:-1]) for _, each in segments]
    truth, worst = fly(np.concatenate(between)), np.zeros(2)
    begin = 0
    for (center, stretch), epochs in zip(segments, between, strict=True):
        flown = truth[begin : begin + len(epochs)]
        begin += len(epochs)
        if center == body.name.upper() and body is not planet_of(body):
            pairs = zip(epochs, flown, strict=True)
            flown = np.array([relative_to(index_of(body), t, y, field) for t, y in pairs])
        said = interpolated(stretch.epochs_tdb_s, stretch.states, epochs, method=HERMITE, degree=DEGREE)
        worst = np.maximum(worst, [_most(said[:, :3] - flown[:, :3]), _most(said[:, 3:] - flown[:, 3:])])
    if worst[0] > READ_BACK_KM:
        raise ReadBackDiffers(f"{file.name}: {1e3 * worst[0]:.3g} m from a flight from its first state")
    lowest = _lowest_km(segments, body, row["encounter_tdb_s"])
    if abs(lowest - row["altitude_km"]) > LOWEST_KM:
        raise ReadBackDiffers(
            f"{file.name}: {lowest:.3f} km at the lowest point, {row['altitude_km']:.3f} in the table"
        )
    return float(worst[0]), float(worst[1])


def _lowest_km(segments: list[tuple[str, Stretch]], body: Mass, met_tdb_s: float) -> float:
    """Height over the ellipsoid at the date of the pass, as the message has it."""
    own = [stretch for name, stretch in segments if name == body.name.upper()]
    holding = [each for each in own if each.epochs_tdb_s[0] <= met_tdb_s <= each.epochs_tdb_s[-1]]
    at = np.array([met_tdb_s])
    state = interpolated(holding[0].epochs_tdb_s, holding[0].states, at, method=HERMITE, degree=DEGREE)
    return float(place_over_ground(body, state[:, :3], at)[0][0])


def _most(differences: Floats) -> float:
    return float(np.linalg.norm(differences, axis=1).max(initial=0.0))


def read_segments(file: Path) -> list[tuple[str, Stretch]]:
    """Center and nodes of every segment of a message of this package."""
    found: list[tuple[str, Stretch]] = []
    center = ""
    epochs: list[float] = []
    rows: list[list[float]] = []
    for line in [*file.read_text(encoding="ascii").splitlines(), "META_START"]:
        if line == "META_START" and rows:
            found.append((center, Stretch(np.array(epochs), np.array(rows))))
            epochs, rows = [], []
        key, given, value = line.partition(" = ")
        if key == "CENTER_NAME":
            center = value
        elif not given and line[:2] == "20" and "T" in line[:11]:
            date, *numbers = line.split()
            since = datetime.fromisoformat(date) - J2000
            epochs.append(since.days * 86_400.0 + since.seconds + 1e-6 * since.microseconds)
            rows.append([float(number) for number in numbers])
    return found
