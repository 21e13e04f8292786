"""How orbits that are drawn go on: heights day by day in their science, and, let go, until they meet the ground."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pyarrow as pa

from swarm.encounter.orbit.mean_life import IMPACT, Life
from swarm.encounter.orbit.orbit_asked import FOLLOWED_DAYS, surroundings_about
from swarm.encounter.orbit.orbit_judging import let_go, life_of
from swarm.encounter.orbit.orbit_tables import altitudes_table, mean_orbit_of
from swarm.reach.approach.scene import ephemeris_of
from targets.masses.massive import mass_named

if TYPE_CHECKING:
    from swarm.encounter.orbit.surroundings import Surroundings
    from swarm.study.schema import Study
    from swarm.study.sections.approach import ApproachSettings


def altitudes_of(study: Study, opportunities: pa.Table) -> dict[str, pa.Table]:
    """The table `altitudes` of orbits, as widened by `passes` and `orbits`: lived again as they were found."""
    asks = {ask.name: ask for ask in study.approach}
    ephemeris, around = ephemeris_of(study), dict[tuple[str, int], "Surroundings"]()
    lives = {}
    for row in opportunities.to_pylist():
        ask = asks[row["approach"]]
        where = ask.name, row["passage"]
        if where not in around:
            around[where] = surroundings_about(
                study, ask, mass_named(ask.body), row["encounter_tdb_s"], ephemeris=ephemeris,
                followed_days=FOLLOWED_DAYS,
            )  # fmt: skip
        lives[row["opportunity"]] = lives_of(ask, row, around[where])
    return {"altitudes": altitudes_table(lives)}


def lives_of(ask: ApproachSettings, row: dict[str, Any], around: Surroundings) -> tuple[Life, ...]:
    """The life of a row in its science, and let go after it where it still flies."""
    body = mass_named(ask.body)
    life = life_of(ask, mean_orbit_of(row), row["begin_tdb_s"], row["left_m_s"], body, around)
    return (life,) if life.end == IMPACT else (life, let_go(life, FOLLOWED_DAYS, body, around))
