"""What an [[approach]] of kind "orbit" must be beside its body, its designs and the rows that ask for it."""

from __future__ import annotations

from collections.abc import Iterator

from swarm.study.by_design import takers
from swarm.study.lowest import lowest_km
from swarm.study.problems import Problem
from swarm.study.sections.approach import ApproachSettings
from swarm.study.whole_study import Study
from targets.masses.massive import mass_named

# Keys of an approach that only an orbit reads, and those that it does not.
_ORBIT_KEYS = (
    "periapsis_km", "apoapsis_km", "inclination_deg", "argp_deg", "capture", "insertion_burns",
    "insertion_success", "spiral_from_km", "science_days", "below_km", "maintain", "altitude_range_km",
)  # fmt: skip
_PASS_KEYS = ("altitudes_km",)


def orbit_relations(place: str, ask: ApproachSettings, study: Study) -> Iterator[Problem]:
    body, least = mass_named(ask.body), lowest_km(ask)
    if ask.periapsis_km is None:
        yield Problem(
            f"{place}.periapsis_km", "nothing", 'heights over the equatorial radius, as kind = "orbit" needs'
        )
        return
    for j, height in enumerate(ask.periapsis_km):
        if height > least:
            continue
        said = f"more than {least:g} km, the highest ground of {body.name} (terrain_km, if yours is lower)"
        if body.interface_km is not None and height <= body.interface_km:
            said = f"more than {body.interface_km:g} km, where the atmosphere of {body.name} begins: "
            said += "below, that is an entry"
        yield Problem(f"{place}.periapsis_km[{j}]", f"{height:g}", said)
    apoapses = ask.apoapsis_km or ()
    if apoapses and min(apoapses) < min(ask.periapsis_km):
        yield Problem(
            f"{place}.apoapsis_km",
            f"{min(apoapses):g}",
            f"a height of at least a periapsis, {min(ask.periapsis_km):g}",
        )
    farthest = body.influence_km - body.radius_km
    if apoapses and max(apoapses) > farthest:
        yield Problem(
            f"{place}.apoapsis_km", f"{max(apoapses):g}", f"at most {farthest:.0f}, the sphere of influence"
        )
    yield from _range(place, ask)
    yield from _takers(place, ask, study)


def keys_of_kind(place: str, ask: ApproachSettings) -> Iterator[Problem]:
    """Keys that are given and that nothing of this kind reads."""
    unread = _PASS_KEYS if ask.kind == "orbit" else _ORBIT_KEYS
    for key in unread:
        if key in ask.model_fields_set:
            yield Problem(f"{place}.{key}", "a value", f'none with kind = "{ask.kind}"')


def _range(place: str, ask: ApproachSettings) -> Iterator[Problem]:
    if ask.altitude_range_km is None:
        return
    low, high = ask.altitude_range_km
    if low >= high:
        yield Problem(f"{place}.altitude_range_km", f"{low:g}, {high:g}", "the lower height first")
    elif ask.periapsis_km is not None and not any(low <= height <= high for height in ask.periapsis_km):
        found = ", ".join(f"{height:g}" for height in ask.periapsis_km)
        yield Problem(f"{place}.periapsis_km", found, f"one within altitude_range_km, {low:g} to {high:g}")


def _takers(place: str, ask: ApproachSettings, study: Study) -> Iterator[Problem]:
    """The designs named are there, take orbits, and have the propulsion that the capture needs."""
    known = {design.name: design for design in study.designs}
    for j, name in enumerate(ask.designs):
        if name not in known:
            there = ", ".join(known) or "none: the study has [probe]"
            yield Problem(f"{place}.designs[{j}]", name, f"a design: {there}")
        elif "orbit" not in known[name].takes:
            found = ", ".join(f'"{kind}"' for kind in known[name].takes)
            yield Problem(
                f"{place}.designs[{j}]", f"{name}, which takes {found}", 'a design that takes "orbit"'
            )
    if not takers(study, ask.kind, ask.designs) and not any(name not in known for name in ask.designs):
        yield Problem(f"{place}.kind", '"orbit"', 'a design with "orbit" in takes')
    wanted = "electric" if ask.capture == "spiral" else "chemical"
    others = [
        name for name, own in takers(study, ask.kind, ask.designs).items() if own.probe.propulsion != wanted
    ]
    if others:
        found = f'"{ask.capture}" with {", ".join(others)}'
        yield Problem(
            f"{place}.capture", found, f'designs with propulsion = "{wanted}" (approach.designs names them)'
        )
