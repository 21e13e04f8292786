"""Which encounters are what a science row asks for, by the kind of each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.run.kinds import ENCOUNTERS
from targets.catalogue.bodies import Catalogue
from targets.catalogue.worth import body_matches

if TYPE_CHECKING:
    from swarm.study.schema import ScienceRow
    from swarm.study.sections.science import Where

Bools = NDArray[np.bool_]


def row_fits(row: ScienceRow, opportunities: pa.Table, targets: Catalogue) -> Bools:
    """(n,) encounters that serve a row if the target's class is right and they are good enough."""
    kind = np.asarray(opportunities["kind"].to_pylist(), dtype=object)
    fits: Bools = ENCOUNTERS[row.where.kind].function("fits")(row.where, opportunities, targets)
    return fits & (kind == row.where.kind)


def body_fits(where: Where, opportunities: pa.Table, targets: Catalogue) -> Bools:
    """(n,) encounters with a body of the catalogue that is like a row asks, its class aside."""
    return body_matches(targets, where)[np.array(opportunities["target_index"].to_numpy(), dtype=np.int64)]
