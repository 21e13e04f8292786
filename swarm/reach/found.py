"""What a screen leaves behind, as one record."""

from __future__ import annotations

from dataclasses import dataclass, field

import pyarrow as pa

from swarm.reach.mothership.flybys import Flyby
from targets.base.errors import NothingFeasible
from targets.catalogue.reading import Catalogue


@dataclass(frozen=True)
class Screening:
    """What the screen found.

    opportunities : table, one row an opportunity (columns of the contract and a few more)
    targets       : the bodies that have one, in catalogue order, then planets and moons that have one; `target_index`
                    of a row points here
    path          : table of the mothership's unburned path
    counts        : how many bodies, approaches and minima were left after each step
    flybys        : the mothership's passages of planets
    notes         : sentences about the mothership and the cache
    by_kind       : the counts of each kind of encounter alone
    cautions      : sentences about what was asked for and refused
    limits        : sentences on what limits the rows that were found
    barred        : why approaches of a kind of encounter leave nothing, where its screen alone knows; by kind
    """

    opportunities: pa.Table
    targets: Catalogue
    path: pa.Table
    counts: dict[str, float]
    flybys: tuple[Flyby, ...] = ()
    notes: tuple[str, ...] = ()
    by_kind: dict[str, dict[str, float]] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()
    limits: tuple[str, ...] = ()
    barred: dict[str, NothingFeasible] = field(default_factory=dict)
