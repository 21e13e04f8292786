"""The way down of entries that are drawn: height, loads and links against time, as the table `profiles`."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.entry.air_motion import DECEL, FLUX, HEIGHT, LOAD, PRESSURE, SPEED, TIME, X
from swarm.encounter.entry.entry_flown import Descent, descent_of
from swarm.encounter.entry.relay import Heard
from swarm.encounter.entry.setting import Setting, setting_at
from swarm.reach.approach.scene import Scene, scene_of
from swarm.run.tables.entering import PROFILE_COLUMNS
from swarm.study.schema import Study
from targets.masses.rotation import body_axes, place_over_ground

Floats = NDArray[np.float64]

# Moments that are kept: so far apart while loads are felt, and so far in the fall. Own choices.
_FELT_S, _FALL_S = 1.0, 20.0


def profiles_of(study: Study, opportunities: pa.Table) -> dict[str, pa.Table]:
    """The table `profiles` of rows of `opportunities`, as widened by `entries`; nothing where there are none."""
    if not opportunities.num_rows:
        return {}
    parts, known = [], dict[tuple[str, int, str], Setting]()
    with scene_of(study) as scene:
        for row in opportunities.to_pylist():
            key = (row["approach"], row["passage"], row["design"])
            if key not in known:
                known[key] = setting_of_row(scene, row)
            parts.append(_profile(row, known[key]))
    names = [column.name for column in PROFILE_COLUMNS]
    return {"profiles": pa.table({name: np.concatenate([part[name] for part in parts]) for name in names})}


def setting_of_row(scene: Scene, row: dict[str, Any]) -> Setting:
    """What a row of `entries` was flown in."""
    study = scene.study
    ask = next(each for each in study.approach if each.name == row["approach"])
    design = next(each for each in study.designs if each.name == row["design"])
    passage = dict(scene.asked(ask))[row["passage"]]
    return setting_at(scene, ask, design, passage)


def state_at_interface(row: dict[str, Any]) -> Floats:
    """(6,) from the body's centre, ICRF."""
    return np.array(
        [row[f"entry_{part}"] for part in ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")]
    )


def _profile(row: dict[str, Any], setting: Setting) -> dict[str, NDArray]:
    epoch, body = float(row["encounter_tdb_s"]), setting.passage.body
    way = descent_of(state_at_interface(row), epoch, setting)
    times = _moments(way)
    made = np.column_stack([np.interp(times, way.profile[:, TIME], column) for column in way.profile.T])
    places = made[:, X : X + 3] @ body_axes(body, epoch)[0]
    _, latitude, longitude = place_over_ground(body, places, epoch + times)
    return {
        "opportunity": np.full(len(times), row["opportunity"], dtype=np.int64),
        "time_s": times,
        "altitude_km": made[:, HEIGHT],
        "latitude_deg": latitude,
        "longitude_e_deg": longitude,
        "speed_km_s": made[:, SPEED],
        "pressure_bar": 1e-5 * made[:, PRESSURE],
        "decel_g": made[:, DECEL],
        "flux_w_cm2": made[:, FLUX],
        "load_j_cm2": made[:, LOAD],
        **_relayed(way.relay, times),
        "direct_bit_s": _at(way.direct, way.direct.rate_bit_s, times),
    }


def _moments(way: Descent) -> Floats:
    """Times between which lines are straight enough to be drawn, until the probe is lost; peaks among them."""
    time = way.profile[:, TIME]
    peaks = [float(time[np.argmax(way.profile[:, column])]) for column in (DECEL, FLUX)]
    felt = (
        float(time[np.flatnonzero(way.profile[:, DECEL] > 0.1)[-1]])
        if (way.profile[:, DECEL] > 0.1).any()
        else 0.0
    )
    until = min(max(peaks) + 60.0, felt, way.lost_s)
    fine, coarse = np.arange(0.0, until, _FELT_S), np.arange(until, way.lost_s, _FALL_S)
    return np.unique(np.concatenate([fine, coarse, [p for p in peaks if p <= way.lost_s], [way.lost_s]]))


def _relayed(relay: Heard | None, times: Floats) -> dict[str, Floats]:
    if relay is None:
        gap = np.full(len(times), np.nan)
        return {"relay_elevation_deg": gap, "relay_range_km": gap, "relay_bit_s": np.zeros(len(times))}
    return {
        "relay_elevation_deg": _at(relay, relay.elevation_deg, times),
        "relay_range_km": _at(relay, relay.range_km, times),
        "relay_bit_s": _at(relay, relay.rate_bit_s, times),
    }


def _at(heard: Heard, values: Floats, times: Floats) -> Floats:
    """Values at the moments; of steps of five seconds the one that has begun."""
    last = np.searchsorted(heard.time_s, times, side="right") - 1
    return values[np.clip(last, 0, len(values) - 1)]
