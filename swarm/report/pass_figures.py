"""Figures of the low passes of the chosen plan, a body at a time: paths, aim points, worth by height, ground tracks."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from swarm.report.figure_parts import Axis, Figure, Layer
from swarm.report.page_tables import PageTables, plan_rows
from swarm.study.kind_names import LOW_PASS
from targets.masses.massive import mass_named, planet_of

NEEDED = ("pass_paths", "ground_tracks", "pass_trade", "aims", "judged")
# A chance is drawn by its power of ten: one at certainty, nothing at this power and beyond.
_POWERS = 10
# A figure of paths near the body that is passed goes so far out; one of an aim near the disc, so many sigma.
_NEAR_RADII, _NEAR_SIGMAS = 10.0, 5.0

Row = dict[str, Any]


def passed_bodies(tables: PageTables) -> list[str]:
    """Planets and moons that the chosen plan passes, in order of the first release."""
    if not all(tables.has(name) for name in NEEDED):
        return []
    known = set(tables["pass_trade"]["opportunity"].to_pylist())
    rows = [row for row in plan_rows(tables, tables.plan) if row["opportunity"] in known]
    return list(dict.fromkeys(row["target"] for row in rows))


def pass_rows(tables: PageTables, body: str) -> list[Row]:
    """The chosen plan's passes of a body, in order of release."""
    return [
        row for row in plan_rows(tables, tables.plan) if row["target"] == body and row["kind"] == LOW_PASS
    ]


def figures_of_passes(tables: PageTables) -> list[Figure]:
    """Six figures a moon, five a planet."""
    made = []
    for body in passed_bodies(tables):
        rows = pass_rows(tables, body)
        made += [around_figure(tables, body, rows, about=about) for about in _abouts(body)]
        made += [
            aims_figure(tables, body, rows),
            nearest_figure(tables, body, rows),
            trade_figure(tables, body, rows),
            ground_figure(tables, body, rows),
        ]
    return made


def figure_names(body: str) -> list[str]:
    """Names of the figures of a body, in the order of `figures_of_passes`."""
    stems = [f"around_{about.lower()}" for about in _abouts(body)]
    return [
        f"{stem}_at_{body.lower()}" for stem in (*stems, "pass_aims", "pass_nearest", "pass_trade", "ground")
    ]


def _abouts(body: str) -> list[str]:
    """What paths are drawn about: the planet, and the moon where one is passed."""
    return list(dict.fromkeys((planet_of(mass_named(body)).name, body)))


def _of(table: pa.Table, rows: list[Row]) -> pa.Table:
    """The rows of a table about some passes."""
    numbers = pa.array([row["opportunity"] for row in rows], pa.int64())
    return table.filter(pc.is_in(table["opportunity"], numbers))


def _where(table: pa.Table, key: str, value: str) -> pa.Table:
    return table.filter(pc.equal(table[key], value))


# --- paths ---------------------------------------------------------------------------------------------------


def around_figure(tables: PageTables, body: str, rows: list[Row], *, about: str) -> Figure:
    """Paths near the planet, or near the moon that is passed, from its pole; the Sun to the right. In its radii."""
    near, radius_km = about == body, mass_named(about).radius_km
    own = _where(_of(tables["pass_paths"], rows), "about", about)
    layers = [Layer("ring", about, "mute", [0.0], [0.0], to=[1.0, 1.0, 0.0], fill=True)]
    for what, tone, dashed in (("mothership", "leaf", False), (body, "mute", True)):
        of_first = _where(_of(own, rows[:1]), "what", what)
        if of_first.num_rows:
            x, y, _ = _in_radii(of_first, radius_km, near=near)
            layers.append(Layer("line", what, tone, x, y, dashed=dashed))
    ends = []
    for k, row in enumerate(rows):
        x, y, dates = _in_radii(_where(_of(own, [row]), "what", "probe"), radius_km, near=near)
        layers.append(Layer("line", "" if k else "probe", "sky", x, y))
        # the pass is one of the points of its path
        lowest = int(np.argmin(np.abs(np.array(dates) - row["encounter_tdb_s"])))
        ends.append((x[lowest], y[lowest]))
    # about the planet they lie on one another: told apart about the moon
    names = [str(row["probe"]) for row in rows] if near else []
    layers.append(
        Layer(
            "points", "lowest, by probe", "bloom", [x for x, _ in ends], [y for _, y in ends], said=names,
            symbol="diamond",
        )
    )  # fmt: skip
    return Figure(
        f"around_{about.lower()}_at_{body.lower()}",
        f"Past {body}" if near else f"Past {body}, about {about}",
        f"From above the pole of {about}, the Sun to the right. A radius is {radius_km:.0f} km; what goes over or "
        "under the disc crosses it here.",
        Axis(f"towards the Sun (radii of {about})"),
        Axis(f"across, in the equator (radii of {about})"),
        tuple(layers),
        own,
        equal=True,
        height=0.8,
    )


