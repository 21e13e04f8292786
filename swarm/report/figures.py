"""Figures as plain data, drawn by `page.js` on the page and by `paint.py` for slides.

To add one: a function here that returns a `Figure` (None where the run has nothing to draw), and its place in
`sections.py`. Values are those of the archive; only lengths are put into au and turned to the ecliptic.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from swarm.report.figure_parts import EVENT_MARKS, SYMBOLS, Axis, Figure, Layer, clipped, listed
from swarm.report.page_tables import PageTables, plan_rows
from swarm.report.tones import RAMP_STEPS
from targets.base.constants import AU_KM
from targets.base.frames import ecliptic_from_icrf

# --- the front ----------------------------------------------------------------------------------------------


def count_classes(most: int) -> list[tuple[int, int]]:
    """Return at most RAMP_STEPS ranges of probe counts, from 0 to the most."""
    edges = np.unique(np.linspace(0, most + 1, min(RAMP_STEPS, most + 1) + 1).round().astype(int))
    return [(int(a), int(b) - 1) for a, b in pairwise(edges.tolist())]


def front_figure(tables: PageTables, *, across: str = "propellant_kg") -> Figure:
    """Science against propellant (or against risk); colour and mark by number of probes."""
    front = tables["front"]
    labels = {
        "propellant_kg": "propellant of all probes (kg)",
        "risk": "risk: chance of missing a threshold (0 to 1)",
    }
    probes = front["probes"].to_numpy()
    layers = []
    for k, (low, high) in enumerate(count_classes(int(probes.max()) if len(probes) else 0)):
        some = front.filter(pa.array((probes >= low) & (probes <= high)))
        if some.num_rows:
            layers.append(
                Layer(
                    "points",
                    f"{low} probes" if low == high else f"{low} to {high} probes",
                    f"ramp{k}",
                    listed(some, across),
                    listed(some, "science"),
                    key=listed(some, "plan"),
                    symbol=SYMBOLS[k],
                )
            )
    return Figure(
        "front" if across == "propellant_kg" else "front_risk",
        "Science against propellant" if across == "propellant_kg" else "Science against risk",
        "Each mark is a plan that no other plan beats in science, propellant and risk at once.",
        Axis(labels[across], zero=True),
        Axis("expected science (1 = every row met)", zero=True),
        tuple(layers),
        front,
        height=0.8,
    )


# --- where and when -----------------------------------------------------------------------------------------


def places(tables: PageTables) -> dict[str, Any]:
    """Return what a map is drawn from, in au along the axes of the ecliptic: the path, arcs, encounters."""
    return {
        "path": _track(_thinned(tables["mothership"], 600)),
        "arcs": _arc_tracks(tables),
        "met": {
            str(row["opportunity"]): _au(np.array([[row[f"target_{axis}_km"] for axis in "xyz"]]))[0]
            for row in tables["opportunities"].take(pa.array(tables.used)).to_pylist()
        },
    }


def _thinned(table: pa.Table, most: int) -> pa.Table:
    step = max(-(-table.num_rows // most), 1)
    return table.take(pa.array(np.unique(np.append(np.arange(0, table.num_rows, step), table.num_rows - 1))))


def _arc_tracks(tables: PageTables) -> dict[str, Any]:
    if not tables.has("arcs"):
        return {}
    arcs = tables["arcs"]
    number = arcs["opportunity"].to_numpy()
    starts = np.flatnonzero(np.append(True, number[1:] != number[:-1]))
    ends = np.append(starts[1:], len(number))
    return {str(number[a]): _track(arcs.slice(a, b - a)) for a, b in zip(starts, ends, strict=True)}


def _track(table: pa.Table) -> dict[str, list[float]]:
    points = np.array(_au(np.column_stack([table[f"{axis}_km"].to_numpy() for axis in "xyz"])))
    return {
        "t": table["t_jd_tdb"].to_pylist(),
        **{axis: points[:, k].tolist() for k, axis in enumerate("xyz")},
    }


def _au(r_km: np.ndarray) -> list[list[float]]:
    """Ecliptic au, to 150 km: finer than any line."""
    return np.round(ecliptic_from_icrf(r_km) / AU_KM, 6).tolist()


_MAP_NOTE = (
    "Two-body arcs, bent to end at the target, for looking at. Seen {}: the mothership's path, each probe's "
    "arc from its burn, and where it meets its target. The Sun is at 0, 0."
)


def map_figure(tables: PageTables, plan: int, *, side: bool = False) -> Figure:
    """The mothership, the plan's arcs and encounters, from the ecliptic's north pole or from the side."""
    found, up = places(tables), "z" if side else "y"
    rows = plan_rows(tables, plan)
    layers = [Layer("line", "mothership", "leaf", found["path"]["x"], found["path"][up])]
    for row in rows:
        arc = found["arcs"].get(str(row["opportunity"]))
        if arc:
            layers.append(Layer("line", "arc of a probe", "sky", arc["x"], arc[up]))
    starts = [arc for arc in (found["arcs"].get(str(row["opportunity"])) for row in rows) if arc]
    burns = [arc["x"][0] for arc in starts], [arc[up][0] for arc in starts]
    layers.append(Layer("points", "burn", "sky", *burns, symbol="square"))
    met = [found["met"][str(row["opportunity"])] for row in rows]
    layers.append(
        Layer(
            "points", "encounter", "bloom", [m[0] for m in met], [m["xyz".index(up)] for m in met],
            said=[str(row["probe"]) for row in rows], symbol="diamond",
        )
    )  # fmt: skip
    layers.append(Layer("points", "Sun", "bark", [0.0], [0.0]))
    keys = ["plan", "probe", "opportunity", "target", "encounter_jd_tdb"]
    places_au = {f"{axis}_au": pa.array([m[k] for m in met], pa.float64()) for k, axis in enumerate("xyz")}
    return Figure(
        "map_side" if side else "map",
        f"Plan {plan} from the side" if side else f"Plan {plan} from above",
        _MAP_NOTE.format(
            "along the plane of the ecliptic" if side else "from the north pole of the ecliptic"
        ),
        Axis("ecliptic x (au)"),
        Axis(f"ecliptic {up} (au)"),
        tuple(layers),
        pa.table({**{key: [row[key] for row in rows] for key in keys}, **places_au}),
        equal=True,
        height=0.35 if side else 0.8,
    )


def timeline_figure(tables: PageTables, plan: int) -> Figure | None:
    """Releases, burns, corrections, encounters and data home of each probe, by date; blackouts shaded."""
    if not tables.has("events"):
        return None
    rows = plan_rows(tables, plan)
    place = {row["opportunity"]: k for k, row in enumerate(rows)}
    events = tables["events"]
    mine = events.filter(pc.is_in(events["opportunity"], pa.array(list(place), pa.int64())))
    layers = [_blackouts(tables)]
    listed = mine.to_pylist()
    for number, k in place.items():
        dates = [one["t_jd_tdb"] for one in listed if one["opportunity"] == number]
        layers.append(Layer("line", "from release to data home", "mute", [min(dates), max(dates)], [k, k]))
    for event, (symbol, tone) in EVENT_MARKS.items():
        some = [one for one in listed if one["event"] == event]
        at = [place[one["opportunity"]] for one in some]
        layers.append(Layer("points", event, tone, [one["t_jd_tdb"] for one in some], at, symbol=symbol))
    names = tuple(clipped(f"{row['probe']}: {row['target']}") for row in rows)
    return Figure(
        "timeline",
        f"Dates of plan {plan}",
        "Shaded: blackouts of the study, in which nothing is released.",
        Axis("date (TDB)", "date"),
        Axis("probe: target", "names", names),
        tuple(layers),
        mine,
    )


def blackouts(tables: PageTables) -> list[tuple[float, float]]:
    """Blackouts of the study, Julian dates TDB."""
    return [(float(a), float(b)) for a, b in tables.run.study.constraints.blackouts]


def _blackouts(tables: PageTables) -> Layer:
    spans = blackouts(tables)
    return Layer("band", "blackout", "mute", [a for a, _ in spans], [], to=[b for _, b in spans])


# --- one probe ----------------------------------------------------------------------------------------------


def b_plane_figure(tables: PageTables, opportunity: int) -> Figure | None:
    """The aim point, 1 and 3 sigma of the delivery about it, keep-out and slew rings about the target."""
    if not (tables.has("aims") and tables.has("judged")):
        return None
    aim = tables["aims"].slice(tables.row("aims", "opportunity", opportunity), 1)
    judged = tables["judged"].slice(tables.row("judged", "opportunity", opportunity), 1)
    ring, at = aim.to_pylist()[0], judged.to_pylist()[0]
    centre = ([at["aim_t_km"]], [at["aim_r_km"]])
    sigma = (ring["sigma_larger_km"], ring["sigma_smaller_km"], ring["sigma_angle_deg"])
    layers = [
        Layer(
            "ring",
            "delivery, 3 sigma",
            "sky",
            *centre,
            to=[3 * sigma[0], 3 * sigma[1], sigma[2]],
            dashed=True,
        ),
        Layer("ring", "delivery, 1 sigma", "sky", *centre, to=list(sigma), fill=True),
        Layer("ring", "keep-out", "bloom", [0.0], [0.0], to=[ring["keepout_km"], ring["keepout_km"], 0.0]),
        Layer(
            "ring",
            "turn-rate limit",
            "bark",
            [0.0],
            [0.0],
            to=[ring["slew_km"], ring["slew_km"], 0.0],
            dashed=True,
        ),
        Layer("points", "aim point", "ink", *centre, symbol="plus"),
        Layer("points", "target", "ink", [0.0], [0.0]),
    ]
    return Figure(
        "b_plane",
        "Aim in the B-plane",
        "Inside the keep-out ring the probe may not pass; inside the turn-rate ring the camera cannot follow.",
        Axis("B.T (km)"),
        Axis("B.R (km)"),
        tuple(layers),
        _side_by_side(aim, judged.select(["aim_t_km", "aim_r_km", "aim_km", "sigma_time_s"])),
        equal=True,
        height=0.8,
    )


def _side_by_side(left: pa.Table, right: pa.Table) -> pa.Table:
    for key in right.column_names:
        left = left.append_column(key, right[key])
    return left


def windows_figure(tables: PageTables, target: str) -> Figure:
    """Burn against release and encounter date for every opportunity at a target."""
    chances = tables["opportunities"]
    some = chances.filter(pc.equal(chances["target"], target))
    burn = some["burn_m_s"].to_numpy()
    layers = []
    for k, (low, high) in enumerate(burn_classes(tables)):
        inside = some.filter(pa.array((burn >= low) & (burn < high)))
        if inside.num_rows:
            dates = listed(inside, "release_jd_tdb"), listed(inside, "encounter_jd_tdb")
            layers.append(Layer("points", f"{low:g} to {high:g} m/s", f"ramp{k}", *dates, symbol=SYMBOLS[k]))
    keys = ["opportunity", "target", "release_jd_tdb", "encounter_jd_tdb", "burn_m_s"]
    return Figure(
        "windows",
        f"Burns that meet {clipped(target)}",
        "Each mark is a local minimum of the burn: when the probe is released, and when it meets the target.",
        Axis("release (TDB)", "date"),
        Axis("encounter (TDB)", "date"),
        tuple(layers),
        some.select(keys),
    )


def burn_classes(tables: PageTables) -> list[tuple[float, float]]:
    """Ranges of the burn for the ramp, up to the study's limit."""
    limit = float(tables.run.study.probe.burn_limit_m_s)
    edges = np.linspace(0.0, limit, RAMP_STEPS + 1).tolist()
    edges[-1] = limit * (1.0 + 1e-9)  # a burn at the limit is within it
    return list(pairwise(edges))


