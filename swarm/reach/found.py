"""What a screen leaves behind, as one record."""

from __future__ import annotations

from dataclasses import dataclass

import pyarrow as pa

from swarm.reach.mothership.flybys import Flyby
from targets.catalogue.reading import Catalogue


@dataclass(frozen=True)
class Screening:
    """What the screen found.

    opportunities : table, one row an opportunity (columns of the contract and a few more)
    targets       : the bodies that have one, in catalogue order; `target_index` of a row points here
    path          : table of the mothership's unburned path
    counts        : how many bodies, approaches and minima were left after each step
    flybys        : the mothership's passages of planets
    notes         : sentences about the mothership and the cache
    """

    opportunities: pa.Table
    targets: Catalogue
    path: pa.Table
    counts: dict[str, float]
    flybys: tuple[Flyby, ...] = ()
    notes: tuple[str, ...] = ()
