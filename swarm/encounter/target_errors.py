"""What is said of the targets' own errors: how far the uncertainty parameter U leaves them open."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.knowledge import FROM_U, position_covariance_km2
from targets.catalogue.reading import Catalogue

if TYPE_CHECKING:
    from swarm.study.schema import Study

# The Minor Planet Center's allowance for formal errors that are too small, in the runoff it prints for U.
_ALLOWANCE = 3.0


def runoff_notes(study: Study, opportunities: pa.Table, targets: Catalogue) -> tuple[str, ...]:
    """Return a sentence on the sigma at the encounter of targets without covariance: full runoff, and a third of it."""
    bodies = targets.take(np.array(opportunities["target_index"].to_numpy(), dtype=np.int64))
    met_s = tdb_s_from_jd(np.array(opportunities["encounter_jd_tdb"].to_numpy(), dtype=float))
    velocity = np.column_stack([opportunities[f"target_v{axis}_km_s"].to_numpy() for axis in "xyz"])
    full, source = position_covariance_km2(
        bodies, met_s, velocity_km_s=velocity, floor_km=0.0, runoff_fraction=1.0
    )
    by_u = source == FROM_U
    if not by_u.any():
        return ()
    sigma_km = np.sqrt(np.trace(full[by_u], axis1=1, axis2=2))
    low, middle, high = np.quantile(sigma_km, (0.1, 0.5, 0.9))
    return (
        f"{int(by_u.sum())} of {len(by_u)} opportunities rest on U alone. One sigma along the orbit at the encounter: "
        f"{low:.0f} to {high:.0f} km (median {middle:.0f}) by the whole runoff, {low / _ALLOWANCE:.0f} to "
        f"{high / _ALLOWANCE:.0f} km (median {middle / _ALLOWANCE:.0f}) without the Minor Planet Center's factor 3; "
        f"the study takes {study.knowledge.runoff_fraction:g} of it (knowledge.runoff_fraction).",
    )
