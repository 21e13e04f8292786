"""Why an opportunity or a plan is worth what it is worth: step by step, with units, from the run's tables.

Nothing is judged again: every number is one of the tables', or follows from them by the formula of its step.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from swarm.decide.explain_pass import place_step
from swarm.decide.steps import Step
from swarm.encounter.images import pixels_home
from swarm.encounter.power import power_balance
from swarm.encounter.propellant import carried_m_s, ledger
from swarm.encounter.quality import pixel_angle_rad
from swarm.plan.constraints import allowed
from swarm.plan.data import Chances, PlanData, column, plan_data, row_qualities, stored_and_active_days
from swarm.plan.flight import Flight
from swarm.plan.judged import chances_from_table, quality_column
from swarm.plan.objectives import row_chances
from swarm.plan.survival import phase_chances, shared_groups
from swarm.reach.arcs.bplane import b_plane_axes
from swarm.run.folder import Run
from swarm.run.kinds import ENCOUNTERS
from swarm.study.by_design import design_names, probe_values
from swarm.study.schema import Study
from swarm.study.sections.science import Where
from swarm.study.whole_study import ONE_DESIGN
from targets.base.errors import InputError
from targets.base.timescale import iso_tdb
from targets.catalogue.bodies import ASSUMED_G, ASSUMED_H, ASSUMED_U
from targets.catalogue.reading import Catalogue
from targets.catalogue.worth import (
    albedos,
    binaries,
    class_chances,
    diameters,
    families,
    rests_on,
    spin_periods_h,
    taxonomy_chances,
    why_not,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

CAUTIONS = (
    "Concept-study figures: good for comparing plans, not for operations.",
    "Planetary protection, launch safety, radio licensing and recontact safety rest with the responsible "
    "authorities.",
)
_SHARED_FRACTIONS = (0.0, 0.05, 0.1, 0.2)


def as_text(steps: list[Step]) -> list[str]:
    """Return an explanation as plain lines."""
    told = []
    for step in steps:
        told.append(step.title)
        width = max((len(label) for label, _ in step.lines), default=0)
        told += [f"  {label:<{width}}  {said}".rstrip() for label, said in step.lines]
    return told


@dataclass(frozen=True)
class _Tables:
    """A run's tables as the explanation needs them; row k of opportunities and judged is one opportunity."""

    study: Study
    opportunities: pa.Table
    targets: Catalogue
    judged: pa.Table
    chances: Chances
    flight: Flight | None  # None where the study limits nothing along the arcs and no path was kept

    def flight_of(self, rows: NDArray) -> Flight | None:
        """Where the probes of some rows are."""
        return None if self.flight is None else self.flight.take(rows)


def _tables(run: Run) -> _Tables:
    study = run.study
    opportunities, judged = run.read_table("opportunities"), run.read_table("judged")
    return _Tables(
        study,
        opportunities,
        run.targets(),
        judged,
        chances_from_table(study, judged),
        Flight(opportunities, run.read_table("mothership")) if run.has("mothership") else None,
    )


def _row_of(table: pa.Table, name: str, number: int) -> int:
    """The row whose `name` is `number`; InputError with the range there is."""
    numbers = column(table, name)
    places = np.flatnonzero(numbers == number)
    if not len(places):
        there = f"{numbers.min()} to {numbers.max()}" if len(numbers) else "none"
        raise InputError(f"the run has no such {name}", found=number, expected=f"a number among {there}")
    return int(places[0])


# --- an opportunity -----------------------------------------------------------------------------------------


