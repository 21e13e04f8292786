"""What [[approach]] and [protection] must be beside each other and the bodies they name, and what can be computed."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches

from swarm.study.orbit_relations import keys_of_kind, lowest_km, orbit_relations
from swarm.study.problems import Problem
from swarm.study.sections.approach import ApproachSettings
from swarm.study.whole_study import Study
from targets.masses.massive import NAMES, Mass, mass_named


def impact_limit(study: Study, ask: ApproachSettings) -> float | None:
    """The chance with which a row of an approach may hit its body; None where nothing limits it."""
    held = study.protection.impact_chance_max.get(ask.body)
    limits = [limit for limit in (ask.impact_chance_max, held) if limit is not None]
    return min(limits) if limits else None


def approach_relations(study: Study) -> Iterator[Problem]:
    names = [ask.name for ask in study.approach]
    for k, ask in enumerate(study.approach):
        place = f"approach[{k}]"
        if names.index(ask.name) != k:
            yield Problem(f"{place}.name", ask.name, "a name that no other approach has")
        if ask.body not in NAMES:
            yield Problem(f"{place}.body", ask.body, _bodies(ask.body))
            continue
        yield from keys_of_kind(place, ask)
        yield from _heights(place, ask, mass_named(ask.body))
        if ask.kind == "orbit":
            yield from orbit_relations(place, ask, study)
        yield from _dates(place, ask, study)
        if isinstance(ask.passages, tuple) and (not ask.passages or min(ask.passages) < 1):
            found = ", ".join(map(str, ask.passages)) or "nothing"
            yield Problem(f"{place}.passages", found, '"all", or numbers from 1 on')
    for name in study.protection.impact_chance_max:
        if name not in NAMES:
            yield Problem(f"protection.impact_chance_max.{name}", name, _bodies(name))


def _heights(place: str, ask: ApproachSettings, body: Mass) -> Iterator[Problem]:
    least = lowest_km(ask)
    for j, altitude in enumerate(ask.altitudes_km if ask.kind == "low-pass" else ()):
        if altitude > least:
            continue
        if body.interface_km is not None and altitude <= body.interface_km:
            said = f"more than {body.interface_km:g} km, where the atmosphere of {body.name} begins: "
            said += "below, that is an entry"
        else:
            said = f"more than {least:g} km, the highest ground of {body.name}"
        yield Problem(f"{place}.altitudes_km[{j}]", f"{altitude:g}", said)


def _dates(place: str, ask: ApproachSettings, study: Study) -> Iterator[Problem]:
    least = study.probe.checkout_days + ask.release_min_hours / 24.0
    for j, days in enumerate(ask.release_days_before):
        if days < least:
            said = f"at least {least:g}: probe.checkout_days and release_min_hours before closest approach"
            yield Problem(f"{place}.release_days_before[{j}]", f"{days:g}", said)


def unsupported_approaches(study: Study) -> Iterator[Problem]:
    for k, ask in enumerate(study.approach):
        if ask.kind not in ("low-pass", "orbit"):
            said = '"low-pass" or "orbit"'
            yield Problem(f"approach[{k}].kind", f'"{ask.kind}", not computed by this version', said)
        if ask.steer != "probe":
            yield Problem(f"approach[{k}].steer", f'"{ask.steer}", not computed by this version', '"probe"')


def unsearched(study: Study) -> Iterator[Problem]:
    """What `swarm passages` and `swarm lifetime` compute and the search does not take yet."""
    for k, row in enumerate(study.science.rows):
        if row.where.kind == "orbit":
            yield Problem(f"science.rows[{k}].where.kind", '"orbit", not searched by this version', '"flyby"')
    if study.approach:
        found = f"{len(study.approach)} of them"
        said = (
            "none: swarm passages STUDY and swarm lifetime STUDY say what they come to; the search of this version "
            "takes flybys only"
        )
        yield Problem("approach", found, said)
    if study.massive is not None and not study.approach:
        found = "this section"
        yield Problem("massive", found, "none without [[approach]]: flybys have nothing to do with it")


def _bodies(found: str) -> str:
    near = get_close_matches(found.title(), NAMES, n=1)
    return f"{f'{near[0]}? ' if near else ''}One of: {', '.join(NAMES)}"
