"""How low anything may come at a body that an approach asks for."""

from __future__ import annotations

from swarm.study.sections.approach import ApproachSettings
from targets.masses.massive import mass_named


def lowest_km(ask: ApproachSettings) -> float:
    """Height above the ellipsoid under which an approach is no pass: the study's own terrain, or the body's."""
    body = mass_named(ask.body)
    return body.lowest_km if ask.terrain_km is None else max(ask.terrain_km, body.interface_km or 0.0)
