"""One screen of several probe designs: each is swept with its own burn limit, and its rows say whose they are.

Designs that differ in nothing the screen reads share one sweep. A row found for two designs is two rows: they are
judged with different cameras and charged with different masses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from swarm.reach.found import Screening
from swarm.run.kinds import FLYBY, at_places
from swarm.study.by_design import takers
from targets.catalogue.places import with_places
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

# Of what the steps of a screen left, the numbers that add up over designs; of the others the largest is told.
_SUMS = ("approaches", "minima_within_burn_limit")
# Columns of what adds up over the probes of a plan and a flyby has none of: chances to hit, and what is burnt for it.
NONE_OF_FLYBYS = {"impact_chance", "later_impact_chance", "carrier_impact_chance", "carrier_propellant_kg"}


@dataclass(frozen=True)
class Sweeps:
    """Studies of one design each, to be screened together, and which of them are whose.

    parts : for each study asked, (design, place in `studies`, whether it takes the kind); none without [[designs]]
    """

    studies: list[Study]
    first: list[int]
    parts: list[list[tuple[str, int, bool]]]


def sweeps_of(asked: Sequence[Study]) -> Sweeps:
    """Take studies apart into what has to be swept."""
    studies: list[Study] = []
    first, parts = [], []
    for study in asked:
        begin, known, own = len(studies), dict[tuple[float, float], int](), []
        for name, alone in study.by_design.items():
            key = (alone.probe.burn_limit_m_s, alone.probe.checkout_days)
            if key not in known:
                known[key] = len(studies)
                studies.append(alone)
            own.append((name, known[key]))
        taking = takers(study, FLYBY)
        first.append(begin)
        parts.append([(name, place, name in taking) for name, place in own] if study.designs else [])
    return Sweeps(studies, first, parts)


def of_studies(sweeps: Sweeps, found: Sequence[Screening], catalogue: Catalogue) -> tuple[Screening, ...]:
    """What was found for each study that was asked."""
    return tuple(
        _joined([(name, found[place], takes) for name, place, takes in own], catalogue)
        if own
        else found[first]
        for first, own in zip(sweeps.first, sweeps.parts, strict=True)
    )


def _joined(parts: list[tuple[str, Screening, bool]], catalogue: Catalogue) -> Screening:
    """One screening of several designs: rows design by design, targets in the order of the catalogue."""
    whose = []
    for name, screening, takes in parts:
        table = screening.opportunities if takes else screening.opportunities.slice(0, 0)
        table = table.append_column("design", pa.array([name] * table.num_rows, pa.string()))
        whose.append(replace(screening, opportunities=table))
    taking = [screening for screening, (_, _, takes) in zip(whose, parts, strict=True) if takes]
    return together(taking or whose[:1], catalogue)


def together(screenings: Sequence[Screening], catalogue: Catalogue) -> Screening:
    """One screening of several on one path: their rows one after the other.

    Targets are in the order of the catalogue; after them come planets and moons by name.
    """
    if len(screenings) == 1 and "design" not in screenings[0].opportunities.column_names:
        return screenings[0]
    table = pa.concat_tables([each.opportunities for each in screenings], promote_options="default")
    for name in sorted(NONE_OF_FLYBYS & set(table.column_names)):
        # kinds that cannot hit anything, and that probes steer, have no such column
        filled = table[name].fill_null(0.0)
        table = table.set_column(table.column_names.index(name), name, filled)
    targets, target_index = _targets(table, catalogue)
    numbers = {"opportunity": np.arange(table.num_rows), "target_index": target_index}
    for name, values in numbers.items():
        table = table.set_column(table.column_names.index(name), name, pa.array(values))
    return replace(
        screenings[0],
        opportunities=table,
        targets=targets,
        counts=_counts(screenings, table, len(targets)),
        notes=tuple(dict.fromkeys(note for each in screenings for note in each.notes)),
    )


def _targets(table: pa.Table, catalogue: Catalogue) -> tuple[Catalogue, np.ndarray]:
    """The bodies and places that rows name, and (n,) which of them each row's is."""
    names, place = table["target"].to_pylist(), at_places(table)
    row_of = {name: k for k, name in enumerate(catalogue.target.tolist())}
    bodies = np.array(
        [row_of[name] for name, apart in zip(names, place, strict=True) if not apart], dtype=np.int64
    )
    reached, of_bodies = np.unique(bodies, return_inverse=True)
    places = sorted({name for name, apart in zip(names, place, strict=True) if apart})
    target_index = np.zeros(len(names), dtype=np.int64)
    target_index[~place] = of_bodies.reshape(-1)
    behind = {name: len(reached) + k for k, name in enumerate(places)}
    target_index[place] = [behind[name] for name, apart in zip(names, place, strict=True) if apart]
    return with_places(catalogue.take(reached), places), target_index


def _counts(screenings: Sequence[Screening], table: pa.Table, targets: int) -> dict[str, float]:
    own = [screening.counts for screening in screenings]
    keys = dict.fromkeys(key for counts in own for key in counts)
    joined = {
        key: (sum if key in _SUMS else max)(counts[key] for counts in own if key in counts) for key in keys
    }
    joined["least_burn_m_s"] = min(counts["least_burn_m_s"] for counts in own)
    return joined | {"targets": targets, "opportunities": table.num_rows}
