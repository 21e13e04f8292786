"""Figures as plain data for the page. To add one: a function here, a line in `page.py`."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from swarm.report.markup import label
from targets.constants import AU_KM
from targets.frames import ICRF_FROM_ECLIPTIC

INK, PAPER, GRID = "#2b3036", "#fbf8f3", "#e4ddd2"
BLOSSOM, LEAF, EMBER = "#a8326e", "#3f6b57", "#d98a2b"
# Low risk is leaf, high risk is blossom; lightness falls steadily, so that it reads in grey too.
RISK_SCALE = [[0.0, "#a9c9a4"], [0.35, "#d9b26a"], [0.7, "#c25a6e"], [1.0, "#5d1745"]]

Figure = dict[str, Any]


def front_figure(front: pa.Table, chosen: int) -> Figure:
    """Science against propellant, risk as colour; the chosen plan ringed."""
    plan = front["plan"].to_numpy()
    kg, science = front["propellant_kg"].to_numpy(), front["science"].to_numpy()
    risk, probes = front["risk"].to_numpy(), front["probes"].to_numpy()
    said = [f"plan {p}: {n} probes, risk {r:.3f}" for p, n, r in zip(plan, probes, risk, strict=True)]
    ringed = plan == chosen
    marker = {
        "color": risk.tolist(),
        "colorscale": RISK_SCALE,
        "cmin": 0,
        "cmax": 1,
        "size": 9,
        "line": {"width": 0.5, "color": INK},
        "colorbar": {"title": {"text": "risk"}, "thickness": 12},
    }
    traces = [
        _points(kg, science, "plans", said, marker),
        _points(
            kg[ringed],
            science[ringed],
            "chosen plan",
            [said[k] for k in np.flatnonzero(ringed)],
            {"size": 20, "symbol": "circle-open", "color": INK, "line": {"width": 2}},
        ),
    ]
    return _figure(traces, "propellant, kg (all probes)", "expected science (1 = every row met)")


def map_figure(path: pa.Table, encounters: pa.Table) -> Figure:
    """The carrier's path, releases and encounters, seen from the north pole of the ecliptic."""
    xy_au = _ecliptic_au(path, "{}_km")
    t_jd = path["t_jd_tdb"].to_numpy()
    traces: list[Figure] = [
        {
            "type": "scatter",
            "mode": "lines",
            "name": "mothership",
            "x": _short(xy_au[:, 0]),
            "y": _short(xy_au[:, 1]),
            "line": {"color": LEAF, "width": 1.5},
            "hoverinfo": "skip",
        },
        _points(np.zeros(1), np.zeros(1), "Sun", ["Sun"], {"size": 12, "color": EMBER}),
    ]
    names = [label(name) for name in encounters["target"].to_pylist()]
    release = encounters["release_jd_tdb"].to_numpy()
    left_au = np.column_stack([np.interp(release, t_jd, xy_au[:, k]) for k in (0, 1)])
    met_au = _ecliptic_au(encounters, "target_{}_km")
    for places, title, marker in (
        (left_au, "release", {"size": 8, "symbol": "triangle-up-open", "color": INK}),
        (met_au, "encounter", {"size": 10, "symbol": "diamond", "color": BLOSSOM}),
    ):
        said = [f"{title}: {name}" for name in names]
        traces.append(_points(places[:, 0], places[:, 1], title, said, marker))
    figure = _figure(traces, "ecliptic x, au", "ecliptic y, au")
    figure["layout"]["yaxis"].update({"scaleanchor": "x", "scaleratio": 1})
    return figure


def _ecliptic_au(table: pa.Table, column: str) -> np.ndarray:
    r_km = np.column_stack([table[column.format(axis)].to_numpy() for axis in "xyz"])
    return (r_km @ np.asarray(ICRF_FROM_ECLIPTIC) / AU_KM)[:, :2]


def _short(values: np.ndarray) -> list[float]:
    return np.round(values, 6).tolist()


def _points(x: np.ndarray, y: np.ndarray, name: str, said: list[str], marker: Figure) -> Figure:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": _short(x),
        "y": _short(y),
        "text": said,
        "hovertemplate": "%{text}<br>%{x:.3f}, %{y:.3f}<extra></extra>",
        "marker": marker,
    }


def _figure(traces: list[Figure], x_title: str, y_title: str) -> Figure:
    axis = {"gridcolor": GRID, "zeroline": False, "linecolor": INK, "ticks": "outside"}
    return {
        "data": traces,
        "layout": {
            "paper_bgcolor": PAPER,
            "plot_bgcolor": PAPER,
            "font": {"family": "Georgia, serif", "color": INK, "size": 14},
            "margin": {"l": 70, "r": 20, "t": 20, "b": 60},
            "legend": {"orientation": "h", "y": 1.08},
            "xaxis": {**axis, "title": {"text": x_title}},
            "yaxis": {**axis, "title": {"text": y_title}},
        },
    }
