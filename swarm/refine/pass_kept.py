"""Low passes in the refinement of a plan: flown in the field about their planet already."""

from __future__ import annotations

from typing import Any

from swarm.refine.correct import Arc, NotRefined


def refine_pass(study: Any, field: Any, arc: Arc) -> NotRefined:
    """Say that a pass is left out of the refinement, and what stands in its place."""
    return NotRefined(
        arc,
        "a low pass is flown in the field about its planet when it is screened (table passes): it is handed over so "
        "(PASSES.txt of the package); dispersed flights: table dispersed_passes",
    )
