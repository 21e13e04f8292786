"""The map of a choice among motherships: science, propellant and targets over departure and longest flight."""

from __future__ import annotations

import json
from typing import Any

import pyarrow as pa

from swarm.report.figure_parts import Axis, Figure, Layer, clipped, listed
from targets.base.timescale import iso_tdb, parse_tdb_jd

# Shades: within a twentieth of the best, within a fifth, the rest; own choice, told in the note.
_SHADES = (("low", 0.95), ("middle", 0.80), ("high", -1.0))
# A map of more columns has no room for numbers.
_NUMBERS_UP_TO = 16
_MAPS = (
    ("science", "Science over departure and longest flight", "3", True),
    ("targets", "Targets in reach over departure and longest flight", "0", True),
    ("propellant_kg", "Propellant of the plan with the most science, kg", "2", False),
)


def departure_jd_tdb(changes: str) -> float | None:
    """The date that a mothership's changes set, where it is one."""
    found = []
    for key, value in json.loads(changes).items():
        if key.endswith((".date", ".epoch")):
            try:
                found.append(parse_tdb_jd(value))
            except ValueError:
                return None
    return float(found[0]) if len(found) == 1 else None


def choice_maps(carriers: pa.Table, choice_map: pa.Table) -> list[Figure]:
    """A map each of science, targets and propellant; none where only one mothership was searched."""
    quiet = [row for row in carriers.to_pylist() if row["science_best"] is not None and not row["burns"]]
    if len(quiet) < 2:
        return []
    names = _in_order(quiet)
    return [_map(key, title, form, more, names, choice_map) for key, title, form, more in _MAPS]


def _in_order(rows: list[dict[str, Any]]) -> dict[int, str]:
    """Number and name of each mothership, by departure where that is what they differ in."""
    dates = {row["carrier"]: departure_jd_tdb(row["changes"]) for row in rows}
    if all(date is not None for date in dates.values()) and len(set(dates.values())) == len(dates):
        rows = sorted(rows, key=lambda row: dates[row["carrier"]] or 0.0)
        return {row["carrier"]: iso_tdb(dates[row["carrier"]] or 0.0)[:10] for row in rows}
    return {row["carrier"]: clipped(row["label"]) for row in rows}


def _map(
    key: str, title: str, form: str, more_is_better: bool, names: dict[int, str], data: pa.Table
) -> Figure:
    days = sorted(set(listed(data, "arc_max_days")))
    places = {number: k for k, number in enumerate(names)}
    cells = [
        (places[carrier], days.index(arc), value)
        for carrier, arc, value in zip(*(listed(data, name) for name in ("carrier", "arc_max_days", key)), strict=True)
        if carrier in places
    ]  # fmt: skip
    most = max((value for _, _, value in cells), default=0.0)
    left, layers = cells, []
    for tone, share in _SHADES:
        mine = [cell for cell in left if _good(cell[2], most, more_is_better) >= share]
        left = [cell for cell in left if cell not in mine]
        said = [f"{value:.{form}f}" if len(names) <= _NUMBERS_UP_TO else "" for _, _, value in mine]
        layers.append(Layer("cells", "", tone, [x for x, _, _ in mine], [y for _, y, _ in mine], said=said))
    best = "the most" if more_is_better else "the least, of the range from nothing to the most"
    note = f"Green: within 5 % of {best}; yellow: within 20 %."
    if key != "targets":
        note += " Of the best plan found whose probes all fly no longer than the row says; not a bound."
    return Figure(
        f"carriers_map_{key.removesuffix('_kg')}",
        title,
        note,
        Axis("departure (TDB), or what the motherships differ in", "names", tuple(names.values())),
        Axis("longest flight from burn to encounter (d)", "names", tuple(f"{arc:.0f}" for arc in days)),
        tuple(layers),
        data,
    )


def _good(value: float, most: float, more_is_better: bool) -> float:
    if most <= 0.0:
        return 0.0
    return value / most if more_is_better else 1.0 - value / most


def expected_figure(carriers: pa.Table) -> Figure | None:
    """What the law expects of every mothership that keeps its limits, beside what the sweep found."""
    rows = [row for row in carriers.to_pylist() if row["rank"] > 0]
    dates = [departure_jd_tdb(row["changes"]) for row in rows]
    if len(rows) < 3 or any(date is None for date in dates):
        return None
    searched = [k for k, row in enumerate(rows) if row["science_best"] is not None]
    said, found = [row["expected"] for row in rows], [rows[k]["targets"] for k in searched]
    layers = (
        Layer("points", "expected by the law", "mute", dates, said, symbol="plus"),
        Layer("points", "found by the sweep", "leaf", [dates[k] for k in searched], found),
    )  # fmt: skip
    return Figure(
        "carriers_expected",
        "Targets: expected of every departure, found of those searched",
        "The law of density and reach puts departures in order; it is good to a factor of two or so.",
        Axis("departure (TDB)", "date"),
        Axis("targets (number)", zero=True),
        layers,
        carriers,
    )
