"""Small burns of a mothership that bring more into reach."""

from __future__ import annotations

from swarm.app.carriers.listed import Carrier
from swarm.run.folder import Run
from swarm.run.workers import Pool
from swarm.study.sections.choices import RetargetSettings
from targets.catalogue.bodies import Catalogue


def proposed(
    carrier: Carrier, run: Run, asked: RetargetSettings, catalogue: Catalogue, *, pool: Pool, first: int
) -> list[Carrier]:
    return []
