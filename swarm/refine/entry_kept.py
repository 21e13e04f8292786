"""Entries in the refinement of a plan: flown in the field about their planet, and through its air, already."""

from __future__ import annotations

from typing import Any

from swarm.refine.correct import Arc, NotRefined


def refine_entry(study: Any, field: Any, arc: Arc) -> NotRefined:
    """Say that an entry is left out of the refinement, and what stands in its place."""
    return NotRefined(
        arc,
        "an entry is flown in the field about its planet, and down, when it is screened (table entries): it is handed "
        "over so (ENTRIES.txt of the package), and not dispersed again",
    )
