"""The tables of the package as CSV texts: encounters, events by date, frozen target orbits."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from swarm.refine.duties import weekly_tracking_hours
from swarm.refine.handoff.oem import date_text
from swarm.refine.handoff.spk import probe_id, target_id
from swarm.refine.tables import RefinedProbe
from swarm.run.csv_cells import csv_of_rows
from swarm.study.schema import Study
from targets.base.constants import AU_KM, DAY_S
from targets.base.timescale import iso_of_tdb_s, tdb_s_from_jd
from targets.catalogue.bodies import ELEMENT_ORDER
from targets.catalogue.knowledge import SOURCES, position_covariance_km2
from targets.catalogue.reading import Catalogue

Floats = NDArray[np.float64]


def listings(study: Study, targets: Catalogue, flown: Sequence[RefinedProbe]) -> dict[str, str]:
    """Texts by file name."""
    return {
        "encounters.csv": csv_of_rows(_ENCOUNTERS, [_encounter(one) for one in flown]),
        "events.csv": csv_of_rows(
            ("date_tdb", "tdb_s", "event", "probe", "note", "hours"), _events(study, flown)
        ),
        "targets.csv": csv_of_rows(_TARGETS, _target_rows(study, targets, flown)),
    }


_ENCOUNTERS = (
    "probe", "target", "probe_spk_id", "target_spk_id", "encounter_tdb", "encounter_tdb_s", "encounter_shift_s",
    "aim_t_km", "aim_r_km", "b_t_km", "b_r_km", "distance_km", "v_rel_x_km_s", "v_rel_y_km_s", "v_rel_z_km_s",
    "v_rel_km_s", "target_x_km", "target_y_km", "target_z_km", "sun_range_au", "burn_m_s", "burn_change_m_s",
    "delivery_sigma_km", "dv99_m_s", "delivered_chance",
)  # fmt: skip


def _encounter(one: RefinedProbe) -> tuple[object, ...]:
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


def _events(study: Study, flown: Sequence[RefinedProbe]) -> list[tuple[object, ...]]:
    """Releases, burns, corrections, encounters, blackouts and the tracking hours of every week, by date."""
    events: list[tuple[float, str, object, str]] = []
    for one in flown:
        made, arc = one.made, one.made.arc
        spring = 1e3 * float(np.linalg.norm(made.spring_km_s))
        events += [
            (arc.release_tdb_s, "release", arc.probe, f"spring {spring:.3f} m/s"),
            (
                arc.burn_tdb_s - made.lead_s,
                "burn begins",
                arc.probe,
                f"{made.burn_s:.1f} s at {study.of_design(arc.design).probe.thrust_n:g} N",
            ),
            (
                arc.burn_tdb_s,
                "burn",
                arc.probe,
                f"impulse {1e3 * float(np.linalg.norm(made.burn_km_s)):.4f} m/s",
            ),
            (made.encounter_tdb_s, "encounter", arc.probe, arc.target),
        ]
        events += [(t, f"correction ({_KINDS[kind]})", arc.probe, "") for t, kind in one.linear.corrections_s]
    for begin, until in study.constraints.blackouts:
        events += [
            (float(tdb_s_from_jd(begin)), "blackout begins", "", ""),
            (float(tdb_s_from_jd(until)), "blackout ends", "", ""),
        ]
    events += _tracking(study, flown)
    return [
        (date_text(t), f"{t:.6f}", event, probe, *((note, "") if event != _TRACKING else ("", note)))
        for t, event, probe, note in sorted(events, key=_by_date)
    ]


_TRACKING = "tracking of the week"
# by the kinds of swarm.encounter.corrections: after the burn, before the encounter, in sight
_KINDS = ("from the ground", "from the ground", "in sight of the target")


def _by_date(event: tuple[float, str, object, str]) -> tuple[float, str, str]:
    return event[0], event[1], str(event[2])


def _tracking(study: Study, flown: Sequence[RefinedProbe]) -> list[tuple[float, str, object, str]]:
    """Hours of tracking in every week from the first release on."""
    if not flown:
        return []
    rows = [
        {"release_tdb_s": each.made.arc.release_tdb_s, "encounter_tdb_s": each.made.encounter_tdb_s}
        for each in flown
    ]
    begin = min(row["release_tdb_s"] for row in rows)
    hours = weekly_tracking_hours(study, rows)
    return [(begin + k * 7.0 * DAY_S, _TRACKING, "", f"{value:.1f}") for k, value in enumerate(hours)]


_TARGETS = (
    "target", "name", "spk_id", "epoch_tdb", "epoch_jd_tdb", *ELEMENT_ORDER, "h_mag", "u_code", "covariance_source",
    "covariance_epoch_tdb", "cov_xx_km2", "cov_xy_km2", "cov_yy_km2", "cov_xz_km2", "cov_yz_km2", "cov_zz_km2",
    *(f"cov_{a}__{b}" for i, a in enumerate(ELEMENT_ORDER) for b in ELEMENT_ORDER[: i + 1]),
)  # fmt: skip


def _target_rows(study: Study, targets: Catalogue, flown: Sequence[RefinedProbe]) -> list[tuple[object, ...]]:
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
            velocity_km_s=made.target[None, 3:6],
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
