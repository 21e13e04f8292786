"""What the chosen plan and each probe count cost, in the study's own numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import pyarrow as pa

if TYPE_CHECKING:
    from swarm.study.schema import Study
    from swarm.study.sections.accounts import CostSettings

_COLUMNS = (
    "carried", "fixed", "probes", "mass", "tracking", "total", "science", "per_science",
)  # fmt: skip


def units(count: int, learning: float) -> float:
    """Return what so many units of one design cost, the first of them 1 (Wright 1936: n^(log2 learning) the n-th)."""
    return math.fsum(n ** math.log2(learning) for n in range(1, count + 1))


def carried_of(study: Study, count: int | None = None) -> dict[str, int]:
    """Return how many of each design are carried; of a probe count with one design, that count."""
    if study.designs:
        return {design.name: design.count for design in study.designs}
    return {"probe": study.probe.count if count is None else count}


def costs(study: Study, asked: Sequence[tuple[str, dict[str, int], float, float, float]]) -> pa.Table | None:
    """Return a row for each of (what, carried by design, mass with margins in kg, tracking hours, science).

    None without [cost].
    """
    if (cost := study.cost) is None:
        return None
    rows = [(what, *_parts(cost, carried, kg, hours, science)) for what, carried, kg, hours, science in asked]
    return pa.table(
        {"what": [row[0] for row in rows], "unit": [cost.unit] * len(rows)}
        | {key: [row[k + 1] for row in rows] for k, key in enumerate(_COLUMNS)}
    )


def _parts(
    cost: CostSettings, carried: dict[str, int], mass_kg: float, hours: float, science: float
) -> tuple[int | float, ...]:
    probes = math.fsum(
        cost.of_design.get(name, cost.per_probe) * units(count, cost.learning)
        for name, count in carried.items()
    )
    mass, tracking = cost.per_kg * mass_kg, cost.per_tracking_hour * hours
    total = math.fsum((cost.fixed, probes, mass, tracking))
    each = total / science if science > 0.0 else math.nan
    return sum(carried.values()), cost.fixed, probes, mass, tracking, total, science, each
