"""The page's figures for slides: SVG and PNG with the numbers behind each as CSV. The one door to matplotlib."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib
import matplotlib.dates as dates
import numpy as np
import pyarrow.csv as arrow_csv
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure as Canvas
from matplotlib.image import imsave
from matplotlib.patches import Ellipse, Rectangle

from swarm.report.figure_lists import page_figures, plan_figures
from swarm.report.figure_parts import Axis, Figure, Layer
from swarm.report.page_tables import PageTables, read_page_tables
from swarm.report.tones import LIGHT, RAMP_LIGHT
from swarm.run.csv_cells import plain_columns
from swarm.run.folder import Run
from swarm.run.writing import remove, write_bytes_atomically

if TYPE_CHECKING:
    from swarm.run.workers import Pool

_WIDTH_IN, _DPI = 9.0, 150
_UNIX_JD = 2440587.5
_TONES = {**LIGHT, **{f"ramp{k}": tone for k, tone in enumerate(RAMP_LIGHT)}}
_MARKERS = {"circle": "o", "square": "s", "triangle": "^", "diamond": "D", "down": "v", "plus": "P"}
_ONE_LEGEND_ROW = 4
_LEAST_DAYS = 20.0  # of a date axis: dates of one day would have no ticks
# Fixed, so that the same tables give the same bytes: names of elements in an SVG are otherwise random.
_SETTINGS: dict[Any, Any] = {
    "svg.hashsalt": "swarm-flyby",
    "font.family": ["DejaVu Sans"],
    "font.size": 11,
    "text.parse_math": False,
    "axes.edgecolor": LIGHT["mute"],
    "axes.labelcolor": LIGHT["ink"],
    "text.color": LIGHT["ink"],
    "xtick.color": LIGHT["ink"],
    "ytick.color": LIGHT["ink"],
    "grid.color": LIGHT["line"],
}


def paint_run(folder: str) -> list[str]:
    """Write `figures/` of a run folder; return their names. A task for a worker: it takes the folder's path only.

    No figure draws what a refinement finds, so this may run beside it once the manifest holds the summary and every
    table of `PAGE_TABLES` but `refined` is written. Raises InputError as `read_page_tables` does.
    """
    run = Run.open(folder)
    return paint(read_page_tables(run), run.folder / "figures")


def paint(tables: PageTables, folder: Path, pool: Pool | None = None) -> list[str]:
    """Write every figure of the page, those of a plan for the chosen one; return their names.

    pool : draws figures side by side where it has workers of this machine
    """
    figures = [*page_figures(tables, ringed=tables.plan), *plan_figures(tables, tables.plan)]
    folder.mkdir(exist_ok=True)
    for old in sorted(folder.iterdir()):  # of an earlier page; nothing else is kept here
        if old.suffix in (".svg", ".png", ".csv"):
            remove(old)
    drawn = map(drawn_files, figures) if pool is None else pool.map(drawn_files, figures)
    for files in drawn:
        _keep(files, folder)
    return [figure.name for figure in figures]


def paint_figure(figure: Figure, folder: Path) -> None:
    """Write one figure as PNG and SVG, with the numbers behind it as CSV."""
    _keep(drawn_files(figure), folder)


def _keep(files: dict[str, bytes], folder: Path) -> None:
    for name, content in files.items():
        write_bytes_atomically(folder / name, content)


def drawn_files(figure: Figure, shared: None = None) -> dict[str, bytes]:
    """A task: a figure as PNG and SVG, and the numbers behind it as CSV, by the files' names."""
    with matplotlib.rc_context(_SETTINGS), warnings.catch_warnings():
        # a name in a script without a font
        warnings.filterwarnings("ignore", message="Glyph", category=UserWarning)
        canvas = draw(figure)
        shown = FigureCanvasAgg(canvas)
        shown.draw()  # once, with its layout; the picture on screen is the PNG, and the SVG keeps the places
        canvas.set_layout_engine("none")
        picture, lines, text = io.BytesIO(), io.BytesIO(), io.BytesIO()
        imsave(picture, shown.buffer_rgba(), format="png", dpi=_DPI)
        # not by savefig, which goes through the figure once more to lay it out
        FigureCanvasSVG(canvas).print_svg(lines, metadata={"Date": None})
    arrow_csv.write_csv(plain_columns(figure.data), text)
    files = {"png": picture, "svg": lines, "csv": text}
    return {f"{figure.name}.{ending}": made.getvalue() for ending, made in files.items()}


def draw(figure: Figure) -> Canvas:
    """Return a figure drawn on light paper."""
    size_in = (_WIDTH_IN, max(_WIDTH_IN * figure.height, 3.6))
    canvas = Canvas(figsize=size_in, dpi=_DPI, layout="constrained", facecolor=LIGHT["paper"])
    axes = canvas.subplots()
    axes.set_facecolor(LIGHT["sheet"])
    axes.set_title(figure.title, loc="left", fontweight="bold")
    axes.grid(True, linewidth=0.6)
    axes.set_axisbelow(True)
    for layer in figure.layers:
        _LAYERS[layer.kind](axes, layer, figure)
    _scale(axes, figure.x, across=True)
    _scale(axes, figure.y, across=False)
    if figure.equal:
        axes.set_aspect("equal", adjustable="datalim" if figure.x.kind == "number" else "box")
    _legend(axes)
    return canvas


