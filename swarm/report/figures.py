"""Figures as plain data, made specifications by `chart.py`: the page shows them, `paint.py` makes slides of them.

To add one: a function here that returns a `Figure` (None where the run has nothing to draw), and its place in
`sections.py`. Values are those of the archive; only lengths are put into au and turned to the ecliptic.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from scipy.interpolate import CubicSpline

from swarm.report.described import PLAN_FIGURES, Mark
from swarm.report.figure_parts import EVENT_MARKS, ORBIT_POINTS, SYMBOLS, Axis, Figure, Layer, clipped, listed
from swarm.report.page_tables import PageTables, plan_rows
from swarm.report.tones import RAMP_STEPS
from targets.base.constants import AU_KM
from targets.base.frames import ecliptic_from_icrf

FEW_PLANS = 200
# Marks of 9 px on an axis of some 450 px touch when nearer than this share of it.
NEAR = 50

# --- the front ----------------------------------------------------------------------------------------------


def count_classes(most: int) -> list[tuple[int, int]]:
    """Return at most RAMP_STEPS ranges of probe counts, from 0 to the most."""
    edges = np.unique(np.linspace(0, most + 1, min(RAMP_STEPS, most + 1) + 1).round().astype(int))
    return [(int(a), int(b) - 1) for a, b in pairwise(edges.tolist())]


def promising_plans(cost: np.ndarray, science: np.ndarray) -> np.ndarray:
    """Return which plans stand out, (n,) bool: none has as much science for less, near-equal ones merged.

    Of plans closer than a NEAR-th of both axes to one that stands out already, only that one does. A front of few
    plans stands out whole.
    """
    if len(cost) <= FEW_PLANS:
        return np.ones(len(cost), dtype=bool)
    found = np.zeros(len(cost), dtype=bool)
    best, at = -np.inf, np.array([np.inf, np.inf])
    span = np.maximum([np.ptp(cost), np.ptp(science)], 1e-12) / NEAR
    for k in np.lexsort((-science, cost)):
        if science[k] <= best:
            continue
        best = science[k]
        place = np.array([cost[k], science[k]])
        if (np.abs(place - at) > span).any():
            found[k], at = True, place
    return found


def front_figure(tables: PageTables, *, across: str = "propellant_kg") -> Figure:
    """Science against propellant (or against risk); colour and mark by number of probes, a ring about the chosen plan.

    On the page the ring moves, and a dashed one stands about the plan that is pinned.
    """
    front = tables["front"]
    labels = {
        "propellant_kg": "propellant of all probes (kg)",
        "risk": "risk: chance of missing a threshold (0 to 1)",
    }
    probes = front["probes"].to_numpy()
    promising = promising_plans(front["propellant_kg"].to_numpy(), front["science"].to_numpy())
    promising |= front["plan"].to_numpy() == tables.plan
    layers = []
    for k, (low, high) in enumerate(count_classes(int(probes.max()) if len(probes) else 0)):
        here = (probes >= low) & (probes <= high)
        said = f"{low} probes" if low == high else f"{low} to {high} probes"
        for small in (True, False):
            some = front.filter(pa.array(here & (promising != small)))
            if some.num_rows:
                layers.append(
                    Layer(
                        "points",
                        "" if small and (here & promising).any() else said,
                        f"ramp{k}",
                        listed(some, across),
                        listed(some, "science"),
                        key=listed(some, "plan"),
                        symbol=SYMBOLS[k],
                        small=small,
                    )
                )
    layers.sort(key=lambda layer: bool(layer.label))  # what stands out is drawn last, in order of probes
    own = front.slice(tables.row("front", "plan", tables.plan), 1)
    at = listed(own, across), listed(own, "science")
    layers.append(Layer("circled", "chosen plan", "ink", *at, key=[tables.plan]))
    layers.append(Layer("circled", "pinned plan", "bloom", [], [], dashed=True))
    return Figure(
        "front" if across == "propellant_kg" else "front_risk",
        "Science against propellant" if across == "propellant_kg" else "Science against risk",
        "Each mark is a plan that no other plan beats in science, propellant and risk at once. Large: none has as "
        "much science for less propellant; near-equal ones merged.",
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
        "planets": _planet_tracks(tables),
        "arcs": _arc_tracks(tables),
        "apart": _apart_tracks(tables),
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


def _planet_tracks(tables: PageTables) -> dict[str, Any]:
    """Planets by name: their places, and how many of them are once around; in the order in which the page has them."""
    if not tables.has("planets"):
        return {}
    orbits = tables["planets"]
    tracks = {}
    for name in sorted(pc.unique(orbits["planet"]).to_pylist()):
        track = _track(orbits.filter(pc.equal(orbits["planet"], name)))
        tracks[name] = {**track, "around": min(ORBIT_POINTS + 1, len(track["t"]))}
    return tracks


def _apart_tracks(tables: PageTables) -> dict[str, Any]:
    """The arcs relative to the mothership at the same dates, au, axes of the ecliptic.

    The mothership between its dates by a cubic spline: with dates ten days apart right to some 400 km (remainder of a
    cubic on a circle of 1 au), which is thinner than a line.
    """
    if not tables.has("arcs"):
        return {}
    path, arcs = tables["mothership"], tables["arcs"]
    ship = CubicSpline(path["t_jd_tdb"].to_numpy(), _xyz(path))(arcs["t_jd_tdb"].to_numpy())
    apart_au = np.array(_au(_xyz(arcs) - ship))
    numbers = arcs["opportunity"].to_numpy()
    tracks: dict[str, Any] = {}
    for number, (x, y, _) in zip(numbers.tolist(), apart_au.tolist(), strict=True):
        track = tracks.setdefault(str(number), {"x": [], "y": []})
        track["x"].append(x)
        track["y"].append(y)
    return tracks


def _xyz(table: pa.Table) -> np.ndarray:
    """(n, 3) km."""
    return np.column_stack([table[f"{axis}_km"].to_numpy() for axis in "xyz"])


def _track(table: pa.Table) -> dict[str, list[float]]:
    points = np.array(_au(_xyz(table)))
    return {
        "t": table["t_jd_tdb"].to_pylist(),
        **{axis: points[:, k].tolist() for k, axis in enumerate("xyz")},
    }


def _au(r_km: np.ndarray) -> list[list[float]]:
    """Ecliptic au, to 150 km: finer than any line."""
    return np.round(ecliptic_from_icrf(r_km) / AU_KM, 6).tolist()


def map_figure(tables: PageTables, plan: int, *, side: bool = False) -> Figure:
    """The mothership, the plan's arcs and encounters, from the ecliptic's north pole or from the side."""
    described, found, up = PLAN_FIGURES["map_side" if side else "map"], places(tables), "z" if side else "y"
    rows = plan_rows(tables, plan)
    arcs = [arc for arc in (found["arcs"].get(str(row["opportunity"])) for row in rows) if arc]
    met = [found["met"][str(row["opportunity"])] for row in rows]
    numbers = [str(row["probe"]) for row in rows]
    planets = found["planets"].values()
    layers = [
        *(described["orbit"].layer(one["x"][: one["around"]], one[up][: one["around"]]) for one in planets),
        described["planet"].layer(
            [one["x"][0] for one in planets],
            [one[up][0] for one in planets],
            said=list(found["planets"]) if not side else [],
        ),
        described["path"].layer(found["path"]["x"], found["path"][up]),
        *(described["arc"].layer(arc["x"], arc[up]) for arc in arcs),
        described["burn"].layer([arc["x"][0] for arc in arcs], [arc[up][0] for arc in arcs]),
        described["met"].layer(
            [m[0] for m in met],
            [m["xyz".index(up)] for m in met],
            said=numbers,
            key=[row["probe"] for row in rows],
        ),
        described["sun"].layer([0.0], [0.0]),
    ]
    keys = ["plan", "probe", "opportunity", "target", "encounter_jd_tdb"]
    places_au = {f"{axis}_au": pa.array([m[k] for m in met], pa.float64()) for k, axis in enumerate("xyz")}
    data = pa.table({**{key: [row[key] for row in rows] for key in keys}, **places_au})
    return described.figure(layers, data, plan=plan)


def apart_figure(tables: PageTables, plan: int) -> Figure | None:
    """The plan's arcs as seen from the mothership, where they can be told apart."""
    if not tables.has("arcs"):
        return None
    described, found = PLAN_FIGURES["apart"], places(tables)["apart"]
    flown = [row for row in plan_rows(tables, plan) if str(row["opportunity"]) in found]
    tracks = [found[str(row["opportunity"])] for row in flown]
    ends = {axis: [track[axis][-1] for track in tracks] for axis in "xy"}
    layers = [
        *(described["arc"].layer(track["x"], track["y"]) for track in tracks),
        described["met"].layer(
            ends["x"],
            ends["y"],
            said=[str(row["probe"]) for row in flown],
            key=[row["probe"] for row in flown],
        ),
        described["ship"].layer([0.0], [0.0]),
    ]
    keys = ["plan", "probe", "opportunity", "target"]
    ends_au = {f"apart_{axis}_au": pa.array(ends[axis], pa.float64()) for axis in "xy"}
    data = pa.table({**{key: [row[key] for row in flown] for key in keys}, **ends_au})
    return described.figure(layers, data, plan=plan)


