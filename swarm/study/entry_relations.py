"""What an [[approach]] of entries must be beside its body, its atmosphere and the designs that fly it."""

from __future__ import annotations

from collections.abc import Iterator

from swarm.study.kind_names import ENTRY, ORBIT
from swarm.study.problems import Problem
from swarm.study.sections.approach import ENTRY_ONLY, PASS_ONLY, ApproachSettings
from swarm.study.sections.designs import DesignSettings
from swarm.study.whole_study import Study
from targets.atmospheres.atmosphere import GAS_OF_BODY
from targets.atmospheres.shipped import NAMES as SHIPPED
from targets.atmospheres.shipped import atmosphere_named, shipped_for
from targets.masses.massive import NAMES, mass_named


def interface_km(ask: ApproachSettings) -> float:
    """Height at which an entry begins: the study's, or the body's."""
    body = mass_named(ask.body)
    found = body.interface_km if ask.interface_km is None else ask.interface_km
    return float("nan") if found is None else found


def entering_designs(study: Study, ask: ApproachSettings) -> list[DesignSettings]:
    """The designs that an approach of entries is flown by."""
    able = [design for design in study.designs if ENTRY in design.takes]
    return [design for design in able if not ask.designs or design.name in ask.designs]


def entry_relations(study: Study) -> Iterator[Problem]:
    for k, ask in enumerate(study.approach):
        place = f"approach[{k}]"
        barred: tuple[str, ...] = PASS_ONLY if ask.kind == ENTRY else ENTRY_ONLY
        if ask.kind != ORBIT:  # those that the mothership steers
            barred = tuple(key for key in barred if key != "divert_after_days")
        for key in sorted(set(barred) & ask.model_fields_set):
            yield Problem(f"{place}.{key}", str(getattr(ask, key)), f'no such key with kind = "{ask.kind}"')
        if ask.kind != ENTRY or ask.body not in NAMES:
            continue
        if mass_named(ask.body).interface_km is None or ask.body not in GAS_OF_BODY:
            there = ", ".join(name for name in GAS_OF_BODY if mass_named(name).interface_km is not None)
            expected = f'a body with an atmosphere: {there}; of {ask.body} "low-pass"'
            yield Problem(f"{place}.kind", f'"{ENTRY}" at {ask.body}, which has no atmosphere', expected)
            continue
        yield from _air(place, ask)
        if not entering_designs(study, ask):
            found = "no design that takes it" if study.designs else "[probe], which has no shell"
            yield Problem(f"{place}.kind", f'"{ENTRY}", and {found}', '[[designs]] with takes = ["entry"]')


def _air(place: str, ask: ApproachSettings) -> Iterator[Problem]:
    own = [name for name in SHIPPED if atmosphere_named(name).body == ask.body]
    ships = f'"{own[0]}", or a file' if own else "a file: none ships for this body"
    if ask.atmosphere is None and shipped_for(ask.body) is None:
        yield Problem(f"{place}.atmosphere", "nothing", ships)
    elif ask.atmosphere in SHIPPED:
        there = atmosphere_named(ask.atmosphere)
        if there.body != ask.body:
            yield Problem(f"{place}.atmosphere", f'"{ask.atmosphere}", of {there.body}', ships)
    name = ask.atmosphere or shipped_for(ask.body)
    if name in SHIPPED:
        top, lowest = atmosphere_named(name).height_km[-1], atmosphere_named(name).pressure_pa[0] * 1e-5
        if interface_km(ask) > top:
            found, said = f"{interface_km(ask):g}", f"at most {top:g} km: so high does {name} reach"
            yield Problem(f"{place}.interface_km", found, said)
        if ask.end_bar is not None and ask.end_bar > lowest:
            yield Problem(
                f"{place}.end_bar", f"{ask.end_bar:g}", f"at most {lowest:.4g}: so deep does {name} reach"
            )
