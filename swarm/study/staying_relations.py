"""What a mothership that stays at a planet must be: [mothership] center."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches

from swarm.study.kind_names import FLYBY
from swarm.study.problems import Problem
from swarm.study.sections.mission import MothershipSettings
from swarm.study.whole_study import Study
from targets.masses.massive import MASSES, SUN, mass_named

_PLANETS = tuple(body.name for body in MASSES if body.parent == SUN)


def keys_of_path(settings: MothershipSettings, own: tuple[str, ...]) -> tuple[str, ...]:
    """The keys that a path needs: about a planet the distance is in km."""
    return own if settings.center is None else tuple("a_km" if key == "a_au" else key for key in own)


def staying_relations(study: Study) -> Iterator[Problem]:
    ship = study.mothership
    if ship.center is None:
        return
    if ship.kind != "elements":
        said = 'no such key: a path from a file says itself where it is; with kind = "elements" alone'
        yield Problem("mothership.center", f'"{ship.center}" with kind = "{ship.kind}"', said)
        return
    if ship.center not in _PLANETS:
        near = get_close_matches(ship.center.title(), _PLANETS, n=1)
        said = f"{f'{near[0]}? ' if near else ''}A planet: {', '.join(_PLANETS)}"
        yield Problem("mothership.center", ship.center, said)
        return
    yield from _orbit(ship)
    if ship.motion == "kepler":
        said = '"perturbed": about a planet it is flown in the field of planet, moons and Sun'
        yield Problem("mothership.motion", '"kepler"', said)
    for key in ("burns", "choices", "candidates", "retarget"):
        if getattr(ship, key):
            yield Problem(f"mothership.{key}", "a value", f"no such key for one that stays at {ship.center}")
    if not study.approach:
        said = f"an [[approach]]: from one that stays at {ship.center} no body of the catalogue is offered"
        yield Problem("mothership.center", f'"{ship.center}", and no approach', said)
    for k, row in enumerate(study.science.rows):
        if row.where.kind == FLYBY:
            said = f"the kind of an [[approach]]: from one that stays at {ship.center} no body is flown by"
            yield Problem(f"science.rows[{k}].where.kind", f'"{FLYBY}"', said)


def _orbit(ship: MothershipSettings) -> Iterator[Problem]:
    """Periapsis over what is hit, apoapsis within the sphere of influence."""
    planet = mass_named(ship.center or "")
    if ship.a_km is None or ship.e is None:
        return
    lowest, farthest = planet.radius_km + planet.lowest_km, planet.influence_km
    low, high = ship.a_km * (1.0 - ship.e), ship.a_km * (1.0 + ship.e)
    if low <= lowest:
        said = f"more than {lowest:.0f} km at periapsis, a_km (1 - e), over {planet.name}"
        yield Problem("mothership.a_km", f"{ship.a_km:g}, {low:.0f} at periapsis", said)
    if high >= farthest:
        said = (
            f"less than {farthest:.0f} km at apoapsis, a_km (1 + e): the sphere of influence of {planet.name}"
        )
        yield Problem("mothership.a_km", f"{ship.a_km:g}, {high:.0f} at apoapsis", said)