def timeline_figure(tables: PageTables, plan: int) -> Figure | None:
    """Releases, burns, corrections, encounters and data home of each probe, by date; blackouts shaded."""
    if not tables.has("events"):
        return None
    described, rows = PLAN_FIGURES["timeline"], plan_rows(tables, plan)
    place = {row["opportunity"]: k for k, row in enumerate(rows)}
    events = tables["events"]
    mine = events.filter(pc.is_in(events["opportunity"], pa.array(list(place), pa.int64())))
    spans = blackouts(tables)
    layers = [described["blackout"].layer([a for a, _ in spans], [], to=[b for _, b in spans])]
    listed = mine.to_pylist()
    for number, k in place.items():
        dates = [one["t_jd_tdb"] for one in listed if one["opportunity"] == number]
        layers.append(described["flight"].layer([min(dates), max(dates)], [k, k]))
    for event in EVENT_MARKS:
        some = [one for one in listed if one["event"] == event]
        at = [place[one["opportunity"]] for one in some]
        own = [rows[k]["probe"] for k in at]
        layers.append(described[event].layer([one["t_jd_tdb"] for one in some], at, key=own))
    names = tuple(clipped(f"{row['probe']}: {row['target']}") for row in rows)
    return described.figure(layers, mine, names=names, plan=plan)


