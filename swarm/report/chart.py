"""One figure as one Vega specification: the page shows it, slides are made of it.

Data stand by kind of mark (`chart_rows`); everything else of a figure is signals, so that the page's script only
replaces rows and sets signals. Names of catalogues stand in values alone, never in an expression.
"""

from __future__ import annotations

import json
from typing import Any

from swarm.report.chart_marks import beside, legend, marks
from swarm.report.chart_rows import KINDS, ON_TOP, looks_of, rows_of
from swarm.report.figure_parts import Axis, Figure
from swarm.report.tones import LIGHT, RAMP_LIGHT

PAPER_TONES = {**LIGHT, **{f"ramp{k}": tone for k, tone in enumerate(RAMP_LIGHT)}}
TYPEFACE = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'Liberation Sans', sans-serif"
_UNIX_JD = 2440587.5
# Below this width of the drawing area a figure stands higher, and has fewer columns in its legend.
_NARROW = 420
_NAME_HEIGHT = 26
# Longest name beside an upright axis, pixels, and room for half a label at the right end.
_NAMES, _NAMES_NARROW, _RIGHT = 190, 100, 26
_DATES = {"year": "%Y", "quarter": "%Y-%m", "month": "%Y-%m", "week": "%Y-%m-%d", "date": "%Y-%m-%d",
          "hours": "%m-%d %H h"}  # fmt: skip
_LEAST_MS = 10 * 864e5  # to either side of dates that are one

_TITLE = {"text": {"signal": "title"}, "anchor": "start", "frame": "bounds", "fontSize": 17, "fontWeight": 600,
          "color": {"signal": "tones.ink"}, "offset": {"signal": "title ? 14 : 0"}}  # fmt: skip

Spec = dict[str, Any]


def chart(figure: Figure, *, width: int = 720, titled: bool = False, typeface: str = TYPEFACE,
          span: tuple[float, float] = (2460000.5, 2463652.5)) -> Spec:  # fmt: skip
    """The specification of a figure.

    titled : whether the title stands in the picture; on the page it stands above it as text
    span   : dates of an axis of dates with nothing on it, JD TDB
    """
    looks, rows = looks_of(figure), rows_of(figure)
    listed = _listed(looks, rows)
    said = [look["label"] for look in listed]
    used = [kind for kind in KINDS if any(look["kind"] == kind for look in looks)]
    spec: Spec = {
        "description": f"{figure.title}. Across: {figure.x.label}. Up: {figure.y.label}.",
        "padding": 16 if titled else {"left": 2, "right": 4, "top": 4, "bottom": 4},
        "background": {"signal": "tones.sheet"},
        "title": _TITLE,
        "autosize": "pad",
        "config": _config(typeface),
        "signals": [
            {"name": "outer", "value": width},
            {"name": "title", "value": figure.title if titled else ""},
            {"name": "whole_names", "value": titled},
            {"name": "in_legend", "value": listed},
            *_signals(figure, looks, span),
        ],
        "data": _data(figure, used, rows),
        "scales": [
            _scale("x", figure.x, "width"),
            _scale("y", figure.y, "height"),
            {"name": "legend", "type": "ordinal", "domain": said, "range": said},
        ],
        "axes": [_axis("x", figure.x), _axis("y", figure.y)],
        "marks": marks(used, figure),
    }
    if len(said) > 1:
        spec["legends"] = [legend(said)]
    return spec


def _listed(looks: list[dict[str, Any]], rows: dict[str, list[dict[str, Any]]]) -> list[dict[str, Any]]:
    """Looks of the legend: of what is drawn, or of everything where the figure is yet to be filled."""
    drawn = {row["m"] for some in rows.values() for row in some}
    there = [look for k, look in enumerate(looks) if look["label"] and (k in drawn or not drawn)]
    return list({look["label"]: look for look in reversed(there)}.values())[::-1]


def _height(figure: Figure) -> str:
    least = 0.6 if figure.equal else 0.9
    if figure.y.kind == "names" and not figure.equal:
        return f"max({_NAME_HEIGHT} * length(names_y), 110)"
    return f"width * (width < {_NARROW} ? {max(figure.height, least)} : {figure.height})"


def _left(axis: Axis) -> str:
    """Room beside a figure for the labels of its upright axis.

    Set beforehand: if it followed the labels, fewer or more of them could fit each time it was set.
    """
    if axis.kind != "names":
        return "70" if axis.kind == "date" else "48"
    longest = 7.2 * max((len(name) for name in axis.names), default=99) + 12
    return f"min({longest:.0f}, outer < {_NARROW + 60} ? {_NAMES_NARROW + 14} : {_NAMES + 14})"


