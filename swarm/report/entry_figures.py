"""Figures of entries: corridors with their sigmas, the way down, sites with the terminator, what limits each row.

They show the entries of the plan that the study's rule chooses; where it has none, those of the plan of the front
with the most.
"""

from __future__ import annotations

import math
from collections import Counter
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from swarm.report.figure_parts import SYMBOLS, Axis, Figure, Layer
from swarm.report.page_tables import PageTables, plan_rows
from targets.masses.massive import mass_named
from targets.masses.rotation import place_over_ground

TONES = ("leaf", "bloom", "sky", "bark", "ink")
# Loads are drawn until they are over by so much: the fall takes an hour.
_AFTER_PEAK_S = 40.0
_HEARD = "heard by the mothership"

# What stands beside figures as a table.
_CORRIDOR = [
    "opportunity", "angle_inertial_deg", "angle_sigma_deg", "corridor_shallow_deg", "shallow_limit",
    "corridor_steep_deg", "steep_limit", "corridor_chance",
]  # fmt: skip
_SITE = ["opportunity", "latitude_deg", "longitude_e_deg", "local_solar_h", "sun_elevation_deg"]


def entry_figures(tables: PageTables) -> list[Figure]:
    """The figures of a run that has entries; none elsewhere."""
    rows = entries_shown(tables)
    if not rows:
        return []
    made = [corridor_figure(tables, rows)]
    if tables.has("profiles"):
        made += [
            _loads_figure(
                tables, rows, "decel_g", "entry_decel", "Deceleration on the way in", "deceleration (g)"
            ),
            _loads_figure(
                tables, rows, "flux_w_cm2", "entry_flux", "Heat flux at the nose", "heat flux (W/cm^2)"
            ),
            _loads_figure(
                tables, rows, "load_j_cm2", "entry_load", "Heat load at the nose", "heat load (J/cm^2)"
            ),
            _down_figure(tables, rows),
        ]
    return [*made, _sites_figure(tables, rows), _limits_figure(tables)]


def entries_shown(tables: PageTables) -> list[dict[str, Any]]:
    """The entries of the chosen plan in order of release, else of the plan with the most."""
    if not tables.has("entries"):
        return []
    entering = pc.is_in(tables["plans"]["opportunity"], value_set=pc.unique(tables["entries"]["opportunity"]))
    plans = tables["plans"].filter(entering)["plan"].to_pylist()
    if not plans:
        return []
    plan = tables.plan if tables.plan in plans else Counter(plans).most_common(1)[0][0]
    return [row for row in plan_rows(tables, plan) if row["kind"] == "entry"]


def _named(row: dict[str, Any]) -> str:
    return f"probe {row['probe']}"


def corridor_figure(tables: PageTables, rows: list[dict[str, Any]]) -> Figure:
    """Angle of each entry with its sigma, between the edges of its corridor."""
    places = [float(k) for k in range(len(rows))]
    edges = [(_or(row["corridor_shallow_deg"], 90.0), _or(row["corridor_steep_deg"], 90.0)) for row in rows]
    angles = [row["angle_inertial_deg"] for row in rows]
    spans = [
        Layer("line", "corridor" if k == 0 else "", "sky", [float(k), float(k)], list(pair))
        for k, pair in enumerate(edges)
    ]
    shallow, steep = ([row[f"{which}_limit"] for row in rows] for which in ("shallow", "steep"))
    return Figure(
        "entry_corridor",
        "Corridors of the entries",
        "Lines: inertial angle at the interface between the shallow edge (skipping out, or heat load) and the steep "
        "one (deceleration or heat flux), with the air as it is. Whiskers: 1 sigma of the angle after all corrections.",
        Axis("probe", "names", tuple(_named(row) for row in rows)),
        Axis("angle below the horizon (deg)", zero=True),
        (
            *spans,
            Layer("points", "shallow edge", "sky", places, [a for a, _ in edges], said=shallow, symbol="triangle"),
            Layer("points", "steep edge", "sky", places, [b for _, b in edges], said=steep, symbol="down"),
            Layer("points", "angle", "bloom", places, angles),
            Layer("error", "1 sigma", "ink", places, angles, to=[row["angle_sigma_deg"] for row in rows]),
        ),
        _of(tables["entries"].select(_CORRIDOR), rows),
        height=0.6,
    )  # fmt: skip


def _loads_figure(
    tables: PageTables, rows: list[dict[str, Any]], key: str, name: str, title: str, label: str
) -> Figure:
    """A load against time from the interface until it is over, a line an entry."""
    layers, ends = [], []
    for row in rows:
        own = _profile(tables, row)
        if own.num_rows:
            ends.append(_over_s(own))
    until = max(ends, default=0.0)
    for k, row in enumerate(rows):
        own = _profile(tables, row)
        own = own.filter(pc.less_equal(own["time_s"], until))
        layers.append(_line(own, "time_s", key, _named(row), k))
    note = "From the interface on, with the mean density."
    if key != "decel_g" and not all(row["heating_known"] for row in rows):
        note += " Cold wall; radiation is not in this number: at Venus and Jupiter it can exceed it."
    return Figure(
        name, title, note, Axis("time after the interface (s)", zero=True), Axis(label, zero=True), tuple(layers),
        _of(tables["profiles"], rows).select(["opportunity", "time_s", key]),
    )  # fmt: skip


def _over_s(own: pa.Table) -> float:
    """When deceleration and flux of a way down are over."""
    time = own["time_s"].to_numpy()
    peaks = [float(time[int(np.argmax(own[key].to_numpy()))]) for key in ("decel_g", "flux_w_cm2")]
    return max(peaks) + _AFTER_PEAK_S