def explain_opportunity(run: Run, number: int) -> list[Step]:
    """Return why one opportunity is worth what it is worth: body, geometry, aim, delivery, ... contribution."""
    tables = _tables(run)
    row = _row_of(tables.opportunities, "opportunity", number)
    flown = tables.opportunities.slice(row, 1).to_pylist()[0]
    judged = tables.judged.slice(row, 1).to_pylist()[0]
    body = tables.targets.take([int(flown["target_index"])])
    data = plan_data(tables.study, tables.opportunities, tables.targets, judged=tables.chances)
    own = tables.study.of_design(flown.get("design", ONE_DESIGN))
    return [
        _short_step(run, tables, row, number=number, named=_named(body), reason=judged["reason_text"]),
        place_step(body.target[0]) if ENCOUNTERS[flown["kind"]].place else _body_step(body),
        *ENCOUNTERS[flown["kind"]].function("explain")(own, flown, judged, body),
        *(() if ENCOUNTERS[flown["kind"]].place else (_delivery_step(own, judged),)),
        _quality_step(tables.study, judged),
        _data_step(own, flown, judged),
        _survival_step(tables, row),
        _rows_step(tables, row, data, body=body, kind=flown["kind"]),
        _worth_step(tables.study, row, data),
        _propellant_step(own, flown, judged),
        Step("Cautions", tuple(("-", text) for text in CAUTIONS)),
    ]


def _short_step(run: Run, tables: _Tables, row: int, *, number: int, named: str, reason: str) -> Step:
    alone = tables.opportunities.slice(row, 1)
    removed = allowed(tables.study, alone, tables.flight_of(np.array([row]))).removed
    barred = [limit for limit, count in removed.items() if count]
    lines = [("in short", reason), ("may be used", f"no: {barred[0]}" if barred else "yes")]
    if run.has("plans") and run.has("front"):
        plans = run.read_table("plans")
        used = len(pc.unique(plans.filter(pc.equal(plans["opportunity"], number))["plan"]))
        lines.append(("on the front", f"in {used} of {run.read_table('front').num_rows} plans"))
    return Step(f"Opportunity {number}: {named}", tuple(lines))


def _named(body: Catalogue) -> str:
    name = f" {body.name[0]}" if body.name[0] else ""
    return f"{body.target[0]}{name}"


def _body_step(body: Catalogue) -> Step:
    size_km, size_assumed = diameters(body)
    bits = int(body.assumed[0])
    labels, chances = class_chances(body)
    best = np.argsort(-chances[0], kind="stable")[:4]
    spread = ", ".join(f"{labels[k]} {chances[0, k]:.2f}" for k in best if chances[0, k] > 0.0)
    albedo, spin = albedos(body)[0], spin_periods_h(body)[0]
    lines = [
        ("absolute magnitude H", f"{body.h_mag[0]:.2f} mag{_assumed(bits & ASSUMED_H)}"),
        ("slope G", f"{body.g_slope[0]:.2f}{_assumed(bits & ASSUMED_G)}"),
        ("albedo", f"{albedo:.3f}" if np.isfinite(albedo) else "unknown"),
        ("diameter", f"{size_km[0]:.3g} km{_assumed(size_assumed[0], ' from H and an albedo')}"),
        ("class", body.taxonomy[0] or f"unknown; chances by orbit and albedo: {spread}"),
        ("orbit uncertainty U", f"{body.u_code[0]}{_assumed(bits & ASSUMED_U)}"),
        ("visited before", "yes" if body.visited[0] else "no"),
    ]
    if np.isfinite(spin):
        lines.append(("spin period", f"{spin:.3g} h"))
    if binaries(body)[0] >= 0:
        lines.append(("companion", "yes" if binaries(body)[0] else "no"))
    if families(body)[0]:
        lines.append(("family", str(families(body)[0])))
    return Step("1 The body", tuple(lines))


def _assumed(flag: Any, how: str = "") -> str:
    return f" (assumed{how})" if flag else ""


