"""Marks and legend of a figure's specification: each kind of layer once, its look taken from the signal `looks`."""

from __future__ import annotations

from typing import Any

from swarm.report.figure_parts import Axis, Figure

Spec = dict[str, Any]

# How marks of the figures are called by Vega.
_SHAPES = (
    "{circle: 'circle', square: 'square', triangle: 'triangle-up', diamond: 'diamond', down: 'triangle-down', "
    "plus: 'cross'}"
)
_LOOK = "looks[datum.m]"
TONE = {"signal": f"tones[{_LOOK}.tone]"}
_SHEET = {"signal": "tones.sheet"}
_INK = {"signal": "tones.ink"}
_DASH = {"signal": f"{_LOOK}.dashed ? [6, 4] : [1, 0]"}
# Where a text may stand beside its mark, and how far off (pixels), the best first.
_SIDES = ["top-right", "bottom-right", "top-left", "bottom-left", "right", "left", "top", "bottom"]
_DISTANCES = (5, 11, 18, 26, 36)
# How far a mark reaches (pixels), and up to how many marks texts keep clear of all of them.
_REACH, _FEW = 6, 200
# Pixels a letter of the legend takes at most on average, and what a column takes beside its label.
_LETTER, _BESIDE_LABEL = 7.0, 36
_ZOOMED = {"signal": "!!(zoom_x || zoom_y)"}


def marks(used: list[str], figure: Figure) -> list[Spec]:
    """Marks of the kinds that are used, from behind to before, and the rectangle drawn with the mouse."""
    made = [mark for kind in used for mark in _MARKS[kind](figure)]
    for mark in made:
        mark["aria"] = False
        if mark["type"] != "group":
            mark.setdefault("clip", _ZOOMED)
    return [*made, _drawn_rectangle(figure)]


def _place(side: str, axis: Axis, field: str) -> Spec:
    return {"scale": side, "field": f"t{field}" if axis.kind == "date" else field}


def _xy(figure: Figure) -> Spec:
    return {"x": _place("x", figure.x, "x"), "y": _place("y", figure.y, "y")}


def _symbols(kind: str, figure: Figure, **look: Any) -> Spec:
    place = _xy(figure)
    shown = {"signal": "isValid(datum.x) && isValid(datum.y) ? 1 : 0"}
    update = {**place, "opacity": shown, "tooltip": {"signal": "datum"}, **look}
    return {"type": "symbol", "from": {"data": kind}, "encode": {"update": update}}


def _points(figure: Figure) -> list[Spec]:
    there, place = "isValid(datum.x) && isValid(datum.y)", _xy(figure)
    dots = _symbols(
        "points",
        figure,
        size={"signal": f"{_LOOK}.small ? 11 : 66"},
        shape={"signal": f"{_SHAPES}[{_LOOK}.symbol]"},
        fill=TONE,
        stroke=_SHEET,
        strokeWidth={"signal": f"{_LOOK}.small ? 0 : 0.7"},
        opacity={"signal": f"{there} ? ({_LOOK}.small ? 0.45 : 1) : 0"},
    )
    # placed beside rows, not beside marks: to keep clear of marks the library would need a browser to draw them in
    texts: Spec = {
        "type": "text",
        "from": {"data": "beside"},
        "interactive": False,
        "encode": {
            "update": {
                "x": {**place["x"], "offset": {"field": "dx"}},
                "y": {**place["y"], "offset": {"field": "dy"}},
                "text": {"field": "text"},
                "fill": _INK,
                "fontSize": {"signal": "datum.text ? 12 : 1"},
            },
        },
        "transform": [
            {
                "type": "label",
                "size": {"signal": "[width, height]"},
                "anchor": _SIDES * len(_DISTANCES),
                "offset": [distance for distance in _DISTANCES for _ in _SIDES],
            }
        ],
    }
    return [dots, texts]


def beside() -> list[Spec]:
    """Transforms that make rows of `points` those of the texts beside them: `text`, and `dx`, `dy` in pixels.

    A text has a space at either end: two numbers side by side would be read as one. Of each mark there are the middle
    and four places about it, which texts keep clear of; not where there are many marks: such figures name none.
    """
    about = [[0, 0], [_REACH, 0], [-_REACH, 0], [0, _REACH], [0, -_REACH]]
    said = "datum.dx == 0 && datum.dy == 0 && datum.said ? '\u00a0' + datum.said + '\u00a0' : ''"
    return [
        {"type": "joinaggregate", "as": ["all"], "ops": ["count"]},
        {
            "type": "filter",
            "expr": f"(isValid(datum.said) || datum.all < {_FEW}) && isValid(datum.x) && isValid(datum.y)",
        },
        {"type": "formula", "as": "about", "expr": str(about)},
        {"type": "flatten", "fields": ["about"]},
        {"type": "formula", "as": "dx", "expr": "datum.about[0]"},
        {"type": "formula", "as": "dy", "expr": "datum.about[1]"},
        {"type": "formula", "as": "text", "expr": said},
    ]


