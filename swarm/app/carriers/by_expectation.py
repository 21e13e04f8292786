"""Motherships made, held to their limits, and put in order by how many bodies one expects in reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from swarm.app.carriers.listed import Carrier
from swarm.reach.expected import expected_targets
from swarm.reach.mothership.flybys import planet_named
from swarm.reach.mothership.path import table_of_legs
from swarm.reach.mothership.sources import Mothership, epochs_needed_tdb_s, mothership_of
from swarm.run.progress import Teller
from swarm.study.schema import Study
from swarm.study.sections.choices import ChoiceSettings
from targets.base.constants import DAY_S
from targets.base.errors import InputError, NothingFeasible
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.bodies import Catalogue
from targets.ephemeris import spice
from targets.ephemeris.planets import PlanetTable, sample_planets
from targets.motion.twobody import drift_states

# Paths held at once: 500 of five years are 50 MB.
_BLOCK = 500


@dataclass(frozen=True)
class Ranked:
    """A mothership with its place: `rank` from 1, 0 where it keeps not its limits and `why` says which."""

    carrier: Carrier
    expected: float
    rank: int = 0
    why: str = ""


def ranked(
    carriers: Sequence[Carrier], catalogue: Catalogue, limits: ChoiceSettings | None, teller: Teller
) -> list[Ranked]:
    """All motherships in the order of listing, with what the law expects of each and its place by that.

    Raises NothingFeasible where none keeps its limits.
    """
    on_done, found = teller.stage("expected"), list[Ranked]()
    for begin in range(0, len(carriers), _BLOCK):
        block = carriers[begin : begin + _BLOCK]
        planets = planets_of([carrier.study for carrier in block])
        kept, paths = [], []
        for carrier in block:
            ship, why = made_within(carrier.study, planets, limits)
            if ship is None or why:
                found.append(Ranked(carrier, 0.0, why=why))
            else:
                kept.append(carrier)
                paths.append(table_of_legs(ship.legs))
        if kept:
            totals = expected_targets([carrier.study for carrier in kept], catalogue, paths)
            found += [Ranked(carrier, float(total)) for carrier, total in zip(kept, totals, strict=True)]
        on_done(begin + len(block), len(carriers))
    found.sort(key=lambda each: each.carrier.number)
    if all(each.why for each in found):
        raise NothingFeasible("no mothership keeps its limits", limit=found[0].why)
    order = sorted((each for each in found if not each.why), key=lambda each: -each.expected)
    place = {each.carrier.number: k + 1 for k, each in enumerate(order)}
    return [replace(each, rank=place.get(each.carrier.number, 0)) for each in found]


def planets_of(studies: Sequence[Study]) -> PlanetTable:
    """The planets at all dates that the motherships of studies are made from."""
    needed = [t for study in studies for t in epochs_needed_tdb_s(study)]
    return sample_planets(min(needed), max(needed) + 2.0 * DAY_S)


def made_within(
    study: Study, planets: PlanetTable, limits: ChoiceSettings | None
) -> tuple[Mothership | None, str]:
    """The mothership, or why there is none; and which limit it does not keep."""
    try:
        ship = mothership_of(study, planets)
    except InputError as problem:
        return None, str(problem).splitlines()[0]
    low = [flyby for flyby in ship.flybys if not flyby.high_enough]
    manoeuvres_m_s = sum(flyby.manoeuvre_m_s for flyby in ship.flybys)
    most_m_s = None if limits is None else limits.manoeuvre_max_m_s
    if most_m_s is not None and manoeuvres_m_s > most_m_s:
        return ship, f"its flybys take manoeuvres of {manoeuvres_m_s:.0f} m/s, more than {most_m_s:g}"
    if most_m_s is None and low:
        return ship, low[0].sentence()
    fastest = None if limits is None else limits.v_inf_max_km_s
    if fastest is not None and (speed := _leaving_km_s(study, ship)) is not None and speed > fastest:
        return ship, f"it leaves {study.mothership.legs[0].body} at {speed:.2f} km/s, more than {fastest:g}"
    return ship, ""


def _leaving_km_s(study: Study, ship: Mothership) -> float | None:
    """Excess speed with which it leaves the first planet it meets; None where its path is given otherwise.

    The first leg is two-body and begins hours after the planet, so it is followed back to it.
    """
    if study.mothership.kind != "legs":
        return None
    met = study.mothership.legs[0]
    at_s = float(tdb_s_from_jd(met.date))
    planet = spice.sample(planet_named(met.body).spice_id, np.array([at_s]))[0]
    leg = ship.legs[0]
    _, v_km_s = drift_states(leg.states[:1, :3], leg.states[:1, 3:], np.array([at_s - leg.start_tdb_s]))
    return float(np.linalg.norm(v_km_s[0] - planet[3:]))