def _geometry_step(flown: dict[str, Any]) -> Step:
    arc_days = flown["encounter_jd_tdb"] - flown["burn_jd_tdb"]
    return Step(
        "2 Geometry",
        (
            ("release", iso_tdb(flown["release_jd_tdb"])),
            ("burn", f"{iso_tdb(flown['burn_jd_tdb'])}, {flown['burn_m_s']:.2f} m/s"),
            ("encounter", f"{iso_tdb(flown['encounter_jd_tdb'])}, {arc_days:.1f} d after the burn"),
            ("relative speed", f"{flown['v_rel_km_s']:.3f} km/s"),
            ("phase on approach", f"{flown['phase_in_deg']:.1f} deg (Sun - target - incoming probe)"),
            ("from the Sun", f"{flown['sun_range_au']:.3f} au"),
            ("from the Earth", f"{flown['earth_range_au']:.3f} au"),
            ("Sun-Earth-probe angle", f"{flown['sun_earth_probe_deg']:.1f} deg"),
            ("from the mothership", f"{flown['mothership_range_km']:.3e} km"),
        ),
    )


def flyby_steps(study: Study, flown: dict[str, Any], judged: dict[str, Any], body: Catalogue) -> list[Step]:
    """How a probe of one design passes a body, and where it is aimed."""
    return [_geometry_step(flown), _aim_step(study, flown, judged, body)]


def _aim_step(study: Study, flown: dict[str, Any], judged: dict[str, Any], body: Catalogue) -> Step:
    aim_km, size_km = judged["aim_km"], diameters(body)[0][0]
    gsd_m = 1000.0 * pixel_angle_rad(study.probe) * aim_km
    pixels = float(pixels_home(study.probe, size_km, aim_km, judged["data_mbit"]))
    slew = np.degrees(flown["v_rel_km_s"] / aim_km) if aim_km > 0.0 else np.inf
    lines = [
        ("aim point", f"B.T {judged['aim_t_km']:.0f} km, B.R {judged['aim_r_km']:.0f} km"),
        ("aim distance", f"{aim_km:.0f} km from the centre; keep-out {study.probe.keepout_km:g} km"),
        ("slew rate there", f"{slew:.2f} deg/s of {study.probe.slew_limit_deg_s:g} deg/s"),
        ("pixel on the target", f"{gsd_m:.1f} m"),
        ("pixels across", f"{pixels:.0f}" if gsd_m > 0.0 else "-"),
        ("phase there", f"{_phase_at_aim_deg(flown, judged):.0f} deg"),
    ]
    return Step("3 Aim", tuple(lines))


def _phase_at_aim_deg(flown: dict[str, Any], judged: dict[str, Any]) -> float:
    """Angle at the target between the Sun and the probe at closest approach."""
    _, t, r = b_plane_axes([[flown[f"v_rel_{axis}_km_s"] for axis in "xyz"]])[0]
    b = judged["aim_t_km"] * t + judged["aim_r_km"] * r
    sun = -np.array([flown[f"target_{axis}_km"] for axis in "xyz"])
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(sun, b)), sun @ b)))


def _delivery_step(study: Study, judged: dict[str, Any]) -> Step:
    start, before, after = (_sigmas_km(judged, which) for which in ("start", "before", "delivery"))
    return Step(
        "4 Delivery",
        (
            ("miss without corrections", f"{_ellipse(start)}, the target's own error left out"),
            ("after those from the ground", f"{_ellipse(before)}, the target's error in it"),
            (
                "target seen first",
                f"{judged['detect_range_km']:.3g} km and {judged['detect_h_before']:.1f} h before closest "
                f"approach; {100.0 * judged['seen_chance']:.0f} % get a correction with it in sight",
            ),
            (
                "miss at the encounter",
                f"{_ellipse(after)}, after the last of {judged['corrections']} corrections",
            ),
            ("time of closest approach", f"{judged['sigma_time_s']:.1f} s, 1 sigma"),
            (
                "corrections, 99 %",
                f"{judged['dv99_needed_m_s']:.1f} m/s needed, {judged['dv99_m_s']:.1f} m/s flown; a probe "
                f"carries {carried_m_s(study):.1f} m/s in all",
            ),
            ("can be flown in", f"{100.0 * judged['delivered_chance']:.0f} % of the samples"),
        ),
    )


