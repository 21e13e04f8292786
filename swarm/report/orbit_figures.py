"""Figures of orbits: speed step by step, heights over the ground, e-vectors, hours low by latitude, how they end.

They show the orbits of the plan that the study's rule chooses; where it has none, those of the plan of the front with
the most.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from swarm.decide.sigma_price import WAYS, WHAT_GROUND, SigmaPrice, sigma_prices
from swarm.report.figure_parts import SYMBOLS, Axis, Figure, Layer
from swarm.report.page_tables import PageTables, plan_rows
from targets.base.timescale import jd_from_tdb_s

TONES = ("leaf", "bloom", "sky", "bark", "ink")
# Steps of the speed that is spent, in order, with what they are of a row.
_STEPS = (
    ("release burn", "sky", "burn_m_s"),
    ("corrections, 99 %", "bark", "dv99_m_s"),
    ("excess speed, far out", "ramp2", "excess_m_s"),
    ("spiral", "bloom", "circling_m_s"),
    ("insertion", "bloom", "insertion_m_s"),
    ("finite burns lose", "ink", "finite_loss_m_s"),
    ("upkeep", "leaf", "maintain_m_s"),
)
_BAND_DEG = 10.0


def orbit_figures(tables: PageTables) -> list[Figure]:
    """The figures of a run that has orbits; none elsewhere."""
    rows = orbits_shown(tables)
    if not rows:
        return []
    made = [_ladder_figure(tables, rows), _hours_figure(tables, rows)]
    if tables.has("altitudes"):
        made += [_heights_figure(tables, rows), _e_vector_figure(tables, rows), _ends_figure(tables, rows)]
    prices = prices_of(tables)
    return [*made, *([_price_figure(prices)] if prices else [])]


def orbits_shown(tables: PageTables) -> list[dict[str, Any]]:
    """The orbits of the chosen plan in order of release, else of the plan with the most."""
    if not tables.has("orbits"):
        return []
    kept = pc.is_in(tables["plans"]["opportunity"], value_set=pc.unique(tables["orbits"]["opportunity"]))
    plans = tables["plans"].filter(kept)["plan"].to_pylist()
    if not plans:
        return []
    plan = tables.plan if tables.plan in plans else Counter(plans).most_common(1)[0][0]
    return [row for row in plan_rows(tables, plan) if row["kind"] == "orbit"]


def prices_of(tables: PageTables) -> list[SigmaPrice]:
    """What one sigma of a counter costs, by each way that the front takes."""
    return sigma_prices(tables.run.study, tables["opportunities"], tables["plans"])


def _named(row: dict[str, Any]) -> str:
    return f"probe {row['probe']}"


def _ladder_figure(tables: PageTables, rows: list[dict[str, Any]]) -> Figure:
    """A bar a probe, step upon step."""
    steps = _spent(tables, rows)
    begins = np.zeros(len(rows))
    layers, columns = [], {"opportunity": [row["opportunity"] for row in rows]}
    for label, tone, key in _STEPS:
        ends = begins + np.array(steps[key])
        columns[key] = steps[key]
        if (ends > begins).any():
            places = [float(k) for k in range(len(rows))]
            layers.append(Layer("across", label, tone, begins.tolist(), places, to=ends.tolist()))
        begins = ends
    return Figure(
        "orbit_ladder",
        "Speed on the way into orbit, and in it",
        "What each probe plans to spend, step upon step, without margins. Excess speed and spiral are an upper bound.",
        Axis("speed spent (m/s)", zero=True),
        Axis("probe", "names", tuple(_named(row) for row in rows)),
        tuple(layers),
        pa.table(columns),
        height=0.2 + 0.06 * max(len(rows), 4),
    )


def _spent(tables: PageTables, rows: list[dict[str, Any]]) -> dict[str, list[float]]:
    """Speed by step, of every row."""
    dv99 = dict(
        zip(
            tables["judged"]["opportunity"].to_pylist(), tables["judged"]["dv99_m_s"].to_pylist(), strict=True
        )
    )
    keys = ("burn_m_s", "excess_m_s", "insertion_m_s", "finite_loss_m_s", "maintain_m_s")
    steps: dict[str, list[float]] = {key: [float(row[key]) for row in rows] for key in keys}
    steps["dv99_m_s"] = [float(dv99[row["opportunity"]]) for row in rows]
    steps["circling_m_s"] = [float(row["spiral_m_s"] - row["excess_m_s"]) for row in rows]
    return steps


def _heights_figure(tables: PageTables, rows: list[dict[str, Any]]) -> Figure:
    """Least height of each revolution; dashed when it is let go; the highest ground below."""
    layers, last = [], 0.0
    for k, row in enumerate(rows):
        for phase in ("science", "let-go"):
            own = _history(tables, row, phase)
            if own.num_rows:
                days = _days(own, row)
                last = max(last, float(days[-1]))
                label = _named(row) if phase == "science" else ""
                layers.append(
                    Layer("line", label, TONES[k % len(TONES)], days.tolist(), own["lowest_km"].to_pylist(),
                          dashed=phase == "let-go")
                )  # fmt: skip
    ground = max(row["lowest_km"] for row in rows)
    layers.append(Layer("line", "highest ground", "ink", [0.0, last], [ground, ground]))
    return Figure(
        "orbit_altitudes",
        "How low they fly",
        "Least height of a revolution over the ellipsoid, by averaged motion; dashed from the end of the science, when "
        "nothing is spent on it any more. An orbit ends at the highest ground, whatever stands below.",
        Axis("days from the begin of the orbit", zero=True),
        Axis("least height (km)", zero=True),
        tuple(layers),
        _of(tables["altitudes"], rows),
    )


def _e_vector_figure(tables: PageTables, rows: list[dict[str, Any]]) -> Figure:
    """The eccentricity vector in the plane of the orbit, from its node."""
    layers = []
    for k, row in enumerate(rows):
        own = _history(tables, row, "science")
        tone = TONES[k % len(TONES)]
        x, y = own["e_cos"].to_pylist(), own["e_sin"].to_pylist()
        layers.append(Layer("line", _named(row), tone, x, y))
        layers.append(
            Layer("points", "", tone, x[:1], y[:1], said=["begin"], symbol=SYMBOLS[k % len(SYMBOLS)])
        )
    return Figure(
        "orbit_e_vector",
        "Where the eccentricity goes",
        "Eccentricity vector in the plane of the orbit, from the ascending node on the body's equator, in the science; "
        "marks at its begin. Jumps are upkeep: two burns half an orbit apart, once a turn of the body.",
        Axis("e cos w"),
        Axis("e sin w"),
        tuple(layers),
        _of(tables["altitudes"], rows).select(["opportunity", "jd_tdb", "phase", "e_cos", "e_sin"]),
        equal=True,
        height=0.8,
    )


def _hours_figure(tables: PageTables, rows: list[dict[str, Any]]) -> Figure:
    """Hours below the height that counts as low, by latitude."""
    middles = (np.arange(18) * _BAND_DEG - 90.0 + 0.5 * _BAND_DEG).tolist()
    layers = [
        Layer("line", _named(row), TONES[k % len(TONES)], middles, list(row["hours_by_latitude"]))
        for k, row in enumerate(rows)
    ]
    columns = {
        "opportunity": np.repeat([row["opportunity"] for row in rows], 18),
        "latitude_deg": middles * len(rows),
        "hours": [hours for row in rows for hours in row["hours_by_latitude"]],
    }
    return Figure(
        "orbit_hours",
        "Where they are low",
        "Hours in the science below approach.below_km, in bands of 10 deg of latitude.",
        Axis("latitude (deg)"),
        Axis("time below (h)", zero=True),
        tuple(layers),
        pa.table(columns),
    )


def _ends_figure(tables: PageTables, rows: list[dict[str, Any]]) -> Figure:
    """Date and latitude of the last revolution that is followed."""
    ends = [tables["altitudes"].filter(_is(tables["altitudes"], row)).to_pylist()[-1] for row in rows]
    down = [end["lowest_km"] <= row["lowest_km"] + 0.1 for end, row in zip(ends, rows, strict=True)]
    layers = []
    for label, tone, symbol, wanted in (
        ("meets the ground", "bloom", "diamond", True),
        ("still flies when it is followed no further", "leaf", "circle", False),
    ):
        own = [k for k, hit in enumerate(down) if hit == wanted]
        if own:
            layers.append(
                Layer("points", label, tone, [ends[k]["jd_tdb"] for k in own], [ends[k]["latitude_deg"] for k in own],
                      said=[_named(rows[k]) for k in own], symbol=symbol)
            )  # fmt: skip
    columns = {
        "opportunity": [row["opportunity"] for row in rows],
        "jd_tdb": [end["jd_tdb"] for end in ends],
        "latitude_deg": [end["latitude_deg"] for end in ends],
        "longitude_e_deg": [end["longitude_e_deg"] for end in ends],
        "meets_the_ground": down,
    }
    return Figure(
        "orbit_ends",
        "Where and when they end",
        "Latitude of the lowest place of the last revolution, let go after the science. Nothing takes a probe away: it "
        "comes down there, and where others fly or stand their rules come first.",
        Axis("date (TDB)", "date"),
        Axis("latitude (deg)"),
        tuple(layers),
        pa.table(columns),
        height=0.5,
    )


def _price_figure(prices: list[SigmaPrice]) -> Figure:
    """Kilograms a sigma, a bar a way."""
    kilograms = [each.kg_per_sigma for each in prices]
    return Figure(
        "orbit_price",
        "What one sigma of the counter costs",
        "Wet mass of a probe over its sigmas, of the cheapest row of each way that some plan of the front flies; "
        f"{WHAT_GROUND}.",
        Axis("mass a sigma (kg)", zero=True),
        Axis("way", "names", tuple(WAYS[each.way] for each in prices)),
        (
            Layer(
                "across", "", "sky", [0.0] * len(prices), [float(k) for k in range(len(prices))], to=kilograms
            ),
        ),
        pa.table(
            {
                "way": [each.way for each in prices],
                "opportunity": [each.opportunity for each in prices],
                "design": [each.design for each in prices],
                "count_sigma": [each.sigma for each in prices],
                "probe_kg": [each.probe_kg for each in prices],
                "kg_per_sigma": kilograms,
                "probes_for_one": [each.probes_for_one for each in prices],
            }
        ),
        height=0.35,
    )


def _history(tables: PageTables, row: dict[str, Any], phase: str) -> pa.Table:
    table = tables["altitudes"]
    return table.filter(pc.and_(_is(table, row), pc.equal(table["phase"], phase)))


def _days(own: pa.Table, row: dict[str, Any]) -> np.ndarray:
    return np.asarray(own["jd_tdb"].to_numpy()) - float(jd_from_tdb_s(row["begin_tdb_s"]))


def _is(table: pa.Table, row: dict[str, Any]) -> pa.ChunkedArray:
    return pc.equal(table["opportunity"], row["opportunity"])


def _of(table: pa.Table, rows: list[dict[str, Any]]) -> pa.Table:
    return table.filter(
        pc.is_in(table["opportunity"], value_set=pa.array([row["opportunity"] for row in rows]))
    )
