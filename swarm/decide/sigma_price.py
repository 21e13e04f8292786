"""What one sigma of a counter costs, by each way of being low: a spiral, impulses, a pass.

Of the rows that some plan of the front flies, for each way the one that gives a sigma for the least mass. A probe of
mass m that gives Z sigma costs m/Z kg a sigma; sigmas of several probes add by their squares, so that one sigma takes
1/Z^2 such probes where Z is under 1. What is counted is not the same ground: see `WHAT_GROUND`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pyarrow.compute as pc

from swarm.study.by_design import probe_values

if TYPE_CHECKING:
    from swarm.study.schema import Study

WHAT_GROUND = (
    "sigmas are of the ground each can choose: of an orbit a disc anywhere in the latitudes that a row asks for, of a "
    "pass the disc below its lowest point"
)
WAYS = {"spiral": "by spiral", "impulsive": "by impulses", "low-pass": "by a low pass"}


@dataclass(frozen=True)
class SigmaPrice:
    """The cheapest row of a way; sigma: of one probe that works; kg: wet."""

    way: str
    opportunity: int
    design: str
    sigma: float
    probe_kg: float

    @property
    def kg_per_sigma(self) -> float:
        return self.probe_kg / self.sigma

    @property
    def probes_for_one(self) -> int:
        """How many such probes together give one sigma."""
        return max(1, math.ceil(1.0 / self.sigma**2 - 1e-9))


def sigma_prices(study: Study, opportunities: pa.Table, plans: pa.Table) -> list[SigmaPrice]:
    """The ways that some plan of the front takes with a counter, in the order of WAYS; none where nothing counts."""
    if "count_sigma" not in opportunities.column_names:
        return []
    flown = opportunities.filter(
        pc.is_in(opportunities["opportunity"], value_set=pc.unique(plans["opportunity"]))
    )
    found: dict[str, SigmaPrice] = {}
    masses = probe_values(study, flown, "wet_mass_kg")
    for row, kilograms in zip(flown.to_pylist(), masses.tolist(), strict=True):
        sigma, way = row["count_sigma"] or 0.0, _way(row)
        if way not in WAYS or not sigma > 0.0:
            continue
        price = SigmaPrice(way, row["opportunity"], row.get("design") or "probe", sigma, kilograms)
        if way not in found or price.kg_per_sigma < found[way].kg_per_sigma:
            found[way] = price
    return [found[way] for way in WAYS if way in found]


def price_lines(prices: list[SigmaPrice]) -> list[str]:
    """The same in sentences."""
    said = [
        f"{WAYS[each.way]} ({each.design}, opportunity {each.opportunity}): {each.kg_per_sigma:.3g} kg a sigma, "
        f"{each.sigma:.2g} of a probe of {each.probe_kg:g} kg"
        + ("" if each.probes_for_one == 1 else f"; {each.probes_for_one} of them give one")
        for each in prices
    ]
    return [*said, WHAT_GROUND] if said else []


def _way(row: dict[str, Any]) -> str:
    return str(row.get("capture") or row["kind"])
