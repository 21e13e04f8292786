"""What a figure is made of: axes, layers, marks, names cut to fit."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pyarrow as pa

from swarm.report.page_tables import columns_of

LABEL_MAX = 28
# Places of a planet once around: a line between two of them stays within 0.04 % of its distance.
ORBIT_POINTS = 120
# Probe counts share a mark so that no more classes than the ramp has steps stand side by side.
SYMBOLS = ("circle", "square", "triangle", "diamond", "down", "plus")
EVENT_MARKS = {
    "release": ("triangle", "ink"),
    "burn": ("square", "sky"),
    "correction": ("plus", "bark"),
    "encounter": ("diamond", "bloom"),
    "data home": ("circle", "leaf"),
}


@dataclass(frozen=True)
class Axis:
    """What an axis shows: `kind` is number, date (Julian dates) or names (places 0, 1, ... of `names`)."""

    label: str
    kind: str = "number"
    names: tuple[str, ...] = ()
    zero: bool = False  # whether 0 is to be in sight


@dataclass(frozen=True)
class Layer:
    """Marks of one kind: points, circled (a ring around a mark), line, bars, across (bars to the side), error, band,
    ring, text or cells.

    x, y   : where; `to` is where a bar or band ends, or the length of an error's whisker
    said   : a text per mark
    key    : a number per mark by which the page knows it (a plan, a probe)
    small  : points in the background, behind those a reader should look at first
    ring   : x, y the centre; `to` holds (larger, smaller half axis, angle in degrees from x to y)
    """

    kind: str
    label: str
    tone: str
    x: list[Any]
    y: list[Any]
    to: list[Any] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    key: list[int] = field(default_factory=list)
    symbol: str = "circle"
    dashed: bool = False
    fill: bool = False
    small: bool = False


@dataclass(frozen=True)
class Figure:
    """A figure and the table behind it, as it is written to CSV."""

    name: str
    title: str
    note: str
    x: Axis
    y: Axis
    layers: tuple[Layer, ...]
    data: pa.Table
    equal: bool = False  # one unit has the same length on both axes
    height: float = 0.62  # of the width


def clipped(name: str) -> str:
    """A name short enough to stand in a figure."""
    return name if len(name) <= LABEL_MAX else name[: LABEL_MAX - 1] + "\u2026"


def listed(table: pa.Table, key: str) -> list[Any]:
    return columns_of(table, (key,))[key]
