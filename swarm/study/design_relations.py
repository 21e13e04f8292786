"""What designs must be beside each other and beside the rest of a study."""

from __future__ import annotations

from collections.abc import Iterator

from swarm.study.kind_names import ENTRY
from swarm.study.problems import Problem
from swarm.study.sections.carried import OF_KIND
from swarm.study.sections.designs import DesignSettings
from swarm.study.whole_study import OF_DESIGNS, Study


def design_relations(study: Study) -> Iterator[Problem]:
    names, asked = [design.name for design in study.designs], {row.where.kind for row in study.science.rows}
    if study.designs and not _stands_for_designs(study):
        yield Problem("probe", "[probe] beside [[designs]]", "one of both: a design has every key of [probe]")
    for k, design in enumerate(study.designs):
        place = f"designs[{k}]"
        if design.count == 0:
            yield Problem(f"{place}.count", "0", f'at least 1, or no design "{design.name}"')
        if names.index(design.name) != k:
            yield Problem(f"{place}.name", design.name, "a name that no other design has")
        if not asked & set(design.takes):
            kinds = ", ".join(f'"{kind}"' for kind in sorted(asked))
            found = ", ".join(f'"{kind}"' for kind in design.takes)
            yield Problem(f"{place}.takes", found, f"a kind that some row asks for (where.kind): {kinds}")
        yield from _shell(place, design)
        yield from _instruments(place, design)
    for k, count in enumerate(study.compare.counts):
        if study.designs and count > study.probe.count:
            least = f"at most {study.probe.count}, what the counts of the designs add up to"
            yield Problem(f"compare.counts[{k}]", str(count), least)
    yield from _group_relations(study, names)


def _instruments(place: str, design: DesignSettings) -> Iterator[Problem]:
    """Names are told apart, and an instrument has the numbers of its kind alone."""
    names = [each.name for each in design.instruments]
    for j, each in enumerate(design.instruments):
        where = f"{place}.instruments[{j}]"
        if names.index(each.name) != j:
            yield Problem(f"{where}.name", each.name, "a name that no other instrument of the design has")
        for key in sorted(set(each.unused()) & each.model_fields_set):
            own = ", ".join(OF_KIND[each.kind])
            said = f'no such key with kind = "{each.kind}", which has {own}'
            yield Problem(f"{where}.{key}", f"{getattr(each, key):g}", said)


def _shell(place: str, design: DesignSettings) -> Iterator[Problem]:
    """A design that enters has a shell, one that does not has none; stages follow one another on the way down."""
    enters = ENTRY in design.takes
    if enters and design.entry is None:
        yield Problem(
            f"{place}.entry", "nothing", f'[designs.entry], its shell: "{design.name}" takes "{ENTRY}"'
        )
    if not enters and (design.entry is not None or design.stages):
        key = "entry" if design.entry is not None else "stages"
        yield Problem(f"{place}.{key}", "a shell", f'no such key, or "{ENTRY}" among takes')
    if design.entry is not None and design.entry.data_least_mbit > design.entry.data_mbit:
        least = f"at most data_mbit, {design.entry.data_mbit:g}"
        yield Problem(f"{place}.entry.data_least_mbit", f"{design.entry.data_least_mbit:g}", least)
    falling = {"mach": -1.0, "km": -1.0, "bar": 1.0}
    for j, stage in enumerate(design.stages):
        for before in design.stages[:j]:
            if before.at == stage.at and (stage.value - before.value) * falling[stage.at] <= 0.0:
                later = "less" if falling[stage.at] < 0.0 else "more"
                expected = f"{later} than {before.value:g}: stages follow one another"
                yield Problem(f"{place}.stages[{j}].value", f"{stage.value:g}", expected)
        if stage.mass_kg > design.wet_mass_kg:
            expected = f"at most wet_mass_kg, {design.wet_mass_kg:g}"
            yield Problem(f"{place}.stages[{j}].mass_kg", f"{stage.mass_kg:g}", expected)


def _group_relations(study: Study, names: list[str]) -> Iterator[Problem]:
    """Groups of the survival model that name a design."""
    there = ", ".join(names) or "none: the study has [probe]"
    for k, group in enumerate(study.survival.groups):
        place = f"survival.groups[{k}].design"
        if group.kind == "design" and group.design not in names:
            yield Problem(place, group.design or "nothing", f'a design, as kind = "design" needs: {there}')
        if group.kind != "design" and group.design is not None:
            yield Problem(place, group.design, f'no such key with kind = "{group.kind}"')


def loaded_mass_kg(study: Study) -> float:
    """What the probes weigh that the mothership starts with; of one design, as many as counts are compared for."""
    if not study.designs:
        return max(study.probe.count, *study.compare.counts, 0) * study.probe.wet_mass_kg
    return sum(design.count * design.wet_mass_kg for design in study.designs)


def _stands_for_designs(study: Study) -> bool:
    """Whether `study.probe` is what the designs make of it."""
    first = study.designs[0].model_dump(exclude=set(OF_DESIGNS))
    return study.probe.model_dump() == {**first, "count": sum(design.count for design in study.designs)}