def _ellipse(sigmas_km: Floats) -> str:
    return f"{sigmas_km[0]:.0f} x {sigmas_km[1]:.0f} km, 1 sigma, in the B-plane"


def _sigmas_km(judged: dict[str, Any], which: str) -> Floats:
    tt, rr, tr = (judged[f"{which}_cov_{part}_km2"] for part in ("tt", "rr", "tr"))
    return np.sqrt(np.maximum(np.linalg.eigvalsh([[tt, tr], [tr, rr]])[::-1], 0.0))


def _quality_step(study: Study, judged: dict[str, Any]) -> Step:
    lines = [
        ("with a perfect delivery", f"{judged['best_quality']:.3f} (0 to 1)"),
        ("averaged over the delivery", f"{judged['expected_quality']:.3f}"),
    ]
    for quality in row_qualities(study):
        lines.append((f"P(quality >= {quality:g})", f"{judged[quality_column(quality)]:.3f}"))
    return Step("5 Quality", tuple(lines))


def _data_step(study: Study, flown: dict[str, Any], judged: dict[str, Any]) -> Step:
    power = power_balance(flown["sun_range_au"], study.probe)
    way = "by the mothership" if judged["relayed"] else "straight to the ground"
    return Step(
        "6 Data",
        (
            ("can be returned", f"{judged['data_mbit']:.1f} Mbit, most of it {way}"),
            (
                "transmitting",
                f"{judged['downlink_h']:.1f} h, home {judged['home_days']:.1f} d after the encounter",
            ),
            (
                "power at the encounter",
                f"panels {power.panel_w:.1f} W, idle {power.idle_w:.1f} W, left for the radio {power.radio_w:.1f} W "
                f"of {study.probe.radio_dc_w:g} W: {power.hours_per_day:.1f} h a day in the long run",
            ),
            ("P(data come home)", f"{judged['chance_returned']:.3f}, the hardware working"),
        ),
    )


def _survival_step(tables: _Tables, row: int) -> Step:
    study = tables.study
    survival = study.survival
    one = tables.opportunities.slice(row, 1)
    stored, active = stored_and_active_days(study, one, tables.chances.home_days[row : row + 1])
    lines = [("aboard the mothership", f"{stored[0]:.0f} d"), ("active", f"{active[0]:.0f} d")]
    if survival.model == "weibull":
        phases = phase_chances(
            survival,
            stored,
            active,
            storage_life_days=probe_values(study, one, "storage_limit_days"),
            life_days=probe_values(study, one, "cruise_life_days"),
        )
        lines += [
            ("P(released)", f"{phases.release[0]:.3f}"),
            ("P(alive at switch-on)", f"{phases.switch_on[0]:.3f}"),
            ("P(no failure until home)", f"{phases.flight[0]:.3f}"),
            ("P(encounter goes well)", f"{phases.encounter[0]:.3f}"),
            ("within the life it is built for", "yes" if phases.within_life[0] else "no: no credit"),
        ]
    hardware = float(tables.judged["hardware"][row].as_py())
    lines.append(("P(hardware works)", f"{hardware:.3f}"))
    relayed, designs = tables.chances.relayed[row : row + 1], design_names(study, one)
    groups = shared_groups(survival, column(one, "release_jd_tdb"), relayed, designs=designs)
    for g, name in enumerate(groups.names):
        if groups.mask[0] >> g & 1:
            said = f"{groups.fraction[g]:g} of its failures, {groups.fraction[g] * (1 - hardware):.3f}"
            lines.append((f"shared with {name}", said))
    return Step("7 Survival", tuple(lines))


def why_no_flyby(where: Where, row: pa.Table, body: Catalogue) -> list[str]:
    """The keys of a science row that a body of the catalogue does not satisfy."""
    return why_not(body, where)


