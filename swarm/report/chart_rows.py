"""The layers of a figure as rows, by kind of mark: what a specification draws, and what the page's script replaces.

`figures.js` makes rows of a chosen plan the same way; tests/report/test_script_and_slides.py compares the two.
"""

from __future__ import annotations

import math
from typing import Any

from swarm.report.figure_parts import Figure, Layer

# From behind to before. Those of ON_TOP are put over the others and stretch no axis.
KINDS = ("band", "cells", "across", "bars", "ring", "line", "error", "points", "open", "circled")
ON_TOP = ("open", "circled")
RING_STEPS = 72
_LOOK = ("kind", "label", "tone", "symbol", "dashed", "fill", "small")

Row = dict[str, Any]


def look_of(layer: Layer) -> dict[str, Any]:
    """What a layer's marks look like, wherever they are."""
    return {key: getattr(layer, key) for key in _LOOK}


def looks_of(figure: Figure) -> list[dict[str, Any]]:
    """Every look of a figure once, in order."""
    looks: list[dict[str, Any]] = []
    for layer in figure.layers:
        if look_of(layer) not in looks:
            looks.append(look_of(layer))
    return looks


def rows_of(figure: Figure) -> dict[str, list[Row]]:
    """Rows by kind: m (number of the look), g (number of the layer: a line is a g), x, y, x2, y2, said, key.

    Values are those of the layers, not rounded; what a row has not is left out.
    """
    looks = looks_of(figure)
    rows: dict[str, list[Row]] = {kind: [] for kind in KINDS}
    for g, layer in enumerate(figure.layers):
        m = looks.index(look_of(layer))
        for row in _layer_rows(layer):
            rows[layer.kind].append({"m": m, "g": g} | {k: v for k, v in row.items() if _is_there(v)})
    return rows


def _is_there(value: Any) -> bool:
    return value is not None and (not isinstance(value, float) or math.isfinite(value))


def _layer_rows(layer: Layer) -> list[Row]:
    if layer.kind == "ring":
        return _ellipse(layer) if layer.x else []
    return [_row(layer, k) for k in range(len(layer.x))]


def _row(layer: Layer, k: int) -> Row:
    row: Row = {"x": layer.x[k], "y": layer.y[k] if layer.y else None}
    if layer.kind in ("across", "band"):
        row["x2"] = layer.to[k]
    elif layer.kind == "error":
        row |= {"y": layer.y[k] - layer.to[k], "y2": layer.y[k] + layer.to[k]}
    elif layer.kind == "bars":
        row["y2"] = layer.to[k] if layer.to else 0.0
    return row | {"said": layer.said[k] if layer.said else None, "key": layer.key[k] if layer.key else None}


def _ellipse(layer: Layer) -> list[Row]:
    """Points of a ring about its centre, closed."""
    larger, smaller, degrees = layer.to
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    rows = []
    for k in range(RING_STEPS + 1):
        turn = 2.0 * math.pi * k / RING_STEPS
        u, v = larger * math.cos(turn), smaller * math.sin(turn)
        rows.append({"x": layer.x[0] + u * c - v * s, "y": layer.y[0] + u * s + v * c})
    return rows
