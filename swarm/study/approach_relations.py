"""What [[approach]] and [protection] must be beside each other and the bodies they name, and what can be computed."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches

from swarm.study.by_design import takers
from swarm.study.kind_names import ENTRY, FLYBY, LOW_PASS, ORBIT
from swarm.study.lowest import lowest_km
from swarm.study.orbit_relations import keys_of_kind, orbit_relations
from swarm.study.problems import Problem
from swarm.study.sections.approach import ApproachSettings
from swarm.study.steering_relations import STEERS, steering_relations
from swarm.study.whole_study import Study
from targets.catalogue.worth import BODY_KEYS
from targets.masses.massive import NAMES, Mass, mass_named

# What a row can ask of a pass, and of each kind of encounter.
PASS_KEYS = (
    "body", "altitude_km_max", "latitude_deg", "longitude_deg", "sun_elevation_deg", "resolution_m_max", "dwell_s_min",
    "count_sigma_min",
)  # fmt: skip
KEYS_OF_ROWS = {
    FLYBY: ("taxonomy", *BODY_KEYS),
    LOW_PASS: PASS_KEYS,
    ORBIT: ("body", "latitude_deg", "resolution_m_max", "hours_below_min", "count_sigma_min"),
    ENTRY: ("body", "latitude_deg", "longitude_deg", "local_time_h", "sun_elevation_deg", "bar_min"),
}


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
        yield from steering_relations(place, ask, study)
        yield from _designs(place, ask, study)
        if isinstance(ask.passages, tuple) and (not ask.passages or min(ask.passages) < 1):
            found = ", ".join(map(str, ask.passages)) or "nothing"
            yield Problem(f"{place}.passages", found, '"all", or numbers from 1 on')
    yield from _rows(study)
    yield from _gravity(study)
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
    by_probe = ask.steer == "probe"
    least = study.probe.checkout_days * by_probe + ask.release_min_hours / 24.0
    for j, days in enumerate(ask.release_days_before):
        if days < least:
            said = f"at least {least:g}: {'probe.checkout_days and ' * by_probe}release_min_hours before closest "
            said += "approach"
            yield Problem(f"{place}.release_days_before[{j}]", f"{days:g}", said)


def unsupported_approaches(study: Study) -> Iterator[Problem]:
    for k, ask in enumerate(study.approach):
        steers = STEERS[ask.kind]
        if ask.steer not in steers:
            known = " or ".join(f'"{name}"' for name in steers)
            yield Problem(f"approach[{k}].steer", f'"{ask.steer}", not computed by this version', known)


def unsearched(study: Study) -> Iterator[Problem]:
    """Approaches that no row asks for, and rows that no approach serves."""
    asked = {row.where.kind for row in study.science.rows}
    for k, ask in enumerate(study.approach):
        if ask.kind not in asked:
            said = f'a row with where = {{ kind = "{ask.kind}" }}: what no row asks for is not searched'
            yield Problem(f"approach[{k}].kind", f'"{ask.kind}", and no row of this kind', said)
    served = {ask.kind for ask in study.approach}
    for k, row in enumerate(study.science.rows):
        if row.where.kind != FLYBY and row.where.kind not in served:
            said = f'an [[approach]] with kind = "{row.where.kind}", which says where, how low and when'
            yield Problem(f"science.rows[{k}].where.kind", f'"{row.where.kind}", and no approach of it', said)
    if study.massive is not None and not study.approach:
        found = "this section"
        yield Problem("massive", found, "none without [[approach]]: flybys have nothing to do with it")


def _rows(study: Study) -> Iterator[Problem]:
    """Rows that ask an encounter for what it is not known by, and for bodies that no approach leads to."""
    for k, row in enumerate(study.science.rows):
        kind = row.where.kind
        every = dict.fromkeys(
            ("taxonomy", *BODY_KEYS, *(key for keys in KEYS_OF_ROWS.values() for key in keys))
        )
        # of a kind that is not computed nothing is known but that
        read = KEYS_OF_ROWS.get(kind, every)
        for key in (key for key in every if key not in read):
            if getattr(row.where, key) is not None:
                said = f'no such key with kind = "{kind}"'
                yield Problem(f"science.rows[{k}].where.{key}", str(getattr(row.where, key)), said)
        bodies = {ask.body for ask in study.approach if ask.kind == kind}
        if row.where.body is not None and row.where.body not in bodies:
            there = ", ".join(sorted(bodies)) or "none"
            said = f'the body of an [[approach]] with kind = "{kind}": {there}'
            yield Problem(f"science.rows[{k}].where.body", row.where.body, said)
        if row.where.count_sigma_min is not None and "count_sigma_min" in read and not _counters(study, kind):
            said = f'an instrument of kind = "counter" in a design that takes "{kind}"'
            yield Problem(f"science.rows[{k}].where.count_sigma_min", f"{row.where.count_sigma_min:g}", said)
        window = row.where.latitude_deg
        if window is not None and window[0] >= window[1]:
            found = ", ".join(f"{x:g}" for x in window)
            yield Problem(f"science.rows[{k}].where.latitude_deg", found, "the southern latitude first")


def _counters(study: Study, kind: str) -> bool:
    """Whether some design that takes a kind counts."""
    able = (design for design in study.designs if kind in design.takes)
    return any(each.kind == "counter" for design in able for each in design.instruments)


def _designs(place: str, ask: ApproachSettings, study: Study) -> Iterator[Problem]:
    takes = {design.name: design.takes for design in study.designs}
    for j, name in enumerate(ask.designs):
        if ask.kind not in takes.get(name, ()):
            able = ", ".join(name for name, kinds in takes.items() if ask.kind in kinds) or "none"
            yield Problem(f"{place}.designs[{j}]", name, f'a design that takes "{ask.kind}": {able}')

    if ask.kind == LOW_PASS and not ask.designs and not takers(study, LOW_PASS):
        yield Problem(
            f"{place}.kind",
            f'"{LOW_PASS}", and no design that takes it',
            f'[[designs]] with takes = ["{LOW_PASS}"]',
        )


def _gravity(study: Study) -> Iterator[Problem]:
    """Tables of harmonics of what is no body, and those that nothing reads: passes are flown with J2 and J4."""
    orbited = {ask.body for ask in study.approach if ask.kind == ORBIT}
    for name in study.massive.gravity if study.massive is not None else ():
        place = f"massive.gravity.{name}"
        if name not in NAMES:
            yield Problem(place, name, _bodies(name))
        elif name not in orbited:
            said = f'none without an [[approach]] of kind "{ORBIT}" at {name}: a pass is flown with J2 and J4'
            yield Problem(place, "a table of harmonics", said)


def _bodies(found: str) -> str:
    near = get_close_matches(found.title(), NAMES, n=1)
    return f"{f'{near[0]}? ' if near else ''}One of: {', '.join(NAMES)}"
