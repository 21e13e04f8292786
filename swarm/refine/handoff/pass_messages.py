"""Low passes in the package: messages, the planet and moon as they were used, a table, and what they rest on.

Decided here, with what was seen:

* an ephemeris message of a pass changes its centre: about the Sun, the planet, the moon as each is entered; the moon's
  own error then moves the date and place of a pass and not its shape
* what a reader needs to put the segments together, the planet about the Sun and the moon about the planet as they were
  used, is in `passes.bsp` with the probes: another ephemeris of the moon would be tens of kilometres beside
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.error_model import errors_of
from swarm.encounter.pass_delivery import gates_cov
from swarm.refine.correct import length_and_lead_s, mass_after_kg
from swarm.refine.handoff.oem import date_text, oem_text, one_line
from swarm.refine.handoff.opm import Manoeuvre, opm_text
from swarm.refine.handoff.pass_read_back import read_back_pass
from swarm.refine.handoff.spk import WINDOW, probe_id
from swarm.refine.pass_path import (
    PassPath,
    burn_km_s,
    burn_s,
    field_of_pass,
    impulse_km_s,
    path_of_pass,
    release_s,
)
from swarm.run.csv_cells import csv_of_rows
from swarm.run.folder import sha256_of
from swarm.study.schema import Study
from swarm.study.whole_study import ONE_DESIGN
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris import spice
from targets.masses.massive import SUN, Mass, mass_named, planet_of
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]

SPK = "passes.bsp"
_COLUMNS = (
    "probe", "opportunity", "body", "center", "approach", "probe_spk_id", "body_spk_id", "burn_tdb", "burn_x_m_s",
    "burn_y_m_s", "burn_z_m_s", "steer", "aimed_x_m_s", "aimed_y_m_s", "aimed_z_m_s", "carrier_propellant_kg",
    "closest_tdb", "altitude_km", "latitude_deg", "longitude_e_deg", "v_inf_km_s", "periapsis_speed_km_s", "b_t_km",
    "b_r_km", "sigma_major_km", "sigma_minor_km", "sigma_altitude_km", "impact_chance", "lowest_altitude_for_limit_km",
)  # fmt: skip


def write_passes(
    study: Study, flown: Sequence[tuple[int, dict[str, Any]]], folder: Path, *, ephemeris: Ephemeris
) -> tuple[float, float]:
    """Write what is known of the passes of a plan; the worst of reading it back, km and km/s.

    flown : probe numbers and rows of `opportunities` as widened by `passes`

    Raises ReadBackDiffers, and NotFollowed where a path cannot be flown on from its row.
    """
    folder.mkdir(parents=True, exist_ok=True)
    fields = {probe: field_of_pass(row, ephemeris) for probe, row in flown}
    paths = {probe: path_of_pass(row, fields[probe], ephemeris) for probe, row in flown}
    _write_spk(folder / SPK, flown, paths)
    for probe, row in flown:
        _write_messages(study, probe, row, paths[probe], folder, ephemeris)
    (folder / "passes.csv").write_text(
        csv_of_rows(_COLUMNS, [_row(*each) for each in flown]), encoding="utf-8"
    )
    (folder / "PASSES.txt").write_text(_readme(study, flown, ephemeris), encoding="utf-8")
    worst = [
        read_back_pass(folder, probe, row, fields[probe], ephemeris, spk=folder / SPK) for probe, row in flown
    ]
    return max(each[0] for each in worst), max(each[1] for each in worst)


def _write_spk(file: Path, flown: Sequence[tuple[int, dict[str, Any]]], paths: dict[int, PassPath]) -> None:
    """Probes about what their segments are about, and those bodies as they were used."""
    segments = []
    for probe, row in flown:
        body, path = mass_named(row["target"]), paths[probe]
        planet = planet_of(body)
        numbers = {"SUN": spice.SUN, planet.name.upper(): planet.number, body.name.upper(): body.number}
        segments += [
            spice.SpkSegment(
                probe_id(probe), f"PROBE {probe:02d} {k + 1}", each.stretch.epochs_tdb_s, each.stretch.states,
                numbers[each.center],
            )
            for k, each in enumerate(path.whole)
        ]  # fmt: skip
        own = [(planet, path.planet, spice.SUN)]
        if path.moon is not None:
            own.append((body, path.moon, planet.number))
        segments += [
            spice.SpkSegment(
                mass.number, f"{mass.name.upper()} AS USED {probe}", part.epochs_tdb_s, part.states, center
            )
            for mass, part, center in own
        ]
    spice.write_spk(file, segments, window=WINDOW)


def _write_messages(
    study: Study, probe: int, row: dict[str, Any], path: PassPath, folder: Path, ephemeris: Ephemeris
) -> None:
    created, name, stem = (
        float(tdb_s_from_jd(study.study.date_jd_tdb)),
        f"PROBE {probe:02d}",
        f"probe_{probe:02d}",
    )
    whole = path.whole
    text = oem_text(
        name, [each.stretch for each in whole], creation_tdb_s=created, comments=_comments(row, path),
        centers=[each.center for each in whole],
    )  # fmt: skip
    (folder / f"{stem}_pass.oem").write_text(text, encoding="ascii")
    for which, message in parameter_messages(study, row, path, name, _comments(row, path)).items():
        (folder / f"{stem}_pass_{which}.opm").write_text(message, encoding="ascii")
    if path.moon is not None:
        body = mass_named(row["target"])
        said = (f"states as used for probe {probe:02d}, from: {ephemeris.whereabouts(body).ephemeris}",)
        text = oem_text(
            body.name.upper(), [path.moon], creation_tdb_s=created, comments=said,
            centers=[planet_of(body).name.upper()],
        )  # fmt: skip
        (folder / f"{stem}_{one_line(row['target']).lower()}.oem").write_text(text, encoding="ascii")


def parameter_messages(
    study: Study, row: dict[str, Any], path: PassPath, name: str, comments: tuple[str, ...]
) -> dict[str, str]:
    """Messages at the release, with the burn to come, and after the burn; without check-out the second alone."""
    created = float(tdb_s_from_jd(study.study.date_jd_tdb))
    alone = study.of_design(row.get("design") or ONE_DESIGN)
    probe, burn = alone.probe, burn_km_s(row)
    mass = probe.wet_mass_kg, mass_after_kg(alone, burn)
    released_cov, burnt_cov = _covariances(alone, impulse_km_s(row), burn_s(row) - release_s(row))
    common: dict[str, Any] = {
        "creation_tdb_s": created, "area_m2": probe.solar_area_m2, "reflectivity": probe.reflectivity,
    }  # fmt: skip
    after = path.after[0]
    made = {
        "after_burn": opm_text(
            name, (float(after.stretch.epochs_tdb_s[0]), after.stretch.states[0]), mass_kg=mass[1],
            covariance=burnt_cov, center=after.center, comments=("state after the burn", *comments),
            **common,
        )
    }  # fmt: skip
    if path.before:
        before = path.before[0]
        lasts_s, lead_s = length_and_lead_s(alone, mass, burn)
        impulse = f"computed with an impulse at {date_text(burn_s(row))} TDB; it stands for the burn"
        made["release"] = opm_text(
            name, (float(before.stretch.epochs_tdb_s[0]), before.stretch.states[0]), mass_kg=mass[0],
            covariance=released_cov, center=before.center,
            manoeuvre=Manoeuvre(burn_s(row) - lead_s, lasts_s, mass[1] - mass[0], burn),
            comments=("state at the release, the spring's push being part of the burn", impulse, *comments),
            **common,
        )  # fmt: skip
    return made


def _covariances(alone: Study, burn: Floats, checkout_s: float) -> tuple[Floats, Floats]:
    """(6, 6) at the release and after the burn, as the delivery has them: mothership, spring, execution."""
    errors, eye = errors_of(alone), np.eye(3)
    ship = np.diag([errors.mothership_km**2] * 3 + [errors.mothership_km_s**2] * 3)
    drift = np.vstack([checkout_s * eye, eye])
    spring = errors.spring_km_s**2 * drift @ drift.T
    released, burnt = ship.copy(), ship + spring
    released[3:, 3:] += errors.spring_km_s**2 * eye
    burnt[3:, 3:] += gates_cov(np.outer(burn, burn), errors)
    return released, burnt


def _comments(row: dict[str, Any], path: PassPath) -> tuple[str, ...]:
    centers = dict.fromkeys(each.center for each in path.whole)
    return (
        f"low pass of {row['target']}; impulse at {date_text(row['burn_tdb_s'])} TDB{whose(row)}",
        f"aim point B.T {row['b_t_km']:.3f} km, B.R {row['b_r_km']:.3f} km",
        f"lowest at {date_text(row['encounter_tdb_s'])} TDB",
        f"segments about {', '.join(centers)}; forces: PASSES.txt; chance of impact {row['impact_chance']:.3g}",
    )


def whose(row: dict[str, Any]) -> str:
    """Whose impulse it is where it is not the probe's."""
    steers = row["steer"] not in (None, "probe")
    return ", the mothership's: the probe burns nothing" if steers else ""


