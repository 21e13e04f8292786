"""What the page draws of low passes and no other stage keeps: paths near the body, ground tracks, worth by height.

Made by the stage that searches, for the passes that some plan of its front flies, so that the page computes nothing.
"""

from __future__ import annotations

import math
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.pass_impact import impact_radius_km
from swarm.encounter.pass_table import cases_of_table
from swarm.encounter.pass_worth import PassCases, worth_of
from swarm.reach.approach.about import field_about, index_of
from swarm.reach.approach.field import OK, PlanetField, move_to, relative_to
from swarm.reach.approach.scene import ephemeris_of
from swarm.refine.pass_path import impulse_km_s, unburned_state
from swarm.study.whole_study import ONE_DESIGN
from targets.masses.massive import SUN, Mass, mass_named, planet_of
from targets.masses.rotation import body_axes, place_over_ground
from targets.masses.where import Ephemeris

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]

# Points of a path and of a ground track; straight lines between them are within a line's width of the path.
_POINTS, _TERMINATOR_POINTS = 81, 73
# A moon is drawn for a sixth of its period, a planet within so many radii; the ground within so many radii of a pass.
_SHARE_OF_PERIOD, _RADII, _GROUND_RADII = 1.0 / 6.0, 12.0, 3.0
# Heights at which a pass is judged again, to so many times its own.
_HEIGHTS, _TIMES_HIGHER = 25, 4.0
_NO_PATH_KM = 1e8  # a two-body leg that meets the planet's centre: no path of the mothership is known there


def pass_tables(study: Study, opportunities: pa.Table) -> dict[str, pa.Table]:
    """Tables `pass_paths`, `ground_tracks` and `pass_trade`.

    opportunities : low passes, as widened by `passes`
    """
    ephemeris = ephemeris_of(study)
    rows = opportunities.to_pylist()
    fields = _fields(rows, ephemeris)
    paths, grounds, trades = [], [], []
    for k, row in enumerate(rows):
        body = mass_named(row["target"])
        field = fields[planet_of(body).name]
        # denser near the pass
        epochs = float(row["encounter_tdb_s"]) + _window_s(row) * np.linspace(-1.0, 1.0, _POINTS) ** 3
        paths += _near(row, "probe", *_flown(row, epochs, field, ephemeris), field, ephemeris)
        if abs(row["unburned_t_km"]) < _NO_PATH_KM:
            unburned = _flown(row, epochs, field, ephemeris, burnt=False)
            paths += _near(row, "mothership", *unburned, field, ephemeris)
        grounds.append(_ground(row, field, ephemeris))
        alone = study.of_design(row.get("design") or ONE_DESIGN)
        trades.append(_trade(alone, cases_of_table(opportunities.slice(k, 1)), row))
    return {
        "pass_paths": pa.concat_tables(paths),
        "ground_tracks": pa.concat_tables(grounds),
        "pass_trade": pa.concat_tables(trades),
    }


def _fields(rows: list[dict[str, Any]], ephemeris: Ephemeris) -> dict[str, PlanetField]:
    """One field a planet, over all dates: a field is dearer than the flights in it."""
    spans: dict[str, tuple[float, float]] = {}
    for row in rows:
        body = mass_named(row["target"])
        name, room = planet_of(body).name, _window_s(row) + 60.0
        first, last = spans.get(name, (math.inf, -math.inf))
        spans[name] = min(first, row["burn_tdb_s"] - 60.0), max(last, row["encounter_tdb_s"] + room)
    return {name: field_about(mass_named(name), *span, ephemeris) for name, span in spans.items()}


def _window_s(row: dict[str, Any]) -> float:
    """How long before and after the pass it is drawn."""
    body = mass_named(row["target"])
    if body.parent == SUN:
        return _RADII * body.radius_km / float(row["v_inf_km_s"])
    period_s = 2.0 * math.pi * math.sqrt(body.distance_km**3 / planet_of(body).gm_km3_s2)
    return 0.5 * _SHARE_OF_PERIOD * period_s


# --- paths ---------------------------------------------------------------------------------------------------


def _flown(
    row: dict[str, Any], epochs: Floats, field: PlanetField, ephemeris: Ephemeris, *, burnt: bool = True
) -> tuple[Floats, Floats]:
    """Those of the epochs, rising, that the path leads to after the burn's date; states about the planet."""
    y, t = unburned_state(row, ephemeris), float(row["burn_tdb_s"])
    if burnt:
        y[3:] += impulse_km_s(row)
    kept, states = [], []
    for epoch in epochs[epochs > t]:
        if move_to(y, t, float(epoch), field) != OK:
            break
        t = float(epoch)
        kept.append(t)
        states.append(y.copy())
    return np.array(kept), np.array(states).reshape(-1, 6)


