"""What the page takes from a run folder: its tables, joined where a figure needs it, and nothing else."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from swarm.decide.summary import bound_line, front_lines, limits
from swarm.run.folder import Run
from targets.base.errors import InputError

# Every table the page draws from, and the columns without which it cannot be drawn. The page needs the tables of
# ALWAYS; a section or figure whose table is not there is left out.
PAGE_TABLES: dict[str, tuple[str, ...]] = {
    "front": ("plan", "probes", "science", "propellant_kg", "risk"),
    "plans": ("plan", "probe", "opportunity", "success", "propellant_kg"),
    "opportunities": (
        "opportunity", "target", "release_jd_tdb", "burn_jd_tdb", "encounter_jd_tdb", "burn_m_s", "v_rel_km_s",
        "target_x_km", "target_y_km", "target_z_km",
    ),
    "targets": ("target",),
    "mothership": ("t_jd_tdb", "x_km", "y_km", "z_km"),
    **dict.fromkeys(
        (
            "judged", "arcs", "planets", "events", "aims", "images", "serves", "successes", "density", "observe",
            "bound", "convergence", "refined", "counts", "descope", "mass_budget", "delta_v_budget", "power_budget",
            "recoil", "sensitivity", "left_out", "risk_table", "recourse", "alternates", "rests_on", "entries",
            "profiles", "orbits", "altitudes",
            "outcomes",
            "launch_mass", "costs", "station_load", "release_attitudes", "protection_checklist",
            "places", "pass_paths", "ground_tracks", "pass_trade", "dispersed_passes", "bound_after",
            "flown_orbits",
        ),
        (),
    ),
}  # fmt: skip
ALWAYS = ("front", "plans", "opportunities", "targets", "mothership")
# Windows are drawn for every opportunity of the front's targets, up to so many; the page says so where it is more.
WINDOWS_MAX = 40_000


@dataclass(frozen=True)
class PageTables:
    """A run's tables as the page needs them.

    by_name : name -> whole table, those that are there
    used    : rows of `opportunities` that some plan of the front uses, in order
    windows : rows of `opportunities` at the targets of those
    """

    run: Run
    by_name: dict[str, pa.Table]
    used: np.ndarray
    windows: np.ndarray
    plan: int

    def has(self, name: str) -> bool:
        return name in self.by_name and self.by_name[name].num_rows > 0

    def __getitem__(self, name: str) -> pa.Table:
        return self.by_name[name]

    @property
    def summary(self) -> dict[str, Any]:
        noted = self.run.manifest["notes"]["summary"]
        front, study = self["front"], self.run.study
        said: dict[str, Any] = {
            "front": front_lines(front, noted["plan"]),
            "limits": limits(study, self["opportunities"], front, self["plans"]),
        }
        if self.has("bound"):
            said["bound"] = bound_line(self["bound"], noted["bounded"])
        return noted | said

    def row(self, name: str, key: str, value: object) -> int:
        """The first row of a table whose `key` is `value`."""
        return self[name][key].to_pylist().index(value)


def read_page_tables(run: Run) -> PageTables:
    """Read what the page draws; InputError where it cannot be drawn, with the version that made the folder."""
    summary = run.manifest["notes"].get("summary")
    if summary is None or not run.has("front"):
        raise InputError(
            "the run has no front yet", file=run.folder, do="make it with: swarm optimize --run DIR"
        )
    there = [name for name in PAGE_TABLES if name in ALWAYS or run.has(name)]
    tables = {name: run.read_table(name) for name in there}
    for name, table in tables.items():
        columns = PAGE_TABLES[name]
        missing = [column for column in columns if column not in table.column_names]
        if missing:
            raise InputError(
                "this run folder was made by a version whose tables cannot be drawn",
                file=run.path(name),
                found=f"{run.manifest['tool']}, without {', '.join(missing)}",
                expected=f"columns {', '.join(columns)}",
                do="run the study again with this version",
            )
    used = _rows_with(tables["opportunities"], "opportunity", tables["plans"]["opportunity"])
    flown = tables["opportunities"]["target"].take(pa.array(used))
    windows = _rows_with(tables["opportunities"], "target", flown)[:WINDOWS_MAX]
    return PageTables(run, tables, used, windows, summary["plan"])


def _rows_with(table: pa.Table, key: str, values: pa.ChunkedArray) -> np.ndarray:
    return np.flatnonzero(pc.is_in(table[key], pc.unique(values)).to_numpy())


def columns_of(
    table: pa.Table, keys: tuple[str, ...], rows: np.ndarray | None = None
) -> dict[str, list[Any]]:
    """Return columns as plain lists, those that are there; NaN becomes None, nothing is rounded."""
    some = table if rows is None else table.take(pa.array(rows))
    return {
        key: [_plain(value) for value in some[key].to_pylist()] for key in keys if key in some.column_names
    }


def _plain(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def plan_rows(tables: PageTables, plan: int) -> list[dict[str, Any]]:
    """Return the probes of a plan in order of release: plan, opportunity and target columns joined."""
    plans, chances = tables["plans"], tables["opportunities"]
    mine = plans.filter(pc.equal(plans["plan"], plan)).to_pylist()
    rows = {number: k for k, number in enumerate(chances["opportunity"].to_pylist())}
    found = [{**chances.slice(rows[one["opportunity"]], 1).to_pylist()[0], **one} for one in mine]
    return sorted(found, key=_by_release)


def _by_release(row: dict[str, Any]) -> tuple[float, int]:
    return row["release_jd_tdb"], row["probe"]