def _rows_step(tables: _Tables, row: int, data: PlanData, *, body: Catalogue, kind: str) -> Step:
    chances = row_chances(_only(data, row))[0]
    lines = []
    for k, science_row in enumerate(tables.study.science.rows):
        lines.append(
            (f'"{science_row.name}"', _row_said(tables, row, k, body=body, kind=kind, chance=chances[k]))
        )
    return Step("8 Chance for each row", tuple(lines))


def _row_said(tables: _Tables, row: int, k: int, *, body: Catalogue, kind: str, chance: float) -> str:
    science_row = tables.study.science.rows[k]
    if science_row.where.kind != kind:
        against = [f"kind = {science_row.where.kind}, the encounter: {kind}"]
    else:
        lacks = ENCOUNTERS[kind].function("lacks")
        against = lacks(science_row.where, tables.opportunities.slice(row, 1), body)
    if against:
        return f"0: it asks {'; '.join(against)}"
    judged = tables.judged
    factors = {
        "hardware": judged["hardware"][row].as_py(),
        "data": judged["chance_returned"][row].as_py(),
        f"quality >= {science_row.quality_min:g}": judged[quality_column(science_row.quality_min)][
            row
        ].as_py(),
        "class": float(taxonomy_chances(body, science_row.where.taxonomy)[0]),
    }
    rests = [
        name for name, flag in rests_on(body, science_row.where, science_row.quality_min).items() if flag[0]
    ]
    told = " x ".join(f"{name} {value:.3f}" for name, value in factors.items())
    resting = [name for name in rests if name != "any"]
    return f"{chance:.3f} = {told}" + (f"; rests on assumed {', '.join(resting)}" if resting else "")


def _worth_step(study: Study, row: int, data: PlanData) -> Step:
    alone = _alone(data)
    rank = int((alone > alone[row]).sum()) + 1
    per_kg = alone / np.maximum(data.propellant_kg, 1e-9)
    rank_kg = int((per_kg > per_kg[row]).sum()) + 1
    shares = data.weight / data.baseline
    chances = row_chances(_only(data, row))[0]
    best = int(np.argmax(chances * shares))
    return Step(
        "9 Contribution to science",
        (
            ("flown alone", f"{alone[row]:.5f} of all science: sum over rows of weight x chance / baseline"),
            ("mostly by", f'"{study.science.rows[best].name}", {chances[best] * shares[best]:.5f}'),
            ("rank", f"{rank} of {len(alone)} opportunities; per kg of propellant {rank_kg}"),
        ),
    )


def _alone(data: PlanData) -> Floats:
    return row_chances(data) @ (data.weight / data.baseline)


def _propellant_step(study: Study, flown: dict[str, Any], judged: dict[str, Any]) -> Step:
    later = flown.get("later_m_s") or 0.0
    spent = ledger(
        flown["burn_m_s"] + later, probe=study.probe, margins=study.margins, correction_m_s=judged["dv99_m_s"]
    )
    return Step(
        "10 Propellant",
        (
            ("main burn", f"{float(spent.burn_m_s) - later:.2f} m/s"),
            *([("into the orbit, and its upkeep", f"{later:.2f} m/s")] if later else []),
            ("margin on it", f"{float(spent.deterministic_margin_m_s):.2f} m/s"),
            ("corrections, 99 %", f"{float(spent.dv99_m_s):.2f} m/s"),
            ("attitude with its margin", f"{float(spent.attitude_m_s):.2f} m/s"),
            ("in all", f"{float(spent.total_m_s):.2f} m/s of {carried_m_s(study):.2f} m/s carried"),
            ("consumed", f"{judged['propellant_kg']:.3f} kg"),
        ),
    )


def _only(data: PlanData, row: int) -> PlanData:
    """The data of one opportunity, for row chances."""
    start, end = data.merged_start[row], data.merged_start[row + 1]
    return data._replace(
        target=data.target[row : row + 1],
        hardware=data.hardware[row : row + 1],
        merged_start=np.array([0, end - start]),
        merged_set=data.merged_set[start:end],
        merged_chance=data.merged_chance[start:end],
    )