def _down_figure(tables: PageTables, rows: list[dict[str, Any]]) -> Figure:
    """Height against time until the probe is lost; whole where the mothership hears it."""
    layers = []
    for k, row in enumerate(rows):
        own = _profile(tables, row)
        minutes = pa.table({"min": pc.divide(own["time_s"], 60.0), "km": own["altitude_km"]})
        layers.append(_line(minutes, "min", "km", _named(row), k, dashed=True))
        heard = own["relay_bit_s"].to_numpy() > 0.0
        for first, last in _runs(heard):
            part = minutes.slice(first, last - first)
            label = "" if any(layer.label == _HEARD for layer in layers) else _HEARD
            layers.append(_line(part, "min", "km", label, k))
    return Figure(
        "entry_down",
        "The way down",
        "Height until the probe is lost; a whole line while the mothership hears it (over the horizon, no blackout).",
        Axis("time after the interface (min)", zero=True),
        Axis("height over the ellipsoid (km)", zero=True),
        tuple(layers),
        _of(tables["profiles"], rows).select(
            ["opportunity", "time_s", "altitude_km", "pressure_bar", "relay_bit_s"]
        ),
    )


def _sites_figure(tables: PageTables, rows: list[dict[str, Any]]) -> Figure:
    """Sites by local solar time and latitude, with the terminator; low passes of the same bodies beside them."""
    first = rows[0]
    _, sun_latitude = _sun_over(first)
    hours = np.linspace(0.0, 24.0, 97)
    dusk = [_terminator_deg(float(hour), sun_latitude) for hour in hours]
    layers = [Layer("line", "terminator", "ink", hours.tolist(), dusk, dashed=True)]
    bodies = dict.fromkeys(row["target"] for row in rows)
    for k, name in enumerate(bodies):
        own = [row for row in rows if row["target"] == name]
        layers.append(
            Layer("points", f"entries, {name}", TONES[k % len(TONES)], [row["local_solar_h"] for row in own],
                  [row["latitude_deg"] for row in own], said=[_named(row) for row in own], symbol=SYMBOLS[k])
        )  # fmt: skip
        low = [
            row
            for row in plan_rows(tables, first["plan"])
            if row["kind"] == "low-pass" and row["target"] == name
        ]
        if low:
            solar = [(12.0 + (row["longitude_e_deg"] - _sun_over(row)[0]) / 15.0) % 24.0 for row in low]
            layers.append(
                Layer("points", f"low passes, {name}", TONES[(k + 2) % len(TONES)], solar,
                      [row["latitude_deg"] for row in low], said=[_named(row) for row in low], symbol="plus")
            )  # fmt: skip
    return Figure(
        "entry_sites",
        "Where they go in",
        "Latitude against local solar time: noon at 12, midnight at 0 and 24; the Sun is below the horizon beyond the "
        "dashed line.",
        Axis("local solar time (h)", zero=True),
        Axis("latitude (deg)"),
        tuple(layers),
        _of(tables["entries"].select(_SITE), rows),
        height=0.55,
    )


def _limits_figure(tables: PageTables) -> Figure:
    """What limits every entry that was found: how many by each reason."""
    counted = Counter(tables["entries"]["limited_by"].to_pylist())
    names = sorted(counted, key=lambda name: (counted[name], name))
    return Figure(
        "entry_limits",
        "What limits the entries found",
        "Rows by what keeps each from more: the tank (corrections), an edge of the corridor (skip, load, g, flux), "
        "what is heard (relay), or what it is lost by (pressure, heat, battery, end, ground).",
        Axis("entries found (number)", zero=True),
        Axis("limited by", "names", tuple(names)),
        (
            Layer(
                "across",
                "",
                "leaf",
                [0.0] * len(names),
                [float(k) for k in range(len(names))],
                to=[float(counted[name]) for name in names],
            ),
        ),
        tables["entries"].select(["opportunity", "approach", "limited_by"]),
        height=0.2 + 0.05 * max(len(names), 4),
    )


def _profile(tables: PageTables, row: dict[str, Any]) -> pa.Table:
    return tables["profiles"].filter(pc.equal(tables["profiles"]["opportunity"], row["opportunity"]))


def _of(table: pa.Table, rows: list[dict[str, Any]]) -> pa.Table:
    return table.filter(
        pc.is_in(table["opportunity"], value_set=pa.array([row["opportunity"] for row in rows]))
    )


def _line(table: pa.Table, x: str, y: str, label: str, k: int, *, dashed: bool = False) -> Layer:
    return Layer(
        "line", label, TONES[k % len(TONES)], table[x].to_pylist(), table[y].to_pylist(), dashed=dashed
    )


def _runs(there: np.ndarray) -> list[tuple[int, int]]:
    """First and one past the last of every stretch that is True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], there.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _sun_over(row: dict[str, Any]) -> tuple[float, float]:
    """East longitude and latitude below the Sun at the encounter."""
    sun = -np.array([[row[f"target_{axis}_km"] for axis in "xyz"]])
    _, latitude, longitude = place_over_ground(
        mass_named(row["target"]), sun, np.array([row["encounter_tdb_s"]])
    )
    return float(longitude[0]), float(latitude[0])


def _terminator_deg(hour: float, sun_latitude_deg: float) -> float:
    """Latitude at which the Sun is on the horizon: tan(latitude) = -cos(hour angle)/tan(latitude of the Sun)."""
    slope = math.tan(math.radians(sun_latitude_deg))
    angle = math.cos(math.radians(15.0 * (hour - 12.0)))
    if abs(slope) < 1e-6:
        return math.copysign(90.0, -angle)
    return math.degrees(math.atan(-angle / slope))


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None or math.isnan(value) else value
