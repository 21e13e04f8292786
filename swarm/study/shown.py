"""A study as it was understood: every value with its unit and where it comes from."""

from __future__ import annotations

from collections.abc import Iterator

from swarm.study.fields import DATE_UNIT, NO_UNIT, Section, said_of, unit_of
from swarm.study.whole_study import Study
from targets.base.timescale import iso_tdb


def study_rows(study: Study) -> list[tuple[str, str, str, str]]:
    """(key, value, unit, source) of every value, given or by default, in the order of the file."""
    rows: list[tuple[str, str, str, str]] = []
    for section in Study.model_fields:
        held = getattr(study, section)
        if isinstance(held, tuple):
            for k, item in enumerate(held):
                rows.extend(_rows_of(f"{section}[{k}]", item))
        elif held is not None and not (section == "probe" and study.designs):
            rows.extend(_rows_of(section, held))
    return rows


def _rows_of(prefix: str, model: Section) -> Iterator[tuple[str, str, str, str]]:
    for key, field in type(model).model_fields.items():
        if key in model.unused():
            continue
        value, name = getattr(model, key), field.alias or key
        place, unit, source = f"{prefix}.{name}", unit_of(field), said_of(field, "source")
        if isinstance(value, Section):
            yield from _rows_of(place, value)
        elif isinstance(value, tuple) and value and isinstance(value[0], Section):
            for k, item in enumerate(value):
                yield from _rows_of(f"{place}[{k}]", item)
        elif key in model.model_fields_set:
            yield place, shown(value, unit), unit, "study file"
        elif model.source_of(key):
            yield place, shown(value, unit), unit, str(model.source_of(key))
        elif value is None and source:
            yield place, f"= {source}", unit, "default"
        elif source:
            yield place, shown(value, unit), unit, source


def shown(value: object, unit: str = NO_UNIT) -> str:
    """Return a value as a study file has it, dates as text."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return iso_tdb(value) if unit == DATE_UNIT else f"{value:.12g}"
    if isinstance(value, dict):
        inner = ", ".join(f"{name} = {shown(item, unit)}" for name, item in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, tuple):
        return "[" + ", ".join(shown(item, unit) for item in value) + "]"
    return str(value)