def _scale(axes: Axes, axis: Axis, *, across: bool) -> None:
    one = axes.xaxis if across else axes.yaxis
    (axes.set_xlabel if across else axes.set_ylabel)(axis.label)
    if axis.kind == "date":
        low, high = axes.get_xlim() if across else axes.get_ylim()
        pad = max(0.5 * (_LEAST_DAYS - (high - low)), 0.0)
        (axes.set_xlim if across else axes.set_ylim)(low - pad, high + pad)
        locator = dates.AutoDateLocator(minticks=3, maxticks=8)
        one.set_major_locator(locator)
        one.set_major_formatter(dates.ConciseDateFormatter(locator))
    elif axis.kind == "names":
        one.set_ticks(range(len(axis.names)), list(axis.names))
        (axes.set_xlim if across else axes.set_ylim)(-0.6, len(axis.names) - 0.4)
        one.grid(False)
    elif axis.zero:
        low, high = axes.get_xlim() if across else axes.get_ylim()
        (axes.set_xlim if across else axes.set_ylim)(min(low, 0.0), max(high, 0.0))


def _legend(axes: Axes) -> None:
    handles, labels = axes.get_legend_handles_labels()
    first = dict(zip(reversed(labels), reversed(handles), strict=True))
    there = [label for label in dict.fromkeys(labels) if label]
    if len(there) > 1 or (there and len(labels) > 1):
        axes.figure.legend(
            [first[label] for label in there], there, loc="outside lower center", frameon=False,
            ncols=min(len(there), _ONE_LEGEND_ROW), fontsize="small",
        )  # fmt: skip


def _at(values: list[Any], axis: Axis) -> np.ndarray:
    numbers = np.array([np.nan if value is None else value for value in values], dtype=float)
    return numbers - _UNIX_JD if axis.kind == "date" else numbers


def _points(axes: Axes, layer: Layer, figure: Figure) -> None:
    x, y = _at(layer.x, figure.x), _at(layer.y, figure.y)
    axes.scatter(
        x, y, s=5 if layer.small else 36, marker=_MARKERS[layer.symbol], color=_TONES[layer.tone],
        edgecolor=LIGHT["sheet"], linewidth=0.0 if layer.small else 0.3, alpha=0.35 if layer.small else 1.0,
        label=layer.label, zorder=2.5 if layer.small else 3,
    )  # fmt: skip
    for left, up, said in zip(x, y, layer.said, strict=False):
        axes.annotate(said, (left, up), xytext=(5, 5), textcoords="offset points", fontsize="small")


def _circled(axes: Axes, layer: Layer, figure: Figure) -> None:
    x, y = _at(layer.x, figure.x), _at(layer.y, figure.y)
    axes.scatter(
        x,
        y,
        s=190,
        facecolors="none",
        edgecolors=_TONES[layer.tone],
        linewidth=1.8,
        label=layer.label,
        zorder=4,
    )


def _line(axes: Axes, layer: Layer, figure: Figure) -> None:
    style = "--" if layer.dashed else "-"
    x, y = _at(layer.x, figure.x), _at(layer.y, figure.y)
    axes.plot(x, y, style, color=_TONES[layer.tone], linewidth=1.6, label=layer.label or "_", zorder=2)


def _bars(axes: Axes, layer: Layer, figure: Figure) -> None:
    axes.bar(
        _at(layer.x, figure.x), _at(layer.y, figure.y), color=_TONES[layer.tone], width=0.7, label=layer.label
    )


def _across(axes: Axes, layer: Layer, figure: Figure) -> None:
    start, end = _at(layer.x, figure.x), _at(layer.to, figure.x)
    axes.barh(
        _at(layer.y, figure.y),
        end - start,
        left=start,
        color=_TONES[layer.tone],
        height=0.6,
        label=layer.label,
    )


def _error(axes: Axes, layer: Layer, figure: Figure) -> None:
    x, y = _at(layer.x, figure.x), _at(layer.y, figure.y)
    axes.errorbar(x, y, yerr=layer.to, fmt="none", color=_TONES[layer.tone], capsize=4, label=layer.label)


def _band(axes: Axes, layer: Layer, figure: Figure) -> None:
    for start, end in zip(_at(layer.x, figure.x), _at(layer.to, figure.x), strict=True):
        axes.axvspan(start, end, color=_TONES[layer.tone], alpha=0.25, label=layer.label)


def _ring(axes: Axes, layer: Layer, figure: Figure) -> None:
    larger, smaller, angle = layer.to
    tone = _TONES[layer.tone]
    axes.add_patch(
        Ellipse(
            (layer.x[0], layer.y[0]), 2.0 * larger, 2.0 * smaller, angle=angle, edgecolor=tone, linewidth=1.6,
            facecolor=(*matplotlib.colors.to_rgb(tone), 0.18 if layer.fill else 0.0),
            linestyle="--" if layer.dashed else "-", label=layer.label,
        )
    )  # fmt: skip
    axes.autoscale_view()


def _cells(axes: Axes, layer: Layer, figure: Figure) -> None:
    for x, y, said in zip(layer.x, layer.y, layer.said, strict=True):
        axes.add_patch(
            Rectangle((x - 0.5, y - 0.5), 1, 1, facecolor=_TONES[layer.tone], edgecolor=LIGHT["sheet"])
        )
        axes.text(x, y, said, ha="center", va="center")


_LAYERS: dict[str, Callable[[Axes, Layer, Figure], None]] = {
    "points": _points,
    "circled": _circled,
    "line": _line,
    "bars": _bars,
    "across": _across,
    "error": _error,
    "band": _band,
    "ring": _ring,
    "cells": _cells,
}


def paint_figures(figures: Sequence[Figure], folder: Path) -> None:
    """Write figures that are of no run's page."""
    folder.mkdir(exist_ok=True)
    for figure in figures:
        paint_figure(figure, folder)
