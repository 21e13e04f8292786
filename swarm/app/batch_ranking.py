"""The runs of a batch in order of what their chosen plans are worth, and their fronts on one figure."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pyarrow as pa

from swarm.app.compare_runs import answers_of
from swarm.report.fronts_together import fronts_figure
from swarm.run.csv_cells import csv_text
from swarm.run.folder import Run
from swarm.run.writing import write_text_atomically

RANKING = "ranking.csv"
_HEADS = ("run", "probes", "science", "risk", "mass kg", "targets")


def ranked(runs: Mapping[str, Run]) -> pa.Table:
    """Return the answers of runs, the most science of a chosen plan first; equal science: the least risk, the name."""
    rows = sorted(answers_of(runs).to_pylist(), key=_order)
    return pa.Table.from_pylist([{"rank": k + 1, **row} for k, row in enumerate(rows)])


def _order(row: dict[str, Any]) -> tuple[float, float, str]:
    return -row["science"], row["risk"], row["run"]


def write_ranking(into: Path, names: tuple[str, ...]) -> list[str]:
    """Write ranking and figure of the finished runs of a batch; return what is printed of them."""
    from swarm.report.paint import paint_figure

    runs = {name: run for name in names if (run := Run.open(into / name)).has("front")}
    if not runs:
        return []
    table = ranked(runs)
    write_text_atomically(into / RANKING, csv_text(table))
    order = table["run"].to_pylist()
    paint_figure(fronts_figure({name: runs[name].read_table("front") for name in order}), into)
    return [*ranking_lines(table), f"ranking: {into / RANKING}; fronts: {into / 'fronts.png'}"]


def ranking_lines(table: pa.Table) -> list[str]:
    """Return the ranking as aligned columns."""
    rows = [_HEADS, *(_cells(row) for row in table.to_pylist())]
    width = [max(len(row[k]) for row in rows) for k in range(len(_HEADS))]
    return [_aligned(row, width) for row in rows]


def _aligned(row: tuple[str, ...], width: list[int]) -> str:
    return "  ".join([row[0].ljust(width[0]), *map(str.rjust, row[1:], width[1:])])


def _cells(row: dict[str, Any]) -> tuple[str, ...]:
    return (
        row["run"],
        str(row["probes"]),
        f"{100 * row['science']:.0f} %",
        f"{100 * row['risk']:.0f} %",
        f"{row['mass_with_margins_kg']:.0f}",
        str(row["targets"]),
    )
