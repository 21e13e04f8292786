"""Why a low pass is worth what it is worth, step by step: the place, the pass, the aim, what may hit the ground."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from swarm.decide.steps import Step
from swarm.run.kinds import ENCOUNTERS
from swarm.study.approach_relations import KEYS_OF_ROWS, impact_limit
from swarm.study.kind_names import LOW_PASS
from swarm.study.schema import Study
from swarm.study.sections.science import Where
from targets.catalogue.reading import Catalogue
from targets.masses.massive import mass_named

# What a kind of encounter is called in a sentence.
_CALLED = {LOW_PASS: "pass"}


def place_step(name: str) -> Step:
    """What is known of a planet or moon."""
    body = mass_named(name)
    lines = [
        ("GM", f"{body.gm_km3_s2:.6g} km^3/s^2"),
        ("radii", f"{body.radius_km:g} km at the equator, {body.polar_radius_km:g} km at the poles"),
        ("moves about", body.parent),
        ("highest ground", f"{body.terrain_km:g} km over the ellipsoid"),
    ]
    if body.interface_km is not None:
        lines.append(("atmosphere", f"begins at {body.interface_km:g} km: lower is an entry"))
    if body.may_harbour_life:
        lines.append(("protection", "may harbour life: an impact is a concern of planetary protection"))
    return Step("1 Place", tuple(lines))


def pass_steps(study: Study, flown: dict[str, Any], judged: dict[str, Any], body: Catalogue) -> list[Step]:
    """How a probe of one design passes a planet or moon, where it is aimed, and what its arrival is known to."""
    steps = [*arrival_steps(flown, judged), _impact_step(study, flown)]
    return steps if flown["steer"] in (None, "probe") else [*steps, steering_step(study, flown)]


def arrival_steps(flown: dict[str, Any], judged: dict[str, Any]) -> list[Step]:
    """The lowest point, the aim, and what the arrival is known to: of a pass, or of an orbit that begins there."""
    return [_pass_step(flown), _aim_step(flown), _delivery_step(flown, judged)]


def steering_step(study: Study, flown: dict[str, Any]) -> Step:
    """What the mothership does that steers for a probe, and what it risks."""
    ship = study.mothership
    how = {
        "carrier": "it aims for the probe, which burns nothing, lets it go, and diverts",
        "spin": "the probe leaves its rim at the clock angle of the aim point; it burns for the rest, and diverts",
    }[flown["steer"]]
    tank = (
        "no limit" if ship.propellant_kg is None else f"of {ship.propellant_kg:g} kg for all probes of a plan"
    )
    counted = "counts" if study.protection.carrier_included else "does not count"
    lines = (
        ("who steers", f"the mothership: {how}"),
        (
            "burns",
            f"{flown['carrier_out_m_s']:.3g} m/s to aim, {flown['carrier_back_m_s']:.3g} m/s to be back",
        ),
        (
            "law",
            "m (exp((out + back)/(g0 Isp)) - 1), for this probe alone: an upper bound where moves are shared",
        ),
        ("propellant", f"{flown['carrier_propellant_kg']:.3g} kg {tank}"),
        ("on the probe's course", f"{flown['impact_course_days']:g} d"),
        (
            "chance that it hits",
            f"{flown['carrier_impact_chance']:.2g}: it fails to divert with {ship.divert_failure:g}, and then hits as "
            f"a probe without corrections; {counted} against protection.impact_chance_max",
        ),
    )
    return Step("4d Mothership", lines)


def _pass_step(flown: dict[str, Any]) -> Step:
    counts = flown.get("count_sigma")
    lines = [
        (
            "asked for by",
            f"approach {flown['approach']}, passage {flown['passage']}, in the field of {flown['center']}",
        ),
        (
            "burn",
            f"{flown['burn_m_s']:.3g} m/s, {flown['days_before']:g} d before the mothership passes (release)",
        ),
        ("height at the lowest point", f"{flown['altitude_km']:.2f} km over the ellipsoid"),
        (
            "ground below",
            f"latitude {flown['latitude_deg']:.1f} deg, longitude {flown['longitude_e_deg']:.1f} deg E",
        ),
        ("Sun over the horizon", f"{flown['sun_elevation_deg']:.0f} deg"),
        (
            "speed",
            f"{flown['periapsis_speed_km_s']:.3f} km/s, {flown['ground_speed_km_s']:.3f} km/s over the ground",
        ),
        ("within 100 km for", f"{flown['dwell_s']:.1f} s"),
        ("pixel straight below", f"{flown['pixel_m']:.3g} m, smeared over {flown['smear_px']:.2f} pixels"),
    ]
    if counts is not None and np.isfinite(counts):
        lines.append(
            ("counter", f"what it looks for stands out by {counts:.3g} sigma: Z = f(h) d sqrt(C 2 h / speed)")
        )
    return Step("2 Pass", tuple(lines))


def _aim_step(flown: dict[str, Any]) -> Step:
    b = float(np.hypot(flown["b_t_km"], flown["b_r_km"]))
    lines = (
        ("aim point", f"B.T {flown['b_t_km']:.2f} km, B.R {flown['b_r_km']:.2f} km: {b:.2f} km, "
                      f"clock angle {flown['clock_deg']:g} deg from T towards R"),
        ("law", "|B| = r_p sqrt(1 + 2 mu / (r_p v_inf^2)) (Kizner 1961), then Newton's method in the field to 0.01 km"),
        ("speed at infinity", f"{flown['v_inf_km_s']:.3f} km/s"),
    )  # fmt: skip
    return Step("3 Aim", lines)


def _delivery_step(flown: dict[str, Any], judged: dict[str, Any]) -> Step:
    lines = (
        ("arrival, 1 sigma", f"{flown['sigma_major_km']:.3g} x {flown['sigma_minor_km']:.3g} km in the B-plane, "
                             f"after {judged['corrections']} corrections"),
        ("height flown, 1 sigma", f"{flown['sigma_altitude_km']:.3g} km"),
        ("place of the body", f"known to {flown['ephemeris_sigma_km']:g} km, 1 sigma"),
        ("corrections, 99 %", f"{judged['dv99_needed_m_s']:.2f} m/s"),
        ("can be flown in", f"{100.0 * judged['delivered_chance']:.0f} % of the samples"),
    )  # fmt: skip
    return Step("4 Delivery", lines)


def _impact_step(study: Study, flown: dict[str, Any]) -> Step:
    ask = next((each for each in study.approach if each.name == flown["approach"]), None)
    limit = None if ask is None else impact_limit(study, ask)
    least = flown["lowest_altitude_for_limit_km"]
    lines = [
        (
            "chance",
            f"{flown['impact_chance']:.3g} that the probe hits, corrections flown or dead before them",
        ),
        ("law", "P = sum of P(state) P(|B| < impact disc), an exact integral of the arrival's ellipse"),
        ("highest ground", f"{flown['lowest_km']:g} km"),
        (
            "limit",
            "none" if limit is None else f"{limit:g} for the row; the sum of a plan has the same limit",
        ),
    ]
    if least is not None and np.isfinite(least):
        lines.append(("least height that keeps it", f"{least:.1f} km at this clock angle"))
    lines.append(("later", _later(study, flown)))
    return Step("4b Impact", tuple(lines))


def _later(study: Study, flown: dict[str, Any]) -> str:
    chance, years = flown.get("later_impact_chance") or 0.0, study.protection.bound_years
    if not chance:
        return (
            "does not stay bound to the planet, or its later passes are not counted (protection.bound_years)"
        )
    return (
        f"{chance:.3g} that it stays bound to the planet and hits within {years:g} years (Opik 1951), counted against "
        "the limit: disposal is not planned here"
    )


def why_no_pass(where: Where, row: pa.Table, targets: Catalogue) -> list[str]:
    """The keys of a science row that an encounter with a place does not satisfy, with what it is like."""
    told, fits = [], ENCOUNTERS[where.kind].function("fits")
    for key in KEYS_OF_ROWS[where.kind]:
        asked = getattr(where, key)
        if asked is not None and not fits(Where(kind=where.kind, **{key: asked}), row, targets)[0]:
            told.append(f"{key} = {asked}, the {_CALLED.get(where.kind, where.kind)}: {_like(row, key)}")
    return told


def _like(row: pa.Table, key: str) -> str:
    column = {
        "body": "target", "altitude_km_max": "altitude_km", "longitude_deg": "longitude_e_deg",
        "resolution_m_max": "pixel_m", "dwell_s_min": "dwell_s", "local_time_h": "local_solar_h",
        "bar_min": "reached_bar", "count_sigma_min": "count_sigma",
    }.get(key, key)  # fmt: skip
    value = row[column][0].as_py()
    if value is None or value != value:
        return "none"
    return value if isinstance(value, str) else f"{value:.4g}"