def _open(figure: Figure) -> list[Spec]:
    return [_symbols("open", figure, size={"value": 130}, fill=_SHEET, stroke=TONE, strokeWidth={"value": 3})]


def _circled(figure: Figure) -> list[Spec]:
    """A ring with a paler one beneath, so that it stands out from the marks about it."""
    size, clear = {"value": 420}, {"value": "transparent"}
    below = _symbols("circled", figure, size=size, fill=clear, stroke=_SHEET, strokeWidth={"value": 6})
    ring = _symbols(
        "circled", figure, size=size, fill=clear, stroke=TONE, strokeWidth={"value": 2.4}, strokeDash=_DASH
    )
    return [{**mark, "interactive": False} for mark in (below, ring)]


def _lines(kind: str, figure: Figure, **look: Any) -> list[Spec]:
    update = {
        **_xy(figure),
        "stroke": TONE,
        "strokeWidth": {"signal": f"{_LOOK}.tone == 'mute' ? 1.2 : 1.8"},
        "strokeDash": _DASH,
        "defined": {"signal": "isValid(datum.x) && isValid(datum.y)"},
        "tooltip": {"signal": "{m: datum.m, line: true}"},
        **look,
    }
    line: Spec = {"type": "line", "from": {"data": f"each_{kind}"}, "aria": False, "clip": _ZOOMED,
                  "encode": {"update": update}}  # fmt: skip
    facet = {"name": f"each_{kind}", "data": kind, "groupby": "g"}
    size = {"width": {"signal": "width"}, "height": {"signal": "height"}}
    return [{"type": "group", "from": {"facet": facet}, "encode": {"update": size}, "marks": [line]}]


def _rings(figure: Figure) -> list[Spec]:
    paint = {"fill": TONE, "fillOpacity": {"signal": f"{_LOOK}.fill ? 0.16 : 0"}}
    return _lines("ring", figure, **paint)


def _bars(figure: Figure) -> list[Spec]:
    update = {
        "x": {"signal": "scale('x', datum.x - 0.36)"},
        "x2": {"signal": "scale('x', datum.x + 0.36)"},
        "y": _place("y", figure.y, "y"),
        "y2": _place("y", figure.y, "y2"),
        "cornerRadiusTopLeft": {"value": 2},
        "cornerRadiusTopRight": {"value": 2},
        "fill": TONE,
        "tooltip": {"signal": "datum"},
    }
    return [{"type": "rect", "from": {"data": "bars"}, "encode": {"update": update}}]


def _across(figure: Figure) -> list[Spec]:
    update = {
        "x": _place("x", figure.x, "x"),
        "x2": _place("x", figure.x, "x2"),
        "yc": {"scale": "y", "field": "y"},
        "height": {"value": 14},
        "cornerRadius": {"value": 2},
        "fill": TONE,
        "tooltip": {"signal": "datum"},
    }
    return [{"type": "rect", "from": {"data": "across"}, "encode": {"update": update}}]


def _error(figure: Figure) -> list[Spec]:
    """Whiskers with an end of a few pixels."""
    x, low, high = (_place(side, axis, field) for side, axis, field in
                    (("x", figure.x, "x"), ("y", figure.y, "y"), ("y", figure.y, "y2")))  # fmt: skip
    look = {"stroke": TONE, "strokeWidth": {"value": 1.5}}
    rule: Spec = {
        "type": "rule",
        "from": {"data": "error"},
        "encode": {"update": {"x": x, "y": low, "y2": high, **look}},
    }
    ends = [
        {"type": "rule", "from": {"data": "error"}, "encode": {"update": {
            "x": {**x, "offset": -4}, "x2": {**x, "offset": 4}, "y": at, **look}}}
        for at in (low, high)
    ]  # fmt: skip
    return [rule, *ends]