def _in_radii(
    path: pa.Table, radius_km: float, *, near: bool
) -> tuple[list[float], list[float], list[float]]:
    """x, y in radii and dates of a path; of one that is drawn `near`, what is within some radii of the middle."""
    places = np.column_stack([path[f"{axis}_km"].to_numpy() for axis in "xyz"]) / radius_km
    kept = np.linalg.norm(places, axis=1) < _NEAR_RADII if near else np.ones(len(places), dtype=bool)
    return places[kept, 0].tolist(), places[kept, 1].tolist(), path["tdb_s"].to_numpy()[kept].tolist()


# --- B-plane -------------------------------------------------------------------------------------------------


def aims_figure(tables: PageTables, body: str, rows: list[Row]) -> Figure:
    """All aim points of the plan at a body with 1 and 3 sigma of the arrival, and the disc that is hit."""
    layers, points = [], []
    for k, row in enumerate(rows):
        ring, at = (_of(tables[name], [row]).to_pylist()[0] for name in ("aims", "judged"))
        x, y = at["aim_t_km"], at["aim_r_km"]
        for times in (3, 1):
            half_axes = [
                times * ring["sigma_larger_km"],
                times * ring["sigma_smaller_km"],
                ring["sigma_angle_deg"],
            ]
            label, wide = "" if k else f"arrival, {times} sigma", times == 3
            layers.append(Layer("ring", label, "sky", [x], [y], to=half_axes, dashed=wide, fill=not wide))
        points.append({"probe": row["probe"], "aim_t_km": x, "aim_r_km": y, **ring})
    largest = max(point["keepout_km"] for point in points)
    aims = [[point[name] for point in points] for name in ("aim_t_km", "aim_r_km")]
    names = [str(row["probe"]) for row in rows]
    return Figure(
        f"pass_aims_at_{body.lower()}",
        f"Aim points at {body}",
        "The plane through the body across the incoming asymptote. Inside the disc a path hits (the largest disc of "
        "these passes). Ellipses: where a probe arrives after its last correction.",
        Axis("B.T (km)"),
        Axis("B.R (km)"),
        (
            Layer("ring", "impact disc", "bloom", [0.0], [0.0], to=[largest, largest, 0.0], fill=True),
            *layers,
            Layer("points", "aim point, by probe", "ink", aims[0], aims[1], said=names, symbol="plus"),
        ),
        pa.Table.from_pylist(points),
        equal=True,
        height=0.8,
    )


def nearest_figure(tables: PageTables, body: str, rows: list[Row]) -> Figure:
    """The aim point most likely to hit, near the edge of the disc: how many sigma it keeps off."""
    row = max(rows, key=lambda one: float(one["impact_chance"]))
    aim, judged = (_of(tables[name], [row]) for name in ("aims", "judged"))
    ring, at = aim.to_pylist()[0], judged.to_pylist()[0]
    x, y, disc_km = at["aim_t_km"], at["aim_r_km"], ring["keepout_km"]
    sigmas, angle = (ring["sigma_larger_km"], ring["sigma_smaller_km"]), ring["sigma_angle_deg"]
    off = max(math.hypot(x, y) - disc_km, 0.0) + _NEAR_SIGMAS * sigmas[0]
    turn = math.atan2(y, x) + np.linspace(-1.0, 1.0, 61) * min(off / disc_km, math.pi)
    edge = disc_km * np.cos(turn), disc_km * np.sin(turn)
    layers = [
        Layer("line", "edge of the impact disc", "bloom", edge[0].tolist(), edge[1].tolist()),
        *(
            Layer(
                "ring", f"arrival, {times} sigma", "sky", [x], [y],
                to=[times * sigmas[0], times * sigmas[1], angle], dashed=times == 3, fill=times == 1,
            )
            for times in (3, 1)
        ),
        Layer("points", "aim point", "ink", [x], [y], said=[str(row["probe"])], symbol="plus"),
    ]  # fmt: skip
    return Figure(
        f"pass_nearest_at_{body.lower()}",
        f"Probe {row['probe']} beside the disc of {body}",
        f"Of the passes shown the likeliest to hit, with a chance of {row['impact_chance']:.2g} over all that may "
        "become of it; the ellipses are of a probe that flies its corrections.",
        Axis("B.T (km)"),
        Axis("B.R (km)"),
        tuple(layers),
        aim,
        equal=True,
        height=0.8,
    )


# --- worth and impact by height ------------------------------------------------------------------------------


