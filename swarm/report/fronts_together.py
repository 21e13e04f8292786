"""The fronts of several runs on one figure."""

from __future__ import annotations

from collections.abc import Mapping

import pyarrow as pa

from swarm.report.figure_parts import SYMBOLS, Axis, Figure, Layer, clipped
from swarm.report.tones import RAMP_STEPS

# More runs than there are marks to tell apart share one.
_OTHERS = "mute"


def fronts_figure(fronts: Mapping[str, pa.Table], *, name: str = "fronts") -> Figure:
    """Science against propellant of every plan, a mark a run; runs beyond the sixth are drawn as one group.

    fronts : table `front` by the run's label, in the order of the legend
    """
    layers = [_layer(k, label, front, len(fronts)) for k, (label, front) in enumerate(fronts.items())]
    data = pa.concat_tables(
        [
            front.select(["plan", "probes", "science", "propellant_kg", "risk"]).add_column(
                0, "run", pa.array([label] * front.num_rows, pa.string())
            )
            for label, front in fronts.items()
        ]
    )
    return Figure(
        name,
        "Fronts of several runs",
        "Each mark is a plan. A run whose marks lie higher gets more science for the same propellant.",
        Axis("propellant of all probes (kg)", zero=True),
        Axis("science (share of what the study asks for)", zero=True),
        tuple(layers),
        data,
    )


def _layer(k: int, label: str, front: pa.Table, runs: int) -> Layer:
    own = k < RAMP_STEPS
    return Layer(
        "points",
        clipped(label) if own else f"{runs - RAMP_STEPS} others",
        f"ramp{k}" if own else _OTHERS,
        front["propellant_kg"].to_pylist(),
        front["science"].to_pylist(),
        symbol=SYMBOLS[k] if own else SYMBOLS[0],
    )