def _row(probe: int, row: dict[str, Any]) -> tuple[object, ...]:
    given = row | {
        "probe": probe, "body": row["target"], "burn_tdb": date_text(row["burn_tdb_s"]),
        "closest_tdb": date_text(row["encounter_tdb_s"]), "probe_spk_id": probe_id(probe),
        "body_spk_id": mass_named(row["target"]).number,
    }  # fmt: skip
    return tuple(cell(given[name]) for name in _COLUMNS)


def cell(value: object) -> object:
    if value is None or value != value:
        return ""
    return f"{value:.9g}" if isinstance(value, float) else value


def _readme(study: Study, flown: Sequence[tuple[int, dict[str, Any]]], ephemeris: Ephemeris) -> str:
    lines = [
        f"{one_line(study.study.name)}: low passes of planets and moons",
        "Concept-study figures: a start for detailed design, not for operations. Planetary protection, launch safety,",
        "radio licensing and recontact safety rest with the responsible authorities and licensed practice.",
        "",
        "Axes ICRF, TDB, km, km/s. Segments say what they are about (CENTER_NAME). Forces: the planet with J2 and J4,",
        "its moons with J2, the Sun and the other planets as points; no solar pressure. Paths are computed with an",
        "impulse, the spring being taken as part of it; MAN_DURATION is how long it takes at the design's thrust.",
        "Where the mothership steers (steer in passes.csv) the impulse is its burn and rim: aimed_x, _y, _z.",
        "Corrections are not in the paths: the sigmas of passes.csv are after them, the covariances before.",
        f"{SPK}: the probes, and the planet about the Sun and the moon about the planet as they were used here; with",
        "another ephemeris of the moon a probe is elsewhere over the ground.",
        "",
    ]
    for name in dict.fromkeys(row["target"] for _, row in flown):
        lines += body_lines(mass_named(name), ephemeris)
    return "\n".join(lines) + "\n"


def body_lines(body: Mass, ephemeris: Ephemeris) -> list[str]:
    known, file = ephemeris.whereabouts(body), ephemeris.file_of(body)
    moved = "; approximate: it moves date and place of the pass" if known.approximate else ""
    lines = [
        f"{body.name}: GM {body.gm_km3_s2:.6f} km^3/s^2, equatorial radius {body.radius_km:g} km, J2 {body.j2:g}",
        f"  place by {known.ephemeris}, to {known.error_km:.3g} km{moved}",
        f"  relief or atmosphere up to {body.lowest_km:g} km",
    ]
    if file is not None:
        lines.append(f"  {file.name}: sha256 {sha256_of(file)}")
    if body.parent != SUN:
        planet = planet_of(body)
        lines.append(f"{planet.name}: GM {planet.gm_km3_s2:.6f} km^3/s^2, J2 {planet.j2:g}, J4 {planet.j4:g}")
        lines.append(f"  place by {ephemeris.whereabouts(planet).ephemeris}")
    if body.may_harbour_life:
        lines.append(
            f"{body.name} may harbour life: what stays bound may meet it again; disposal is not planned here."
        )
    return lines
