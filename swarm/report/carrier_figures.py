"""Figures of a choice among motherships: what each comes to over its departure, the joined front, who burns."""

from __future__ import annotations

from typing import Any

import pyarrow as pa

from swarm.report.choice_maps import choice_maps, departure_jd_tdb, expected_figure
from swarm.report.figure_parts import SYMBOLS, Axis, Figure, Layer, clipped, listed
from swarm.study.schema import Study

# Marks that are told apart at a glance; more motherships on a front share the last.
_TONES = ("leaf", "bloom", "sky", "bark", "mute")
_SCIENCE = Axis("expected science (1 = every row met)", zero=True)


def carrier_figures(
    carriers: pa.Table, front: pa.Table, bound: pa.Table, choice_map: pa.Table, study: Study
) -> list[Figure]:
    """Every figure of `swarm carriers`; what the tables do not hold is left out."""
    kept = [row for row in carriers.to_pylist() if row["science_best"] is not None]
    quiet = [row for row in kept if not row["burns"]]
    figures = [
        _over("carriers_science", "Science by mothership", "science_best", _SCIENCE, quiet, carriers),
        _over("carriers_propellant", "Propellant of the plan with the most science", "propellant_best_kg",
              Axis("propellant (kg)", zero=True), quiet, carriers),
        _over("carriers_targets", "Targets in reach by mothership", "targets",
              Axis("targets (number)", zero=True), quiet, carriers),
        joined_front_figure(carriers, front),
        _bound(front, bound),
        *choice_maps(carriers, choice_map),
    ]  # fmt: skip
    if (expected := expected_figure(carriers)) is not None:
        figures.append(expected)
    if any(row["burns"] for row in kept):
        asked = study.mothership.retarget
        figures.append(_who_burns(front, counted=asked is None or asked.counts))
    return figures


def _over(name: str, title: str, key: str, axis: Axis, rows: list[dict[str, Any]], data: pa.Table) -> Figure:
    """A quantity over the departure date where the motherships differ in one date, else over their names."""
    dates = [departure_jd_tdb(row["changes"]) for row in rows]
    values = [row[key] for row in rows]
    if rows and all(date is not None for date in dates) and len(set(dates)) == len(dates):
        order = sorted(range(len(rows)), key=lambda k: dates[k] or 0.0)
        x: list[Any] = [dates[k] for k in order]
        y = [values[k] for k in order]
        dated = (Layer("line", "", "leaf", x, y), Layer("points", "searched", "leaf", x, y))
        across = Axis("date chosen (TDB)", "date")
        return Figure(name, title, "Each mark is a mothership that was searched.", across, axis, dated, data)
    names = tuple(clipped(row["label"]) for row in reversed(rows))
    y = [len(rows) - 1 - k for k in range(len(rows))]
    layers = (Layer("points", "searched", "leaf", values, y),)
    note = "Each mark is a mothership that was searched, in the order of listing."
    return Figure(name, title, note, axis, Axis("mothership", "names", names), layers, data)


def joined_front_figure(carriers: pa.Table, front: pa.Table) -> Figure:
    """Science against propellant of the plans that none of any mothership beats, a tone a mothership."""
    label_of = dict(zip(listed(carriers, "carrier"), listed(carriers, "label"), strict=True))
    own = listed(front, "carrier")
    layers = []
    most_first = sorted(set(own), key=lambda number: (-own.count(number), number))
    for k, number in enumerate(most_first):
        rows = [row for row, of in enumerate(own) if of == number]
        x, y = listed(front, "propellant_kg"), listed(front, "science")
        layers.append(
            Layer(
                "points",
                clipped(label_of[number]),
                _TONES[min(k, len(_TONES) - 1)],
                [x[row] for row in rows],
                [y[row] for row in rows],
                symbol=SYMBOLS[k % len(SYMBOLS)],
            )
        )
    note = "Each mark is a plan that no plan of any mothership beats in science, propellant and risk at once."
    across = Axis("propellant (kg)", zero=True)
    return Figure(
        "carriers_front", "One front of all motherships", note, across, _SCIENCE, tuple(layers), front
    )


def _bound(front: pa.Table, bound: pa.Table) -> Figure:
    """The most science within each propellant, and what no plan of any mothership can have more than."""
    kg, upper, best = (listed(bound, key) for key in ("propellant_kg", "science_upper", "science_best"))
    x, y = (listed(front, key) for key in ("propellant_kg", "science"))
    layers = (
        Layer("line", "no plan of any mothership has more", "bloom", kg, upper, dashed=True),
        Layer("line", "the best plan found", "leaf", kg, best),
        Layer("points", "plan of the front", "leaf", x, y, small=True),
    )
    note = "The bound is the largest of those proven for each mothership that was searched."
    across = Axis("propellant (kg)", zero=True)
    return Figure("carriers_bound", "Found and proven", note, across, _SCIENCE, layers, bound)


def _who_burns(front: pa.Table, *, counted: bool) -> Figure:
    """Kilograms of the mothership's own burns against kilograms of the probes, a mark a plan."""
    own = listed(front, "carrier_propellant_kg")
    all_kg = listed(front, "propellant_kg")
    probes = [kg - ship if counted else kg for kg, ship in zip(all_kg, own, strict=True)]
    layers = (Layer("points", "plan of the front", "leaf", probes, own),)
    return Figure(
        "carriers_kilograms",
        "Who burns: mothership against probes",
        "Each mark is a plan of the joined front.",
        Axis("propellant of the probes (kg)", zero=True),
        Axis("propellant of the mothership's burns (kg)", zero=True),
        layers,
        front,
    )
