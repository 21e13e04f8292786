"""Why an entry is worth what it is worth, step by step: where it enters, its corridor, loads, what is heard of it."""

from __future__ import annotations

import math
from typing import Any

from swarm.decide.explain_pass import steering_step
from swarm.decide.steps import Step
from swarm.encounter.entry.entry_worth import depth_score, most_mbit, shell_settings
from swarm.encounter.entry.heating import NOT_IN_NUMBER
from swarm.study.schema import Study
from targets.catalogue.reading import Catalogue

Flown = dict[str, Any]

_EDGES = {
    "skip": "it skips out of the atmosphere",
    "g": "deceleration over entry.decel_limit_g",
    "flux": "heat flux over entry.heat_flux_limit_w_cm2",
    "load": "heat load over entry.heat_load_limit_j_cm2",
    "none": "nothing limits it",
}
_LOST = {
    "end": "the end of what is looked at (end_bar)",
    "pressure": "pressure over entry.survives_bar",
    "heat": "hotter than entry.survives_kelvin",
    "battery": "the battery is empty (entry.survives_hours)",
    "ground": "it is on the ground",
    "skip": "it leaves the atmosphere again",
}


def entry_steps(study: Study, flown: Flown, judged: Flown, body: Catalogue) -> list[Step]:
    """How a probe of one design enters an atmosphere, what it bears, and what is heard before it is lost."""
    steps = [
        _interface_step(flown),
        _corridor_step(flown),
        _delivery_step(flown, judged),
        _loads_step(study, flown),
        _heard_step(study, flown),
    ]
    return steps if flown["steer"] in (None, "probe") else [*steps, steering_step(study, flown)]


def _interface_step(flown: Flown) -> Step:
    lines = (
        (
            "asked for by",
            f"approach {flown['approach']}, passage {flown['passage']}, in the field of {flown['center']}",
        ),
        (
            "burn",
            f"{flown['burn_m_s']:.3g} m/s, {flown['days_before']:g} d before the mothership passes (release)",
        ),
        (
            "at the interface",
            f"{flown['interface_km']:g} km, {flown['arrival_offset_s'] / 60.0:+.0f} min from its closest approach",
        ),
        (
            "speed",
            f"{flown['v_entry_inertial_km_s']:.3f} km/s, {flown['v_entry_relative_km_s']:.3f} km/s against the air",
        ),
        (
            "angle below the horizon",
            f"{flown['angle_inertial_deg']:.2f} deg, {flown['angle_deg']:.2f} deg against the air",
        ),
        (
            "place",
            f"latitude {flown['latitude_deg']:.1f} deg, longitude {flown['longitude_e_deg']:.1f} deg E, "
            f"{flown['local_solar_h']:.1f} h local solar time, Sun {flown['sun_elevation_deg']:.0f} deg high",
        ),
    )
    return Step("2 Entry", lines)


def _corridor_step(flown: Flown) -> Step:
    lines = (
        ("shallow edge", f"{_deg(flown['corridor_shallow_deg'])}: {_EDGES[flown['shallow_limit']]}"),
        ("steep edge", f"{_deg(flown['corridor_steep_deg'])}: {_EDGES[flown['steep_limit']]}"),
        ("angle, 1 sigma", f"{flown['angle_sigma_deg']:.3g} deg"),
        ("law", "sigma_angle = sigma_B v_inf / (r v sin(angle)); edges by bisection on the flown way down"),
        ("chance to be between", f"{flown['corridor_chance']:.4f}, over delivery and density of the air"),
        ("limited by", flown["limited_by"]),
    )
    return Step("3 Corridor", lines)


def _delivery_step(flown: Flown, judged: Flown) -> Step:
    b = math.hypot(flown["b_t_km"], flown["b_r_km"])
    lines = (
        ("aim point", f"B.T {flown['b_t_km']:.2f} km, B.R {flown['b_r_km']:.2f} km: {b:.2f} km, "
                      f"clock angle {flown['clock_deg']:g} deg from T towards R"),
        ("law", "|B| = r v cos(angle) / v_inf (Kizner 1961), then Newton's method in the field to 0.01 km and 1 s"),
        ("corrections", f"{judged['corrections']}, 99 % within {judged['dv99_needed_m_s']:.2f} m/s"),
        ("can be flown in", f"{100.0 * judged['delivered_chance']:.0f} % of the samples"),
    )  # fmt: skip
    return Step("4 Delivery", lines)


def _loads_step(study: Study, flown: Flown) -> Step:
    shell = shell_settings(study)
    flux = flown["flux_convective_w_cm2"] + flown["flux_radiative_w_cm2"]
    known = "" if flown["heating_known"] else f"; {NOT_IN_NUMBER}"
    lines = (
        (
            "deceleration",
            f"{flown['peak_g']:.0f} g at {flown['peak_g_altitude_km']:.0f} km, bears "
            f"{_limit(shell.decel_limit_g, 'g')}",
        ),
        ("dynamic pressure", f"{flown['peak_q_kpa']:.0f} kPa"),
        (
            "heat flux at the nose",
            f"{flux:.0f} W/cm^2, bears {_limit(shell.heat_flux_limit_w_cm2, 'W/cm^2')}{known}",
        ),
        (
            "heat load there",
            f"{flown['heat_load_j_cm2']:.0f} J/cm^2, bears {_limit(shell.heat_load_limit_j_cm2, 'J/cm^2')}",
        ),
        (
            "law",
            "q = k sqrt(rho / R_n) V^3 (Sutton, Graves 1971, NASA TR R-376), cold wall; drag alone, no ablation",
        ),
    )
    return Step("4b Loads", lines)


def _heard_step(study: Study, flown: Flown) -> Step:
    shell = shell_settings(study)
    depth = depth_score(flown["reached_bar"], flown["bar_full"])
    relay = flown["relay_mbit"]
    home = most_mbit(math.nan if relay is None else relay, flown["direct_mbit"])
    lines = [
        ("lost", f"at {flown['reached_bar']:.3g} bar, {flown['descent_min']:.0f} min after the interface: "
                 f"{_LOST[flown['lost']]}"),
        ("depth", f"{depth:.3f}: by the logarithm of pressure, full at {flown['bar_full']:g} bar"),
        ("by the mothership", "its way past is not known" if relay is None or math.isnan(relay) else
         f"{relay:.3g} Mbit in {flown['relay_min']:.1f} min"),
        ("straight to the Earth", f"{flown['direct_mbit']:.3g} Mbit in {flown['direct_min']:.1f} min"),
        ("share that comes home", f"{min(home / shell.data_mbit, 1.0):.3f} of {shell.data_mbit:g} Mbit; at least "
                                  f"{shell.data_least_mbit:g} are worth having"),
        ("law", "quality = depth x share; bits are the integral of the link's rate while the receiver is over the "
                "horizon, until the probe is lost"),
    ]  # fmt: skip
    return Step("4c Heard", tuple(lines))


def _deg(value: float | None) -> str:
    return "none" if value is None or math.isnan(value) else f"{value:.2f} deg"


def _limit(value: float | None, unit: str) -> str:
    return "any" if value is None else f"{value:g} {unit}"