def _band(figure: Figure) -> list[Spec]:
    update = {
        "x": _place("x", figure.x, "x"),
        "x2": _place("x", figure.x, "x2"),
        "y": {"value": 0},
        "y2": {"signal": "height"},
        "fill": TONE,
        "fillOpacity": {"value": 0.2},
        "tooltip": {"signal": "datum"},
    }
    return [{"type": "rect", "from": {"data": "band"}, "encode": {"update": update}, "clip": True}]


def _cells(figure: Figure) -> list[Spec]:
    ends = {
        f"{side}{two}": {"signal": f"scale('{side}', datum.{side} + {step})"}
        for side in "xy"
        for two, step in (("", -0.48), ("2", 0.48))
    }
    rects: Spec = {"type": "rect", "from": {"data": "cells"}, "encode": {"update": {
        **ends, "fill": TONE, "cornerRadius": {"value": 3}, "tooltip": {"signal": "datum"}}}}  # fmt: skip
    text = {"text": {"field": "said"}, "align": {"value": "center"}, "baseline": {"value": "middle"},
            "fill": _INK, "fontSize": {"value": 13}}  # fmt: skip
    texts: Spec = {"type": "text", "from": {"data": "cells"}, "interactive": False,
                   "encode": {"update": {**_xy(figure), **text}}}  # fmt: skip
    return [rects, texts]


_MARKS = {
    "points": _points, "open": _open, "circled": _circled, "line": lambda figure: _lines("line", figure),
    "ring": _rings, "bars": _bars, "across": _across, "error": _error, "band": _band, "cells": _cells,
}  # fmt: skip


def _drawn_rectangle(figure: Figure) -> Spec:
    """What the mouse draws; along names everything stays in sight."""
    ends: Spec = {}
    for side, k, length in (("x", 0, "width"), ("y", 1, "height")):
        names = getattr(figure, side).kind == "names"
        ends[side] = {"value": 0} if names else {"signal": f"dragging ? down[{k}] : 0"}
        ends[f"{side}2"] = {"signal": length if names else f"dragging ? drag[{k}] : 0"}
    update = {**ends, "fill": {"signal": "tones.sky"}, "opacity": {"signal": "dragging ? 0.15 : 0"}}
    return {"type": "rect", "aria": False, "interactive": False, "encode": {"update": update}}


def legend_columns(labels: list[str]) -> str:
    """As many columns as have room beside each other, by the longest label of each: an expression of `width`."""
    needs = {}
    for many in range(2, len(labels) + 1):
        longest = [max(map(len, labels[k::many])) for k in range(many)]
        needs[many] = sum(_LETTER * length + _BESIDE_LABEL for length in longest) - _BESIDE_LABEL / 2
    fits = [f"width >= {need:.0f} ? {many} : " for many, need in sorted(needs.items(), reverse=True)]
    return f"{''.join(fits)}1"


def legend(labels: list[str]) -> Spec:
    """One row or more above the figure; every look as it stands in the figure."""
    look = "in_legend[datum.index]"
    wide = f"indexof(['line', 'ring', 'error'], {look}.kind) >= 0"
    round_ = f"indexof(['circled', 'open'], {look}.kind) >= 0"
    hollow = f"({wide} || {round_})"
    flat = f"{wide} ? 'stroke' : {round_} ? 'circle' : 'square'"
    shape = f"{look}.kind == 'points' ? {_SHAPES}[{look}.symbol] : {flat}"
    symbols = {
        "shape": {"signal": shape},
        "fill": {"signal": f"{hollow} ? 'transparent' : tones[{look}.tone]"},
        "stroke": {"signal": f"tones[{hollow} ? {look}.tone : 'sheet']"},
        "strokeDash": {"signal": f"{look}.dashed ? [5, 3] : [1, 0]"},
        "opacity": {"signal": f"{look}.kind == 'band' ? 0.35 : 1"},
    }
    return {
        "fill": "legend",
        "symbolType": "square",
        # one size and width of line for all: the library asks for both before it knows which entry it is
        "symbolSize": 80,
        "symbolStrokeWidth": 1.8,
        "orient": "top",
        "direction": "horizontal",
        "columns": {"signal": legend_columns(labels)},
        "columnPadding": 16,
        "rowPadding": 3,
        "offset": 32,
        "aria": False,
        "labelFontSize": 12.5,
        "labelLimit": {"signal": "whole_names ? 0 : width"},
        "labelColor": {"signal": "tones.ink"},
        "encode": {"symbols": {"update": symbols}},
    }
