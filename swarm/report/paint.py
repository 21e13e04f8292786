"""The page's figures for slides: SVG and PNG with the numbers behind each as CSV, from the page's specifications."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow.csv as arrow_csv

from swarm.report.chart import chart
from swarm.report.drawing import TYPEFACE, png_of, svg_of
from swarm.report.figure_lists import page_figures, plan_figures
from swarm.report.figure_parts import Figure
from swarm.report.page_tables import PageTables, read_page_tables
from swarm.run.csv_cells import plain_columns
from swarm.run.folder import Run
from swarm.run.writing import remove, write_bytes_atomically

if TYPE_CHECKING:
    from swarm.run.workers import Pool

_WIDTH, _WIDTH_PX = 860, 1350  # a slide's half at 150 dots an inch


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
    figures = [*page_figures(tables), *plan_figures(tables, tables.plan)]
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
    svg = svg_of(chart(figure, width=_WIDTH, titled=True, typeface=TYPEFACE))
    text = io.BytesIO()
    arrow_csv.write_csv(plain_columns(figure.data), text)
    return {
        f"{figure.name}.png": png_of(svg, scale=_WIDTH_PX / _WIDTH),
        f"{figure.name}.svg": svg.encode(),
        f"{figure.name}.csv": text.getvalue(),
    }


def paint_figures(figures: Sequence[Figure], folder: Path) -> None:
    """Write figures that are of no run's page."""
    folder.mkdir(exist_ok=True)
    for figure in figures:
        paint_figure(figure, folder)
