"""Orbits in the package: messages about the body, a burn each with how long it takes, a table; read back.

An ephemeris message has a segment a coast, in the full field: between the burns of the insertion, and of the science
between those of its upkeep, which are in one message with the first state. A spiral has files of its own before that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.orbit.burn_flown import LongBurn, moved
from swarm.encounter.orbit.full_field import Flown, fly
from swarm.encounter.orbit.insertion_flown import FlownOrbit, NotInserted
from swarm.encounter.orbit.orbit_asked import field_of_body, surroundings_about
from swarm.encounter.orbit.osculating import osculating_orbit
from swarm.encounter.orbit.spiral_flown import FlownSpiral
from swarm.encounter.orbit.surroundings import Surroundings
from swarm.encounter.orbit.upkeep_flown import UPKEEPS_FLOWN
from swarm.refine.handoff.oem import date_text, oem_text, one_line
from swarm.refine.handoff.opm import Manoeuvre, opm_text, read_opm
from swarm.refine.handoff.pass_messages import body_lines, cell, parameter_messages
from swarm.refine.handoff.pass_read_back import read_segments
from swarm.refine.handoff.read_back import ReadBackDiffers
from swarm.refine.handoff.spiral_messages import apart, read_back_spiral, write_spiral
from swarm.refine.orbits_flown import fly_row
from swarm.refine.pass_path import PassPath, field_of_pass, path_of_pass
from swarm.refine.stretches import Stretch, whole_microseconds
from swarm.run.csv_cells import csv_of_rows
from swarm.run.folder import sha256_of
from swarm.study.schema import Study
from swarm.study.whole_study import ONE_DESIGN
from targets.base.constants import DAY_S
from targets.base.constants import STANDARD_GRAVITY_M_S2 as G0_M_S2
from targets.base.errors import InputError
from targets.base.timescale import tdb_s_from_jd
from targets.masses.massive import mass_named
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]

# What reading back may be off by: flown again from the first state of a segment, or of a burn, to its end.
READ_BACK_KM, READ_BACK_KM_S = 1e-2, 1e-5
_COLUMNS = (
    "probe", "opportunity", "body", "design", "approach", "capture", "arrival_tdb", "begin_tdb", "burns",
    "insertion_m_s", "finite_loss_m_s", "spiral_m_s", "spiral_days", "periapsis_km", "apoapsis_km",
    "inclination_deg", "argp_deg",
    "period_h", "science_days", "hours_below", "count_sigma", "least_km", "maintain_m_s", "ended", "flown_begin_tdb",
    "flown_burns_m_s", "flown_spiral_begin_tdb", "flown_spiral_m_s", "flown_spiral_days", "flown_spiral_from_km",
    "flown_periapsis_km", "flown_apoapsis_km", "flown_days", "flown_least_km", "flown_hits",
    "flown_upkeeps", "flown_upkeep_burns", "flown_upkeep_m_s", "note",
)  # fmt: skip


def write_orbits(
    study: Study, flown: Sequence[tuple[int, dict[str, Any]]], folder: Path, *, ephemeris: Ephemeris
) -> tuple[float, float]:
    """Write what is known of the orbits of a plan; the worst of reading it back, km and km/s.

    flown : probe numbers and rows of `opportunities` as widened by `passes` and `orbits`

    Raises ReadBackDiffers. An orbit that the field does not lead to is in the table with why, and has no message.
    """
    folder.mkdir(parents=True, exist_ok=True)
    asks, rows, worst = {ask.name: ask for ask in study.approach}, [], np.zeros(2)
    left: list[str] = []
    for probe, row in flown:
        ask = asks[row["approach"]]
        around = surroundings_about(
            study, ask, mass_named(ask.body), row["encounter_tdb_s"], ephemeris=ephemeris
        )
        try:
            path = path_of_pass(row, field_of_pass(row, ephemeris), ephemeris, after_s=0.0)
            orbit = fly_row(study, row, around, path, days=float(row["science_days"]), kept_up=ask.maintain)
        except NotInserted as why:
            rows.append(_row(probe, row, None, str(why)))
            left.append(
                f"probe {probe}: no path of its orbit is handed over: {why} (insertion_burns, a higher periapsis)"
            )
            continue
        _write_way(study, probe, row, path, folder)
        _write_messages(study, probe, row, orbit, folder)
        worst = np.maximum(worst, _spiral_too(study, folder, probe, row, orbit, around))
        worst = np.maximum(worst, read_back_orbit(study, folder, probe, row, around))
        rows.append(_row(probe, row, orbit, orbit.science.note))
        if orbit.science.note:
            left.append(
                f"probe {probe}: the path of its orbit ends before its upkeep does: {orbit.science.note}"
            )
    (folder / "orbits.csv").write_text(csv_of_rows(_COLUMNS, rows), encoding="utf-8")
    (folder / "ORBITS.txt").write_text(_readme(study, flown, ephemeris, left), encoding="utf-8")
    if not (worst[0] <= READ_BACK_KM and worst[1] <= READ_BACK_KM_S):
        raise ReadBackDiffers(f"an orbit, flown again from its messages, ends {1e3 * worst[0]:.3g} m beside")
    return float(worst[0]), float(worst[1])


def _alone(study: Study, row: dict[str, Any]) -> Study:
    return study.of_design(row.get("design") or ONE_DESIGN)


def _segment(coast: Flown) -> Stretch:
    return Stretch(whole_microseconds(coast.tdb_s), coast.states)


def _write_way(study: Study, probe: int, row: dict[str, Any], path: PassPath, folder: Path) -> None:
    """The way from the release to the arrival, as it is without insertion: to impulses its lowest point."""
    created, name, stem = (
        float(tdb_s_from_jd(study.study.date_jd_tdb)),
        f"PROBE {probe:02d}",
        f"probe_{probe:02d}",
    )
    said = (f"way to an orbit about {row['target']}, unbraked, until its lowest point; forces: ORBITS.txt",)
    text = oem_text(
        name, [each.stretch for each in path.whole], creation_tdb_s=created, comments=said,
        centers=[each.center for each in path.whole],
    )  # fmt: skip
    (folder / f"{stem}_arrival.oem").write_text(text, encoding="ascii")
    for which, message in parameter_messages(study, row, path, name, said).items():
        (folder / f"{stem}_arrival_{which}.opm").write_text(message, encoding="ascii")


def _write_messages(study: Study, probe: int, row: dict[str, Any], orbit: FlownOrbit, folder: Path) -> None:
    created, name, stem = (
        float(tdb_s_from_jd(study.study.date_jd_tdb)),
        f"PROBE {probe:02d}",
        f"probe_{probe:02d}",
    )
    center, settings = row["target"].upper(), _alone(study, row).probe
    said = (
        f"orbit about {row['target']}, {row['capture']}; full field, forces: ORBITS.txt",
        "disposal is not planned: it comes down there",
    )
    text = oem_text(
        name, [_segment(coast) for coast in orbit.every_coast], creation_tdb_s=created, comments=said,
        centers=[center] * len(orbit.every_coast),
    )  # fmt: skip
    (folder / f"{stem}_orbit.oem").write_text(text, encoding="ascii")
    upkeep, thrust = orbit.science.burns, f"one direction, at {settings.thrust_n:g} N at most"
    messages: dict[str, tuple[tuple[LongBurn, ...], str]] = {
        f"burn_{k + 1}": ((burn,), f"burn {k + 1} of {len(orbit.burns)}, {thrust}")
        for k, burn in enumerate(orbit.burns)
    }
    if upkeep:
        turned = len(orbit.science.turned)
        messages["upkeep"] = (upkeep, f"{turned} upkeeps by {len(upkeep)} burns, each of {thrust}")
    for which, (burns, comment) in messages.items():
        first, *later = (
            Manoeuvre(
                each.ignition_tdb_s, each.duration_s, each.mass_after_kg - each.mass_before_kg, each.dv_km_s
            )
            for each in burns
        )
        message = opm_text(
            name, (burns[0].ignition_tdb_s, burns[0].before), creation_tdb_s=created, mass_kg=burns[0].mass_before_kg,
            area_m2=settings.solar_area_m2, reflectivity=settings.reflectivity, covariance=None, center=center,
            manoeuvre=first, later=later, comments=(comment, *said),
        )  # fmt: skip
        (folder / f"{stem}_orbit_{which}.opm").write_text(message, encoding="ascii")


def _spiral_too(
    study: Study, folder: Path, probe: int, row: dict[str, Any], orbit: FlownOrbit, around: Surroundings
) -> Floats:
    """Write the path of a spiral, where there is one, and read it back: worst km and km/s."""
    if orbit.spiral is None:
        return np.zeros(2)
    isp = _alone(study, row).probe.isp_s
    created, name = float(tdb_s_from_jd(study.study.date_jd_tdb)), f"probe_{probe:02d}_orbit.oem"
    write_spiral(folder, probe, row["target"], orbit.spiral, creation_tdb_s=created, isp_s=isp)
    first = read_segments(folder / name)[0].stretch
    return read_back_spiral(folder, probe, isp, (float(first.epochs_tdb_s[0]), first.states[0]), around)


def _spiral_cells(spiral: FlownSpiral | None) -> dict[str, object]:
    if spiral is None:
        return {}
    return {
        "flown_spiral_begin_tdb": date_text(float(spiral.tdb_s[0])),
        "flown_spiral_m_s": spiral.spent_m_s,
        "flown_spiral_days": spiral.days,
        "flown_spiral_from_km": spiral.from_km,
    }


def read_back_orbit(
    study: Study, folder: Path, probe: int, row: dict[str, Any], around: Surroundings
) -> Floats:
    """Every segment, and every burn, flown again from what its message says: worst km and km/s at the ends."""
    stem = f"probe_{probe:02d}_orbit"
    try:
        segments = [each.stretch for each in read_segments(folder / f"{stem}.oem")]
        files = sorted(folder.glob(f"{stem}_burn_*.opm"), key=lambda file: int(file.stem.rsplit("_", 1)[1]))
        files += folder.glob(f"{stem}_upkeep.opm")
        burns = [read_opm(file, center=row["target"].upper()) for file in files]
    except (InputError, OSError, ValueError, KeyError) as refused:
        raise ReadBackDiffers(f"a file of the orbit of probe {probe} cannot be read: {refused}") from refused
    exhaust = _alone(study, row).probe.isp_s * G0_M_S2
    # after a burn of the insertion comes a coast; without insertion a coast comes first
    following = 0 if (folder / f"{stem}_burn_1.opm").exists() else 1
    if sum(len(said.manoeuvres) for said in burns) != len(segments) - following:
        raise ReadBackDiffers(f"burns and coasts of probe {probe} are not one after the other")
    worst = np.zeros(2)
    for said in burns:
        state, mass = said.state, said.mass_kg
        for burn in said.manoeuvres:
            if following and burn is not said.manoeuvres[0]:
                state = segments[following - 1].states[-1]
            # of the velocity, which the message has to 1e-9 m/s: a weak burn takes a milligram or a few
            speed = float(np.linalg.norm(burn.dv_km_s))
            spent = -mass * math.expm1(-1e3 * speed / exhaust)
            if abs(spent + burn.delta_mass_kg) > 2e-6:
                raise ReadBackDiffers(
                    f"a burn of probe {probe} takes {spent:.6f} kg, MAN_DELTA_MASS says other"
                )
            thrust, along = spent / burn.duration_s * exhaust, burn.dv_km_s / speed
            after = moved(
                state,
                burn.ignition_tdb_s,
                burn.duration_s,
                around,
                push=(along, thrust, exhaust),
                mass_kg=mass,
            )
            worst = np.maximum(worst, apart(after, segments[following].states[0]))
            mass -= spent
            following += 1
    for part in segments:
        begin, end = float(part.epochs_tdb_s[0]), float(part.epochs_tdb_s[-1])
        again = fly(part.states[0], begin, (end - begin) / DAY_S, around, every_s=DAY_S)
        worst = np.maximum(worst, apart(again.states[-1], part.states[-1]))
    return worst


def _row(probe: int, row: dict[str, Any], orbit: FlownOrbit | None, note: str) -> tuple[object, ...]:
    given = row | dict.fromkeys(_COLUMNS[_COLUMNS.index("flown_begin_tdb") :], None) | {
        "probe": probe, "body": row["target"], "arrival_tdb": date_text(row["encounter_tdb_s"]), "note": note,
        "begin_tdb": date_text(row["begin_tdb_s"]), "design": row.get("design") or "probe",
    }  # fmt: skip
    if orbit is not None:
        body, science = mass_named(row["target"]), orbit.science
        shape = osculating_orbit(science.coasts[0].states[0], body.gm_km3_s2)
        given |= {
            "flown_begin_tdb": date_text(orbit.begin_tdb_s),
            "flown_burns_m_s": " ".join(f"{1e3 * np.linalg.norm(burn.dv_km_s):.3f}" for burn in orbit.burns),
            **_spiral_cells(orbit.spiral),
            "flown_periapsis_km": shape.periapsis_km - body.radius_km,
            "flown_apoapsis_km": shape.apoapsis_km - body.radius_km,
            "flown_days": science.days,
            "flown_least_km": science.least_km,
            "flown_hits": str(science.hit).lower(),
            "flown_upkeeps": len(science.turned),
            "flown_upkeep_burns": len(science.burns),
            "flown_upkeep_m_s": science.spent_m_s,
        }
    return tuple(cell(given[name]) for name in _COLUMNS)


def _readme(
    study: Study, flown: Sequence[tuple[int, dict[str, Any]]], ephemeris: Ephemeris, left: Sequence[str]
) -> str:  # fmt: skip
    lines = [
        f"{one_line(study.study.name)}: orbits about planets and moons",
        "Concept-study figures: a start for detailed design, not for operations. What stays in orbit comes down there:",
        "planetary protection, debris, historic sites and others who fly or stand there come first, by the rules of",
        "the responsible authorities and licensed practice.",
        "",
        "Axes ICRF, TDB, km, km/s, about the body. Forces: its field as below, turning by IAU 2015; its parent and",
        "moons, the Sun, as points; no solar pressure. Burns hold one direction; MAN_DURATION is how long each takes.",
        "Segments are coasts. Where an orbit is kept up, burns in pairs turn its eccentricity back once a turn:",
        f"the first {UPKEEPS_FLOWN} upkeeps are flown, until the next would be due (_upkeep.opm: all their burns",
        "in one message, and a weak thruster takes many). A spiral (_spiral.oem) is flown backwards from its orbit to",
        "where it is let in, its thrust against the velocity in the arcs of _spiral.csv, with the duty in the thrust.",
        "Excess speed is taken off between the arrival and that path, far from the body: that part is not flown, and",
        "its price is an upper bound. Lives in orbits.csv are averaged; flown_ is flown.",
        "",
        *left,
    ]
    for name in dict.fromkeys(row["target"] for _, row in flown):
        body = mass_named(name)
        field = field_of_body(study, body)
        file = None if study.massive is None else study.massive.gravity.get(name)
        lines += body_lines(body, ephemeris)
        lines.append(f"  gravity: {one_line(field.source)}")
        if file is not None:
            lines.append(f"  {Path(file).name}: sha256 {sha256_of(study.base / file)}")
    return "\n".join(lines) + "\n"