def _config(typeface: str) -> Spec:
    quiet = {"domain": False, "ticks": False, "labelPadding": 7, "titleFontWeight": 400, "labelFontSize": 12,
             "titleFontSize": 12.5}  # fmt: skip
    return {
        "axis": quiet,
        "title": {"font": typeface},
        "style": {key: {"font": typeface} for key in ("guide-label", "guide-title", "group-title")},
        "text": {"font": typeface},
        "locale": {"number": {"decimal": ".", "thousands": "\u202f", "grouping": [3], "currency": ["", ""]}},
    }


# --- what the marks hang on ----------------------------------------------------------------------------------


def _data(figure: Figure, used: list[str], rows: dict[str, list[dict[str, Any]]]) -> list[Spec]:
    """A set of rows a kind, and all that stretch the axes together; dates are told to the scale in milliseconds."""
    to_ms = [
        {"type": "formula", "as": f"t{field}", "expr": f"(datum.{field} - {_UNIX_JD}) * 864e5"}
        for side, fields in (("x", ("x", "x2")), ("y", ("y", "y2")))
        for field in fields
        if getattr(figure, side).kind == "date"
    ]
    made: list[Spec] = [{"name": kind, "values": rows[kind], "transform": to_ms} for kind in used]
    if "points" in used:
        made.append({"name": "beside", "source": "points", "transform": beside()})
    extents = [
        {"type": "extent", "field": field_of(getattr(figure, field[0]), field), "signal": f"seen_{field}"}
        for field in ("x", "x2", "y", "y2")
    ]
    seen = [kind for kind in used if kind not in ON_TOP]
    return [*made, {"name": "seen", "source": seen, "transform": extents}]


def field_of(axis: Axis, field: str) -> str:
    return f"t{field}" if axis.kind == "date" else field


def _signals(figure: Figure, looks: list[dict[str, Any]], span: tuple[float, float]) -> list[Spec]:
    plain: list[Spec] = [
        {"name": "width", "value": 600, "update": f"max(outer - {_left(figure.y)} - {_RIGHT}, 120)"},
        {"name": "height", "value": 400, "update": _height(figure)},
        {"name": "tones", "value": PAPER_TONES},
        {"name": "looks", "value": looks},
        {"name": "names_x", "value": list(figure.x.names)},
        {"name": "names_y", "value": list(figure.y.names)},
    ]
    bars = any(look["kind"] == "bars" for look in looks)
    ends = [_ends("x", figure.x, span, bars=bars), _ends("y", figure.y, span)]
    return [*plain, *_zoom(figure), *ends, *_domains(figure)]


def _ends(side: str, axis: Axis, span: tuple[float, float], *, bars: bool = False) -> Spec:
    """From where to where an axis goes by itself: its marks, 0 where it is asked for, and a little more."""
    if axis.kind == "names":
        return {"name": f"whole_{side}", "update": f"[-0.6, length(names_{side}) - 0.4]"}
    first, last = [(jd - _UNIX_JD) * 864e5 for jd in span] if axis.kind == "date" else [0.0, 1.0]
    a, b = f"seen_{side}", f"seen_{side}2"
    low, high = (
        f"(isValid({a}[{k}]) ? (isValid({b}[{k}]) ? {least}({a}[{k}], {b}[{k}]) : {a}[{k}]) "
        f": (isValid({b}[{k}]) ? {b}[{k}] : {end}))"
        for k, least, end in ((0, "min", first), (1, "max", last))
    )
    if axis.zero:
        low, high = f"min({low}, 0)", f"max({high}, 0)"
    few = str(_LEAST_MS) if axis.kind == "date" else f"max(0.1 * abs({high}), 0.5)"
    pad = "0.6" if bars else f"({high} - {low} > 0 ? 0.04 * ({high} - {low}) : {few})"
    ends = [f"{low} - {pad}", f"{high} + {pad}"]
    if axis.zero:
        ends = [f"{low} == 0 ? 0 : {ends[0]}", f"{high} == 0 ? 0 : {ends[1]}"]
    return {"name": f"whole_{side}", "update": f"[{ends[0]}, {ends[1]}]"}


def _domains(figure: Figure) -> list[Spec]:
    """What of each axis is in sight; where one unit has one length on both axes, the shorter one shows more."""
    shown = [{"name": f"chosen_{side}", "update": f"zoom_{side} || whole_{side}"} for side in "xy"]
    if not figure.equal or figure.x.kind != "number":
        return [*shown, *({"name": f"domain_{side}", "update": f"chosen_{side}"} for side in "xy")]
    per = "max((chosen_x[1] - chosen_x[0]) / width, (chosen_y[1] - chosen_y[0]) / height)"
    grown = [
        {
            "name": f"domain_{side}",
            "update": f"[(chosen_{side}[0] + chosen_{side}[1] - per * {pixels}) / 2, "
            f"(chosen_{side}[0] + chosen_{side}[1] + per * {pixels}) / 2]",
        }
        for side, pixels in (("x", "width"), ("y", "height"))
    ]
    return [*shown, {"name": "per", "update": per}, *grown]