# --- chances and counts -------------------------------------------------------------------------------------


def successes_figure(tables: PageTables, plan: int) -> Figure | None:
    """The chance that at least so many probes of a plan return data."""
    if not tables.has("successes"):
        return None
    table = tables["successes"]
    mine = table.filter(pc.equal(table["plan"], plan))
    bars = Layer("bars", "at least so many", "leaf", listed(mine, "returned"), listed(mine, "chance_or_more"))
    return Figure(
        "successes",
        f"How many probes of plan {plan} return data",
        "Hardware, link and shared failures; the quality of the data is not asked for here.",
        Axis("probes that return data (number)"),
        Axis("chance of at least so many (0 to 1)", zero=True),
        (bars,),
        mine,
    )


def counts_figure(tables: PageTables) -> Figure | None:
    """What each more probe adds at best, with its spread over seeds."""
    if not tables.has("counts"):
        return None
    counts = tables["counts"]
    worth = [one for one in counts.to_pylist() if one["next_probe_science"] == one["next_probe_science"]]
    x, y = [one["probes"] for one in worth], [one["next_probe_science"] for one in worth]
    spread = [_zero_if_nan(one["next_probe_science_sd"]) for one in worth]
    layers = [Layer("line", "", "leaf", x, y), Layer("points", "each more probe", "leaf", x, y)]
    if any(spread):
        layers.append(Layer("error", "spread over seeds, 1 sigma", "ink", x, y, to=spread))
    return Figure(
        "next_probe",
        "What the next probe is worth",
        "Most science with this count less that of the count before it, per probe.",
        Axis("probes carried (number)", zero=True),
        Axis("science added per probe (1 = every row met)", zero=True),
        tuple(layers),
        counts,
    )


def _zero_if_nan(value: float) -> float:
    return value if value == value else 0.0


def science_by_count_figure(tables: PageTables) -> Figure | None:
    """Science and risk of the plan the rule selects from each count."""
    if not tables.has("counts"):
        return None
    counts = tables["counts"]
    x = listed(counts, "probes")
    layers = []
    marks = (
        ("science_best", "most science", "sky", "square"),
        ("science", "science of the selected plan", "leaf", "circle"),
        ("risk", "risk of the selected plan", "bloom", "diamond"),
    )
    for key, label, tone, symbol in marks:
        layers.append(Layer("line", "", tone, x, listed(counts, key)))
        layers.append(Layer("points", label, tone, x, listed(counts, key), symbol=symbol))
    return Figure(
        "counts",
        "Science and risk by number of probes",
        "One front per count, and the plan the study's rule selects from it.",
        Axis("probes carried (number)", zero=True),
        Axis("science, risk (0 to 1)", zero=True),
        tuple(layers),
        counts,
    )
