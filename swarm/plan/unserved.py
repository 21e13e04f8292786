"""Rows that no body in reach can satisfy: said loudly, since no plan can serve them."""

from __future__ import annotations

from swarm.study.schema import Study
from targets.base.errors import NothingFeasible
from targets.catalogue.bodies import Catalogue
from targets.catalogue.nearest_miss import can_serve, nearest_miss


def unserved_rows(study: Study, targets: Catalogue) -> tuple[str, ...]:
    """Return a sentence, with the nearest miss, for each row that none of the bodies in reach satisfies.

    Raises NothingFeasible where such a row has a threshold, or where no row can be served.
    """
    said, needed = [], False
    for k, row in enumerate(study.science.rows):
        if not can_serve(targets, row.where).any():
            said.append(
                f'science.rows[{k}] "{row.name}": none of the {len(targets)} bodies in reach satisfies it; '
                f"the nearest is {nearest_miss(targets, row.where)}"
            )
            needed |= row.threshold > 0
    if needed or len(said) == len(study.science.rows):
        which = "a row with a threshold" if needed else "any row"
        raise NothingFeasible(f"no body in reach satisfies {which}", limit="; ".join(said))
    return tuple(said)