def _near(
    row: dict[str, Any], what: str, epochs: Floats, states: Floats, field: PlanetField, ephemeris: Ephemeris
) -> list[pa.Table]:
    """A path about the planet and, where a moon is passed, about the moon, and the moon's own."""
    body = mass_named(row["target"])
    planet, met = planet_of(body), float(row["encounter_tdb_s"])
    to_planet = _axes(planet, met, ephemeris)
    made = [_points(row, planet.name, what, epochs, states[:, :3] @ to_planet.T)]
    if body is not planet:
        own = np.array([
            relative_to(index_of(body), t, y, field)[:3] for t, y in zip(epochs, states, strict=True)
        ]).reshape(-1, 3)  # fmt: skip
        if what == "probe":
            made.append(_points(row, planet.name, body.name, epochs, (states[:, :3] - own) @ to_planet.T))
        made.append(_points(row, body.name, what, epochs, own @ _axes(body, met, ephemeris).T))
    return made


def _axes(body: Mass, tdb_s: float, ephemeris: Ephemeris) -> Floats:
    """Rows x, y, z: towards the Sun in the body's equator, across, its pole."""
    at = np.array([tdb_s])
    pole, sun = body_axes(body, at)[0, 2], -ephemeris.about_sun(body, at)[0, :3]
    x = sun - (sun @ pole) * pole
    x = x / np.linalg.norm(x)
    return np.stack([x, np.cross(pole, x), pole])


def _points(row: dict[str, Any], about: str, what: str, epochs: Floats, places_km: Floats) -> pa.Table:
    n = len(epochs)
    return pa.table(
        {
            "opportunity": np.full(n, row["opportunity"], dtype=np.int64),
            "about": pa.array([about] * n, pa.string()),
            "what": pa.array([what] * n, pa.string()),
            "tdb_s": epochs,
            **{f"{axis}_km": places_km[:, k].copy() for k, axis in enumerate("xyz")},
        }
    )


# --- the ground ----------------------------------------------------------------------------------------------


def _ground(row: dict[str, Any], field: PlanetField, ephemeris: Ephemeris) -> pa.Table:
    """The track below the probe near the pass, and where the Sun then stands on the horizon and overhead."""
    body, met = mass_named(row["target"]), float(row["encounter_tdb_s"])
    room = _GROUND_RADII * body.radius_km / float(row["periapsis_speed_km_s"])
    epochs, states = _flown(row, np.linspace(met - room, met + room, _POINTS), field, ephemeris)
    own = np.array(
        [relative_to(index_of(body), t, y, field)[:3] for t, y in zip(epochs, states, strict=True)]
    )
    altitude, latitude, longitude = place_over_ground(body, own.reshape(-1, 3), epochs)
    at = np.array([met])
    sun = body_axes(body, at)[0] @ -ephemeris.about_sun(body, at)[0, :3]
    sun = sun / np.linalg.norm(sun)
    # latitudes of normals: where the ground's own normal is at a right angle to the Sun
    across = np.cross(sun, [0.0, 0.0, 1.0])
    across = across / np.linalg.norm(across)
    turn = np.linspace(0.0, 2.0 * math.pi, _TERMINATOR_POINTS)
    edge = np.outer(np.cos(turn), across) + np.outer(np.sin(turn), np.cross(sun, across))
    normals = np.vstack([edge, sun])
    n, m = len(epochs), len(edge)
    return pa.table(
        {
            "opportunity": np.full(n + m + 1, row["opportunity"], dtype=np.int64),
            "what": pa.array(["track"] * n + ["terminator"] * m + ["sun"], pa.string()),
            "tdb_s": np.concatenate([epochs, np.full(m + 1, met)]),
            "latitude_deg": np.concatenate(
                [latitude, np.degrees(np.arcsin(np.clip(normals[:, 2], -1.0, 1.0)))]
            ),
            "longitude_e_deg": np.concatenate(
                [longitude, np.degrees(np.arctan2(normals[:, 1], normals[:, 0])) % 360.0]
            ),
            "altitude_km": np.concatenate([altitude, np.full(m + 1, np.nan)]),
        }
    )


# --- worth by height -----------------------------------------------------------------------------------------


def _trade(alone: Study, case: PassCases, row: dict[str, Any]) -> pa.Table:
    """The pass aimed at other heights along its clock angle, judged with the errors it has."""
    body, lowest = case.mass(0), float(case.lowest_km[0])
    own = float(np.linalg.norm(case.b_km[0]))
    least = row.get("lowest_altitude_for_limit_km")
    high = _TIMES_HIGHER * max(float(row["altitude_km"]), least if least and math.isfinite(least) else 0.0)
    heights = lowest + 1.0 + max(high - lowest, 10.0) * np.linspace(0.0, 1.0, _HEIGHTS) ** 2
    aims = [
        float(impact_radius_km(body, float(case.v_inf_km_s[0]), terrain_km=float(height)))
        for height in heights
    ]
    n = len(heights)
    wide: dict[str, Any] = {
        each.name: value * n if isinstance(value, tuple) else np.repeat(value, n, axis=0)
        for each in fields(case)
        if isinstance(value := getattr(case, each.name), (tuple, np.ndarray))
    }
    cases = replace(case, **wide | {"b_km": np.outer(aims, case.b_km[0] / own)})
    worth = worth_of(alone, cases)
    return pa.table(
        {
            "opportunity": np.full(n, row["opportunity"], dtype=np.int64),
            "altitude_km": heights,
            "expected_quality": worth.expected_quality,
            "shown_chance": worth.shown_chance,
            "impact_chance": worth.impact_chance,
        }
    )