def trade_figure(tables: PageTables, body: str, rows: list[Row]) -> Figure:
    """Quality and the chance of impact against height, with the errors each pass has, on one figure."""
    table, layers = _of(tables["pass_trade"], rows), list[Layer]()
    heights, worth, hits = [], [], []
    for k, row in enumerate(rows):
        own = _of(table, [row])
        height, quality = (own[name].to_pylist() for name in ("altitude_km", "expected_quality"))
        powers = [_power(chance) for chance in own["impact_chance"].to_pylist()]
        layers += [
            Layer("line", "" if k else "quality", "leaf", height, quality),
            Layer("line", "" if k else "chance of impact", "bloom", height, powers),
        ]
        heights.append(_aimed_km(row))
        worth.append(float(np.interp(heights[-1], height, quality)))
        hits.append(_power(row["impact_chance"]))
    names = [str(row["probe"]) for row in rows]
    layers += [
        Layer("points", "quality as planned, by probe", "leaf", heights, worth, said=names),
        Layer("points", "impact as planned, by probe", "bloom", heights, hits, said=names, symbol="diamond"),
    ]
    if (limit := _limit(tables, body)) is not None and limit > 0.0:
        ends = [0.0, max(table["altitude_km"].to_pylist())]
        layers.append(Layer("line", f"limit {limit:.3g}", "bloom", ends, [_power(limit)] * 2, dashed=True))
    return Figure(
        f"pass_trade_at_{body.lower()}",
        f"Worth and risk by height at {body}",
        "Each pass aimed higher or lower at its own clock angle. The chance of impact is drawn by its power of ten: "
        "1 is certain, 0.8 is 1e-2, 0.6 is 1e-4, 0.4 is 1e-6, 0 is 1e-10 or less.",
        Axis("height of the aim (km)", zero=True),
        Axis("quality; impact by power of ten (0 to 1)", zero=True),
        tuple(layers),
        table,
    )


def _power(chance: float) -> float:
    """0 to 1 by the power of ten."""
    return max(1.0 + math.log10(max(chance, 10.0**-_POWERS)) / _POWERS, 0.0)


def _aimed_km(row: Row) -> float:
    """Height of the aim over the equatorial radius, by the hyperbola of the aim point: as `pass_trade` has it."""
    body, speed = mass_named(row["target"]), float(row["v_inf_km_s"])
    aim, a = math.hypot(row["b_t_km"], row["b_r_km"]), body.gm_km3_s2 / speed**2
    return math.sqrt(a * a + aim * aim) - a - body.radius_km


def _limit(tables: PageTables, body: str) -> float | None:
    """The least of the study's limits on impacts of one row at a body."""
    study = tables.run.study
    limits = [ask.impact_chance_max for ask in study.approach if ask.body == body]
    limits.append(study.protection.impact_chance_max.get(body))
    return min((limit for limit in limits if limit is not None), default=None)


# --- the ground ----------------------------------------------------------------------------------------------


def ground_figure(tables: PageTables, body: str, rows: list[Row]) -> Figure:
    """Tracks over the ground with the terminator at the first pass, longitudes east from 0 to 360."""
    own = _of(tables["ground_tracks"], rows)
    first = _of(own, rows[:1])
    layers = _on_map(_where(first, "what", "terminator"), "terminator", "bark", dashed=True)
    for k, row in enumerate(rows):
        track = _where(_of(own, [row]), "what", "track")
        layers += _on_map(track, "" if k else "below a probe", "sky")
    sun = _where(first, "what", "sun")
    place = [sun[name].to_pylist() for name in ("longitude_e_deg", "latitude_deg")]
    lowest = [[row[name] for row in rows] for name in ("longitude_e_deg", "latitude_deg")]
    names = [str(row["probe"]) for row in rows]
    layers += [
        Layer("points", "Sun overhead", "bark", place[0], place[1]),
        Layer("points", "lowest, by probe", "bloom", lowest[0], lowest[1], said=names, symbol="diamond"),
    ]
    return Figure(
        f"ground_at_{body.lower()}",
        f"Over the ground of {body}",
        "Within three radii of path of the lowest point. The Sun is where it is at the first pass; the ground on its "
        "side of the terminator is lit.",
        Axis("longitude, east (deg)", zero=True),
        Axis("latitude, planetographic (deg)", zero=True),
        tuple(layers),
        own,
        height=0.5,
    )


def _on_map(track: pa.Table, label: str, tone: str, *, dashed: bool = False) -> list[Layer]:
    """Lines of a track, cut where it leaves the map on one side and comes in on the other."""
    x, y = track["longitude_e_deg"].to_numpy(), track["latitude_deg"].to_numpy()
    cuts = np.flatnonzero(np.abs(np.diff(x)) > 180.0) + 1
    parts = zip(np.split(x, cuts), np.split(y, cuts), strict=True)
    return [
        Layer("line", "" if k else label, tone, a.tolist(), b.tolist(), dashed=dashed)
        for k, (a, b) in enumerate(parts)
    ]