def blackouts(tables: PageTables) -> list[tuple[float, float]]:
    """Blackouts of the study, Julian dates TDB."""
    return [(float(a), float(b)) for a, b in tables.run.study.constraints.blackouts]


# --- one probe ----------------------------------------------------------------------------------------------


def b_plane_figure(tables: PageTables, row: dict[str, Any], *, near: bool = False) -> Figure | None:
    """The aim point of a probe, 1 and 3 sigma of the delivery about it, keep-out and slew rings about the target.

    row  : of `plan_rows`
    near : what is about the aim point alone
    """
    if not (tables.has("aims") and tables.has("judged")):
        return None
    described, opportunity = PLAN_FIGURES["b_plane_near" if near else "b_plane"], row["opportunity"]
    aim = tables["aims"].slice(tables.row("aims", "opportunity", opportunity), 1)
    judged = tables["judged"].slice(tables.row("judged", "opportunity", opportunity), 1)
    ring, at = aim.to_pylist()[0], judged.to_pylist()[0]
    x, y = [at["aim_t_km"]], [at["aim_r_km"]]
    sigma = [ring["sigma_larger_km"], ring["sigma_smaller_km"], ring["sigma_angle_deg"]]
    layers = [
        described["three"].layer(x, y, to=[3 * sigma[0], 3 * sigma[1], sigma[2]]),
        described["one"].layer(x, y, to=sigma),
    ]
    if not near:
        layers += [
            described["keepout"].layer([0.0], [0.0], to=[ring["keepout_km"], ring["keepout_km"], 0.0]),
            described["slew"].layer([0.0], [0.0], to=[ring["slew_km"], ring["slew_km"], 0.0]),
        ]
    layers.append(described["aim"].layer(x, y))
    if not near:
        layers.append(described["target"].layer([0.0], [0.0]))
    data = _side_by_side(aim, judged.select(["aim_t_km", "aim_r_km", "aim_km", "sigma_time_s"]))
    return described.figure(layers, data, probe=row["probe"], target=clipped(row["target"]))


def _side_by_side(left: pa.Table, right: pa.Table) -> pa.Table:
    for key in right.column_names:
        left = left.append_column(key, right[key])
    return left


def windows_figure(tables: PageTables, row: dict[str, Any]) -> Figure:
    """Burn against release and encounter date for every opportunity at a probe's target, its own ringed."""
    described, chances = PLAN_FIGURES["windows"], tables["opportunities"]
    some = chances.filter(pc.equal(chances["target"], row["target"]))
    burn = some["burn_m_s"].to_numpy()
    layers = []
    for burns in burn_classes(tables):
        inside = some.filter(pa.array((burn >= burns.low_m_s) & (burn < burns.high_m_s)))
        dates = listed(inside, "release_jd_tdb"), listed(inside, "encounter_jd_tdb")
        layers.append(burns.mark.layer(*dates))
    own = chances.slice(tables.row("opportunities", "opportunity", row["opportunity"]), 1)
    layers.append(described["chosen"].layer(listed(own, "release_jd_tdb"), listed(own, "encounter_jd_tdb")))
    keys = ["opportunity", "target", "release_jd_tdb", "encounter_jd_tdb", "burn_m_s"]
    return described.figure(layers, some.select(keys), target=clipped(row["target"]))


@dataclass(frozen=True)
class BurnClass:
    """A range of the burn and its mark."""

    low_m_s: float
    high_m_s: float
    mark: Mark


def burn_classes(tables: PageTables) -> list[BurnClass]:
    """Ranges of the burn for the ramp, up to the study's limit."""
    limit = max(float(own.probe.burn_limit_m_s) for own in tables.run.study.by_design.values())
    edges = np.linspace(0.0, limit, RAMP_STEPS + 1).tolist()
    edges[-1] = limit * (1.0 + 1e-9)  # a burn at the limit is within it
    return [
        BurnClass(low, high, Mark("points", f"{low:.4g} to {high:.4g} m/s", f"ramp{k}", SYMBOLS[k]))
        for k, (low, high) in enumerate(pairwise(edges))
    ]


# --- chances and counts -------------------------------------------------------------------------------------


def successes_figure(tables: PageTables, plan: int) -> Figure | None:
    """The chance that at least so many probes of a plan return data."""
    if not tables.has("successes"):
        return None
    table = tables["successes"]
    mine = table.filter(pc.equal(table["plan"], plan))
    described = PLAN_FIGURES["successes"]
    bars = described["returned"].layer(listed(mine, "returned"), listed(mine, "chance_or_more"))
    return described.figure([bars], mine, plan=plan)


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
