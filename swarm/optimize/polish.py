"""Releases between the slots: finer opportunities of the targets that good plans visit.

The screen looks at a release every slot. For the targets of the front it is run again on a finer grid, within a
slot of the releases the front uses: the encounter is polished by the screen itself, as a minimum of the burn,
against the same motion. What it finds becomes new rows of the table, and the search goes on with all of them, so
a polished date is taken where it serves the true objectives and no limit forbids it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.plan.data import column
from swarm.reach.opportunities import screen_together
from swarm.reach.sweeps import NONE_OF_FLYBYS
from swarm.run.kinds import at_places
from swarm.run.workers import Pool
from swarm.study.by_design import design_numbers
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Releases nearer than this are the same release.
_SAME_DAYS = 1e-6


def polished(
    study: Study, opportunities: pa.Table, targets: Catalogue, *, used: Ints, pool: Pool
) -> pa.Table:
    """Return new rows in the columns of `opportunities`, numbered on; none where nothing finer is found.

    used : rows of `opportunities` that plans of the front use
    """
    finer = _finer_rows(study, opportunities, targets, used=used, pool=pool)
    if finer is None:
        return opportunities.slice(0, 0)
    first = int(column(opportunities, "opportunity").max()) + 1
    columns: dict[str, Any] = {
        name: finer[name] if name in finer.column_names else _none(name, opportunities, finer.num_rows)
        for name in opportunities.column_names
    }
    columns["opportunity"] = np.arange(first, first + finer.num_rows)
    return pa.table(columns).cast(opportunities.schema)


def _none(name: str, like: pa.Table, rows: int) -> Any:
    """What a flyby has in a column of passes: no chance to hit anything, nothing burnt for it, and nothing else."""
    return np.zeros(rows) if name in NONE_OF_FLYBYS else pa.nulls(rows, like.schema.field(name).type)


def with_polished(
    study: Study, opportunities: pa.Table, targets: Catalogue, *, used: Ints, pool: Pool
) -> pa.Table:
    """Return the table with the rows of `polished` at its end."""
    return pa.concat_tables([opportunities, polished(study, opportunities, targets, used=used, pool=pool)])


def _finer_rows(
    study: Study, opportunities: pa.Table, targets: Catalogue, *, used: Ints, pool: Pool
) -> pa.Table | None:
    """Rows on the finer grid within a slot of a used release of the same target, and at none there already."""
    # passes of places have dates of release of their own (approach.release_days_before)
    used = used[~at_places(opportunities)[used]] if len(used) else used
    if not len(used):
        return None
    visited = np.unique(column(opportunities, "target_index")[used])
    steps = study.optimize.polish_steps
    search = study.search.model_copy(update={"slot_days": study.search.slot_days / steps})
    found = screen_together((study.model_copy(update={"search": search}),), targets.take(visited), pool=pool)[
        0
    ]
    table = found.opportunities
    if not table.num_rows:
        return None
    row_of = {name: k for k, name in enumerate(targets.target.tolist())}
    target = np.array([row_of[name] for name in table["target"].to_pylist()], dtype=np.int64)
    release = column(table, "release_jd_tdb")
    # a design's releases are refined near its own: number of target and design in one
    designs = max(len(study.designs), 1)
    whose = target * designs + design_numbers(study, table)
    flown = (column(opportunities, "target_index") * designs + design_numbers(study, opportunities))[used]
    near = _near(whose, release, flown, column(opportunities, "release_jd_tdb")[used], study.search.slot_days)
    known = np.unique(column(opportunities, "release_jd_tdb"))
    above = np.clip(np.searchsorted(known, release), 1, max(len(known) - 1, 1))
    apart = np.minimum(
        np.abs(release - known[above - 1]), np.abs(release - known[np.minimum(above, len(known) - 1)])
    )
    kept = near & (apart > _SAME_DAYS)
    numbered = {"target_index": target}
    if "slot" in table.column_names:
        numbered["slot"] = column(table, "slot").astype(np.int64) // steps
    plain = {name: numbered.get(name, table[name]) for name in table.column_names}
    return pa.table(plain).filter(pa.array(kept))


def _near(
    target: Ints, release_jd_tdb: Floats, used_target: Ints, used_release: Floats, days: float
) -> NDArray[np.bool_]:
    """Whether each row lies within `days` of a used release of its target (and design)."""
    near = np.zeros(len(target), dtype=bool)
    for t, at in sorted(set(zip(used_target.tolist(), used_release.tolist(), strict=True))):
        near |= (target == t) & (np.abs(release_jd_tdb - at) < days)
    return near
