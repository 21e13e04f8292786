"""`swarm passages`: where the mothership passes a body with mass, and what a low pass there would take."""

from __future__ import annotations

import numpy as np

from swarm.app.low_passes import approach_lines
from swarm.encounter.pass_geometry import pass_geometry
from swarm.reach.approach.needs import low_pass_needs
from swarm.reach.approach.passage import Passage
from swarm.reach.approach.scene import Scene, scene_of
from swarm.study.kind_names import LOW_PASS, ORBIT
from swarm.study.schema import Study
from targets.base.constants import AU_KM
from targets.base.timescale import iso_of_tdb_s
from targets.base.vectors import angle_deg
from targets.masses.massive import MASSES, SUN
from targets.masses.where import Ephemeris

DAYS_BEFORE = (30.0, 10.0, 3.0)
# A height that most asks lie near, above what must not be touched: own choice.
HEIGHT_KM, ABOVE_LOWEST_KM = 100.0, 25.0


def passage_lines(study: Study) -> list[str]:
    """Sentences for people, a block a passage."""
    with scene_of(study) as scene:
        lines = []
        for number, each in enumerate(scene.found, 1):
            lines += [
                f"{number}. {_sentence(each)}",
                *_where(each),
                f"   places: {_places(each, scene.ephemeris)}",
            ]
            height = max(HEIGHT_KM, each.body.lowest_km + ABOVE_LOWEST_KM)
            needs = low_pass_needs(
                each,
                scene.states,
                altitude_km=height,
                days_before=DAYS_BEFORE,
                first_tdb_s=scene.span_tdb_s[0],
                ephemeris=scene.ephemeris,
            )
            asked = "; ".join(
                f"{need.days_before:g} d before {need.burn_m_s:.3g} m/s"
                if not need.why_not
                else f"{need.days_before:g} d before none ({need.why_not})"
                for need in needs
            )
            lines.append(f"   low pass at {height:g} km takes, at least: {asked or 'too early in the study'}")
        if not scene.found:
            lines = ["the mothership passes no planet or moon", *_how_near(scene)]
        for ask in study.approach:
            if ask.kind == LOW_PASS:
                lines += ["", *approach_lines(scene, ask)]
            elif ask.kind == ORBIT:
                told = f"an orbit about {ask.body}; swarm lifetime STUDY says what it comes to"
                lines += ["", f"{ask.name}: {told}"]
            else:
                lines += [
                    "",
                    f"{ask.name}: entries of {ask.body}; swarm corridor STUDY says what they come to",
                ]
    return lines


def _sentence(each: Passage) -> str:
    date = iso_of_tdb_s(each.closest_tdb_s)
    speed = float(np.linalg.norm(each.v_inf_km_s))
    how = f"v_inf {speed:.3f} km/s" if np.isfinite(speed) else "bound to it"
    if not np.isfinite(each.distance_km):
        return f"{date}: meets {each.body.name} (its centre, by a two-body leg), {how}"
    return f"{date}: passes {each.body.name} at {each.distance_km - each.body.radius_km:.0f} km, {how}"


def _where(each: Passage) -> list[str]:
    """Light, and the ground below where the path has a closest approach."""
    earth_au = float(np.linalg.norm(each.earth_km)) / AU_KM
    apart = float(angle_deg((each.sun_km - each.earth_km)[None], (-each.earth_km)[None])[0])
    sun_au = float(np.linalg.norm(each.sun_km)) / AU_KM
    seen = f"Sun at {sun_au:.2f} au"
    if each.body.name != "Earth":
        seen += f", Earth at {earth_au:.2f} au; seen from there {apart:.0f} deg from the Sun"
    phase = float(angle_deg(each.sun_km[None], -each.v_inf_km_s[None])[0])
    if np.isfinite(phase):
        seen += f", approached at phase {phase:.0f} deg"
    if not np.isfinite(each.distance_km):
        return [f"   {seen}"]
    below = pass_geometry(each.body, each.relative, each.closest_tdb_s, each.sun_km)
    return [
        f"   {seen}",
        f"   over latitude {below.latitude_deg[0]:.1f} deg, longitude {below.longitude_e_deg[0]:.1f} deg E, "
        f"Sun {below.sun_elevation_deg[0]:.0f} deg over the horizon, {below.periapsis_speed_km_s[0]:.3f} km/s",
    ]


def _places(each: Passage, ephemeris: Ephemeris) -> str:
    known = ephemeris.whereabouts(each.body)
    moved = "; it moves date and place of the pass, not its shape" if known.approximate else ""
    return f"{known.ephemeris}, to {known.error_km:.3g} km{moved}"


def _how_near(scene: Scene) -> list[str]:
    near = [(scene.nearest(body.name), body) for body in MASSES if body.parent == SUN]
    least, body = min(near, key=lambda pair: pair[0].distance_km)
    return [
        f"   nearest: {body.name}, {least.distance_km / AU_KM:.3f} au on {iso_of_tdb_s(least.tdb_s)}; "
        f"its sphere of influence is {body.influence_km / AU_KM:.4f} au"
    ]
