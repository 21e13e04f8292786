"""Orbits in the refinement of a plan: their arrival is flown in the field about the planet already."""

from __future__ import annotations

from typing import Any

from swarm.refine.correct import Arc, NotRefined


def refine_orbit(study: Any, field: Any, arc: Arc) -> NotRefined:
    """Say that the way to an orbit is left out of the refinement, and what stands in its place."""
    return NotRefined(
        arc,
        "an arrival is flown in the field about its planet when it is screened (table passes): it is not dispersed "
        "again; its way in and its orbit are flown in the full field: table flown_orbits, with upkeep in the package",
    )
