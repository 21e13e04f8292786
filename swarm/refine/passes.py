"""Low passes in the refinement of a plan: flown in the field about their planet already, and not handed over yet."""

from __future__ import annotations

from typing import Any

from swarm.refine.correct import Arc, NotRefined


def refine_pass(study: Any, field: Any, arc: Arc) -> NotRefined:
    """Say that a pass is left out of the refinement and of the package, and what stands in their place."""
    return NotRefined(
        arc,
        "a low pass was flown in the field about its planet when it was screened (table passes); this version "
        "neither disperses it in full nor hands it over",
    )
