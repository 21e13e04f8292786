"""Rows that no body in reach can satisfy: said loudly, since no plan can serve them."""

from __future__ import annotations

import pyarrow as pa

from swarm.plan.asked import row_fits
from swarm.run.kinds import FLYBY
from swarm.study.schema import Study
from targets.base.errors import NothingFeasible
from targets.catalogue.bodies import Catalogue
from targets.catalogue.nearest_miss import can_serve, nearest_miss
from targets.catalogue.places import bodies_alone


def unserved_rows(study: Study, opportunities: pa.Table, targets: Catalogue) -> tuple[str, ...]:
    """Return a sentence, with the nearest miss, for each row that none of the bodies in reach satisfies.

    Of passes, whose rows ask how they go, for each row that none of them satisfies.

    Raises NothingFeasible where such a row has a threshold, or where no row can be served.
    """
    said, needed, bodies = [], False, bodies_alone(targets)
    for k, row in enumerate(study.science.rows):
        if row.where.kind != FLYBY:
            if not row_fits(row, opportunities, targets).any():
                said.append(f'science.rows[{k}] "{row.name}": none of the passes found satisfies it')
                needed |= row.threshold > 0
        elif not can_serve(bodies, row.where).any():
            nearest = f"; the nearest is {nearest_miss(bodies, row.where)}" if len(bodies) else ""
            said.append(
                f'science.rows[{k}] "{row.name}": none of the {len(bodies)} bodies in reach satisfies it{nearest}'
            )
            needed |= row.threshold > 0
    if needed or len(said) == len(study.science.rows):
        which = "a row with a threshold" if needed else "any row"
        raise NothingFeasible(f"no body in reach satisfies {which}", limit="; ".join(said))
    return tuple(said)
