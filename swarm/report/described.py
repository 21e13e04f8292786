"""What the figures of one plan say and how they look: described once, for the page's script and for slides.

The script draws these figures again whenever another plan or probe is chosen; it has no text, height or mark of its own
for them. `{plan}`, `{probe}` and `{target}` are filled in by both. tests/report/test_script_and_slides.py compares what
the two make of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import pyarrow as pa

from swarm.report.chart_rows import look_of
from swarm.report.figure_parts import EVENT_MARKS, Axis, Figure, Layer


@dataclass(frozen=True)
class Mark:
    """A layer without its places."""

    kind: str
    label: str
    tone: str
    symbol: str = "circle"
    dashed: bool = False
    fill: bool = False
    small: bool = False

    def layer(self, x: list[Any], y: list[Any], **more: Any) -> Layer:
        return Layer(**(asdict(self) | {"x": x, "y": y} | more))


@dataclass(frozen=True)
class Described:
    """A figure without its places."""

    name: str
    title: str
    note: str
    x: Axis
    y: Axis
    marks: dict[str, Mark]
    equal: bool = False
    height: float = 0.62  # of the width

    def figure(
        self, layers: Sequence[Layer], data: pa.Table, *, names: tuple[str, ...] = (), **filled: object
    ) -> Figure:
        """The figure with its layers, and the names along its axis of names.

        Marks that no layer has come after them without a place, so that page and slides have one specification.
        """
        there = [Mark(**look_of(layer)) for layer in layers]
        layers = [*layers, *(mark.layer([], []) for mark in self.marks.values() if mark not in there)]
        y = replace(self.y, names=names) if self.y.kind == "names" else self.y
        title = self.title.format(**filled)
        return Figure(self.name, title, self.note, self.x, y, tuple(layers), data, self.equal, self.height)

    def form(self) -> Figure:
        """The figure without a mark, for the page to fill."""
        return self.figure([], pa.table({}), plan="", probe="", target="")

    def __getitem__(self, mark: str) -> Mark:
        return self.marks[mark]


_ON_MAP = {
    "orbit": Mark("line", "orbit of a planet", "mute"),
    "planet": Mark("points", "", "mute", small=True),
    "path": Mark("line", "mothership", "leaf"),
    "arc": Mark("line", "arc of a probe", "sky"),
    "burn": Mark("points", "burn", "sky", "square"),
    "met": Mark("points", "encounter, by probe", "bloom", "diamond"),
    "sun": Mark("points", "Sun", "bark"),
    "now_ship": Mark("open", "", "leaf"),
    "now_probe": Mark("open", "", "sky"),
    "now_planet": Mark("open", "", "mute"),
}
_TWO_BODY = "Arcs are drawn as two-body arcs, bent to end at the target. The Sun is at 0, 0."

PLAN_FIGURES: dict[str, Described] = {
    figure.name: figure
    for figure in (
        Described(
            "map",
            "Plan {plan} from above",
            f"From the north pole of the ecliptic. {_TWO_BODY}",
            Axis("ecliptic x (au)"),
            Axis("ecliptic y (au)"),
            _ON_MAP,
            equal=True,
            height=0.8,
        ),
        Described(
            "map_side",
            "Plan {plan} from the side",
            f"Along the plane of the ecliptic. {_TWO_BODY}",
            Axis("ecliptic x (au)"),
            Axis("ecliptic z (au)"),
            _ON_MAP,
            equal=True,
            height=0.45,
        ),
        Described(
            "apart",
            "Plan {plan} seen from the mothership",
            "The mothership is at 0, 0; the axes are those of the ecliptic and do not turn. From burn to encounter.",
            Axis("ecliptic x from the mothership (au)"),
            Axis("ecliptic y from the mothership (au)"),
            {
                "arc": Mark("line", "arc of a probe", "sky"),
                "met": Mark("points", "encounter, by probe", "bloom", "diamond"),
                "ship": Mark("points", "mothership", "leaf"),
            },
            equal=True,
            height=0.8,
        ),
        Described(
            "timeline",
            "Dates of plan {plan}",
            "Shaded: blackouts of the study, in which nothing is released.",
            Axis("date (TDB)", "date"),
            Axis("probe: target", "names"),
            {
                "blackout": Mark("band", "blackout", "mute"),
                "flight": Mark("line", "from release to data home", "mute"),
                **{
                    event: Mark("points", event, tone, symbol)
                    for event, (symbol, tone) in EVENT_MARKS.items()
                },
            },
        ),
        Described(
            "successes",
            "How many probes of plan {plan} return data",
            "Hardware, link and shared failures; the quality of the data is not asked for here.",
            Axis("probes that return data (number)"),
            Axis("chance of at least so many (0 to 1)", zero=True),
            {"returned": Mark("bars", "at least so many", "leaf")},
            height=0.5,
        ),
        Described(
            "b_plane",
            "Aim of probe {probe} at {target}",
            "Inside the keep-out ring the probe may not pass; inside the turn-rate ring the camera cannot follow.",
            Axis("B.T (km)"),
            Axis("B.R (km)"),
            {
                "three": Mark("ring", "delivery, 3 sigma", "sky", dashed=True),
                "one": Mark("ring", "delivery, 1 sigma", "sky", fill=True),
                "keepout": Mark("ring", "keep-out", "bloom"),
                "slew": Mark("ring", "turn-rate limit", "bark", dashed=True),
                "aim": Mark("points", "aim point", "ink", "plus"),
                "target": Mark("points", "target", "ink"),
            },
            equal=True,
            height=0.8,
        ),
        Described(
            "b_plane_near",
            "Delivery of probe {probe} about its aim point",
            "The same ellipses, near: where they are small beside the distance of the aim point from the target.",
            Axis("B.T (km)"),
            Axis("B.R (km)"),
            {
                "three": Mark("ring", "delivery, 3 sigma", "sky", dashed=True),
                "one": Mark("ring", "delivery, 1 sigma", "sky", fill=True),
                "aim": Mark("points", "aim point", "ink", "plus"),
            },
            equal=True,
            height=0.8,
        ),
        Described(
            "windows",
            "Burns that meet {target}",
            "Each mark is a local minimum of the burn: when the probe is released, and when it meets the target.",
            Axis("release (TDB)", "date"),
            Axis("encounter (TDB)", "date"),
            {"chosen": Mark("circled", "the one of this plan", "ink")},
        ),
    )
}


def as_data() -> dict[str, Any]:
    """The descriptions as plain data for the page's script."""
    return {name: asdict(figure) for name, figure in PLAN_FIGURES.items()}
