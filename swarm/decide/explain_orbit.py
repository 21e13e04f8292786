"""Why an orbit is worth what it is worth, step by step: arrival, way in, life, what is seen, how it ends."""

from __future__ import annotations

from typing import Any

import pyarrow as pa

from swarm.decide.explain_pass import arrival_steps
from swarm.decide.steps import Step
from swarm.encounter.orbit.orbit_tables import band_of, orbit_fits
from swarm.study.approach_relations import KEYS_OF_ROWS
from swarm.study.kind_names import ORBIT
from swarm.study.schema import Study
from swarm.study.sections.science import Where
from targets.catalogue.reading import Catalogue


def orbit_steps(study: Study, flown: dict[str, Any], judged: dict[str, Any], body: Catalogue) -> list[Step]:
    """How a probe of one design gets into an orbit about a planet or moon, and what that comes to."""
    return [
        *arrival_steps(flown, judged), _way_in_step(flown), _life_step(study, flown), _seen_step(flown),
        _chance_step(flown, judged),
    ]  # fmt: skip


def _way_in_step(flown: dict[str, Any]) -> Step:
    lines = [
        ("orbit", f"{flown['periapsis_km']:g} x {flown['apoapsis_km']:g} km, inclination "
                  f"{flown['inclination_deg']:.1f} deg, periapsis at {flown['argp_deg']:.0f} deg from the node, "
                  f"{flown['period_h']:.2f} h a revolution"),
    ]  # fmt: skip
    if flown["capture"] == "impulsive":
        parts = ", ".join(
            f"{speed:.1f} m/s in {seconds:.0f} s"
            for speed, seconds in zip(flown["burn_parts_m_s"], flown["burn_lengths_s"], strict=True)
        )
        lines += [
            ("burns at periapsis", parts),
            ("law", "sqrt(v_inf^2 + 2 mu/r_p) - sqrt(mu (2/r_p - 1/a)), planes turned by the difference of vectors"),
            ("finite burns lose", f"{flown['finite_loss_m_s']:.1f} m/s: dv (mu/r_p^3) t^2/24 (Robbins 1966)"),
        ]  # fmt: skip
    else:
        lines += [
            ("spiral", f"at most {flown['spiral_m_s']:.0f} m/s in {flown['spiral_days']:.0f} d, duty and shadow in it"),
            ("of that, excess speed", f"{flown['excess_m_s']:.0f} m/s, taken off far out: an upper bound"),
            ("law", "circle to circle by Edelbaum (1961), then thrust about apoapsis by Gauss's equations"),
        ]  # fmt: skip
    return Step("5 Way in", tuple(lines))


def _life_step(study: Study, flown: dict[str, Any]) -> Step:
    ask = next((each for each in study.approach if each.name == flown["approach"]), None)
    kept = "kept up once a turn of the body" if ask is not None and ask.maintain else "let go"
    lines = (
        ("model", "mean elements, averaged over a revolution: zonals, C22 and all terms given, Sun, parent"),
        ("upkeep", f"{kept}: {flown['maintain_m_s']:.1f} m/s of {flown['left_m_s']:.0f} m/s left"),
        ("lowest", f"{flown['least_km']:.1f} km over the ellipsoid, {flown['clearance_km']:.1f} over highest ground"),
        ("science ends", f"after {flown['science_days']:.1f} d: {flown['ended']}"),
    )  # fmt: skip
    return Step("5b Life", lines)


def _seen_step(flown: dict[str, Any]) -> Step:
    lines = [("low, anywhere", f"{flown['hours_below']:.1f} h in {flown['passes_below']:.0f} passes")]
    names = ("band_south_deg", "band_north_deg", "band_hours", "band_passes", "band_sigma", "band_pixel_m")
    for south, north, hours, passes, sigma, pixel in zip(*(flown[name] for name in names), strict=True):
        camera = f"{pixel:.2g} m a pixel at the lowest" if pixel else "never low there"
        lines.append(
            (
                f"latitudes {south:g} to {north:g} deg",
                f"{hours:.1f} h in {passes:.0f} passes, {sigma:.2f} sigma, {camera}",
            )
        )
    return Step("5c Seen", tuple(lines))


def _chance_step(flown: dict[str, Any], judged: dict[str, Any]) -> Step:
    lines = (
        ("insertion works", f"{flown['insertion_success']:.3f}"),
        ("height is over the ground", f"{flown['harmless_chance']:.4f}, 1 sigma {flown['sigma_altitude_km']:.3g} km"),
        ("corrections can be paid", f"{judged['delivered_chance']:.3f}"),
        ("impact", "1: what stays there comes down there, and disposal is not planned"),
    )  # fmt: skip
    return Step("5d Chance", lines)


def why_no_orbit(where: Where, row: pa.Table, targets: Catalogue) -> list[str]:
    """The keys of a science row that an orbit does not satisfy, with what it is like."""
    told = []
    band = {"latitude_deg": where.latitude_deg}
    for key in KEYS_OF_ROWS[ORBIT]:
        asked = getattr(where, key)
        if asked is None or key == "latitude_deg":
            continue
        if not orbit_fits(Where(kind="orbit", **{**band, key: asked}), row, targets)[0]:
            told.append(f"{key} = {asked}, the orbit: {_like(where, row, key)}")
    if not told and not orbit_fits(where, row, targets)[0]:
        told.append("an orbit that is low in its latitudes: it never is")
    return told


def _like(where: Where, row: pa.Table, key: str) -> str:
    flown = row.to_pylist()[0]
    if key == "body":
        return str(flown["target"])
    bands = list(zip(flown["band_south_deg"], flown["band_north_deg"], strict=True))
    column = {
        "hours_below_min": "band_hours",
        "count_sigma_min": "band_sigma",
        "resolution_m_max": "band_pixel_m",
    }[key]
    value = flown[column][bands.index(band_of(where))] if band_of(where) in bands else 0.0
    return f"{value:.4g}"