def _zoom(figure: Figure) -> list[Spec]:
    """A rectangle drawn with the mouse is what is in sight next; a double click shows all again."""
    drag = "[mousedown, window:mouseup] > window:mousemove"
    far = "down && (abs(drag[0] - down[0]) > 6 || abs(drag[1] - down[1]) > 6)"
    made: list[Spec] = [
        {"name": "down", "value": None, "on": [
            {"events": "mousedown", "update": "[clamp(x(), 0, width), clamp(y(), 0, height)]"},
            {"events": {"signal": "released"}, "update": "null"}]},
        {"name": "drag", "value": None, "on": [
            {"events": "mousedown", "update": "[clamp(x(), 0, width), clamp(y(), 0, height)]"},
            {"events": drag, "update": "[clamp(x(), 0, width), clamp(y(), 0, height)]"}]},
        {"name": "dragging", "update": far},
        {"name": "dragged", "value": False, "on": [
            {"events": "mousedown", "update": "false"},
            {"events": "window:mouseup", "update": "!!dragging || dragged"}]},
        {"name": "released", "value": 0, "on": [{"events": "window:mouseup", "update": "released + 1"}]},
    ]  # fmt: skip
    for side, k in (("x", 0), ("y", 1)):
        if getattr(figure, side).kind == "names":
            made.append({"name": f"zoom_{side}", "value": None})
            continue
        ends = [f"invert('{side}', {end}(down[{k}], drag[{k}]))" for end in ("min", "max")]
        ends = ends if side == "x" else ends[::-1]  # up is less on the screen
        update = f"dragging ? [+{ends[0]}, +{ends[1]}] : zoom_{side}"
        made.append({"name": f"zoom_{side}", "value": None, "on": [
            {"events": "window:mouseup", "update": update}, {"events": "dblclick", "update": "null"}]})  # fmt: skip
    return made


# --- axes ----------------------------------------------------------------------------------------------------


def _scale(side: str, axis: Axis, length: str) -> Spec:
    return {
        "name": side,
        "type": "utc" if axis.kind == "date" else "linear",
        "domain": {"signal": f"domain_{side}"},
        "range": length,
        "zero": False,
        "nice": False,
    }


def _axis(side: str, axis: Axis) -> Spec:
    """An axis: quiet lines, its label above the figure or below it, read without turning the head."""
    across = side == "x"
    length, each = ("width", 92 if axis.kind == "date" else 78) if across else ("height", 52)
    made: Spec = {
        "scale": side,
        "orient": "bottom" if across else "left",
        "title": axis.label,
        "aria": False,
        "grid": axis.kind != "names",
        "gridColor": {"signal": "tones.line"},
        "gridWidth": 1,
        "labelColor": {"signal": "tones.ink"},
        "titleColor": {"signal": "tones.mute"},
        "titleLimit": {"signal": "width + 40"},
        "tickCount": {"signal": f"max({3 if axis.kind == 'date' else 2}, floor({length} / {each}))"},
        "zindex": 0,
    }
    if across:
        made |= {"titleAnchor": "end", "titleAlign": "right", "titlePadding": 8, "labelPadding": 10,
                 "labelOverlap": "parity" if axis.kind == "date" else "greedy"}  # fmt: skip
    else:
        made |= {"titleAngle": 0, "titleAnchor": "end", "titleAlign": "left", "titleX": 0, "titleY": -10,
                 "titleBaseline": "bottom"}  # fmt: skip
    if axis.kind == "number" and axis.label.endswith("(number)"):
        made["tickMinStep"] = 1
    if axis.kind == "date":
        made["format"] = _DATES
    if axis.kind == "names":
        del made["tickCount"]  # the library would leave names out to keep to it
        said = f"names_{side}[datum.value]"
        made |= {"values": {"signal": f"sequence(length(names_{side}))"}, "labelLimit": 0,
                 "encode": {"labels": {"update": {"text": {"signal": said}}}}}  # fmt: skip
        if not across:
            made["labelLimit"] = {"signal": f"!whole_names && outer < {_NARROW + 60} ? {_NAMES_NARROW} : 0"}
    return made


def as_text(spec: Spec) -> str:
    """A specification as JSON; NaN is refused."""
    return json.dumps(spec, allow_nan=False, ensure_ascii=False)
