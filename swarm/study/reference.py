"""The reference of the study file, written from the schema: what a key means to a program is what a reader is told."""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from types import UnionType
from typing import Any, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from swarm.study.fields import DATE_UNIT, Section, said_of, unit_of
from swarm.study.probe_classes import CLASSES
from swarm.study.shown import shown
from swarm.study.whole_study import Study

_HEAD = """# The study file

One question is one TOML file. Units are in the names of the keys and in the tables below ("-" for none). An unknown key
is refused; a key left out has a default with its source. Relative paths start from the study file's folder. Dates
are Julian dates TDB (numbers) or text that ends in `TDB`, such as `"2031-03-01 TDB"` or `"2031-03-01T12:00:00 TDB"`.
`swarm check STUDY.toml` prints a study as understood, every value with its unit and source.
"""
# A mothership that meets two planets and passes a third time: read by the tests as a study file is.
LEGS_EXAMPLE = """[mothership]
kind = "legs"
mass_kg = 620.0
flyby_altitude_min_km = 300.0       # a flyby that must pass lower than this is said to be too low

# One entry for each planet met, in order of date. The first is where the path begins, the last where it ends;
# those between are flybys.
[[mothership.legs]]
body = "Earth"
date = "2031-01-25 TDB"

[[mothership.legs]]
body = "Mars"                       # flown by: what the planet cannot bend is reported as a manoeuvre
date = "2031-11-15 TDB"

[[mothership.legs]]
body = "Earth"
date = "2033-11-01 TDB"
revolutions = 0                     # of the arc that leads here, about the Sun
"""
_EXAMPLES = {"mothership": ("Planets met one after another", LEGS_EXAMPLE)}
# pydantic's names of limits, as a reader writes them
_LIMITS = {
    "ge": "at least",
    "gt": "more than",
    "le": "at most",
    "lt": "less than",
    "multiple_of": "a multiple of",
}
_LENGTHS = {"min_length": "at least", "max_length": "at most"}


def study_reference() -> str:
    """Return the reference in Markdown: every section and key with type, unit, limits, default and source."""
    parts = [_HEAD]
    for name, field in Study.model_fields.items():
        many = get_origin(_bare(field.annotation)) is tuple
        parts += _section(name, _model_in(field.annotation), optional=not field.is_required(), listed=many)
    parts.append(_probe_classes())
    return "\n".join(parts)


def _section(name: str, model: type[Section], *, optional: bool, listed: bool = False) -> Iterator[str]:
    """The heading, text and table of a section, then of the sections inside it."""
    bracketed = f"[[{name}]]" if listed else f"[{name}]"
    needed = "may be left out" if optional else "must be there"
    yield f"## `{bracketed}`\n\n{_told(model)}\n\nThis section {needed}.\n"
    inner = []
    rows = ["| key | type | unit | limits | default | source |", "|---|---|---|---|---|---|"]
    shared = _shared_keys(model)
    for key, field in model.model_fields.items():
        if key in shared:
            continue
        below = _section_in(field.annotation)
        if below is None:
            rows.append(_row(field.alias or key, field))
        else:
            many = get_origin(_bare(field.annotation)) is tuple
            inner.append((f"{name}.{key}", below, not field.is_required(), many))
    if len(rows) > 2:
        yield "\n".join(rows) + "\n"
    if name in _EXAMPLES:
        title, text = _EXAMPLES[name]
        yield f"{title}:\n\n```toml\n{text}```\n"
    for place, below, may_miss, many in inner:
        yield from _section(place, below, optional=may_miss, listed=many)


def _shared_keys(model: type[Section]) -> set[str]:
    """Keys of the section that this one continues: they stand there."""
    return {
        key for base in model.__bases__ if base is not Section for key in getattr(base, "model_fields", ())
    }


def _told(model: type[Section]) -> str:
    """A section's docstring without the name it begins with."""
    text = inspect.cleandoc(model.__doc__ or "")
    if text.startswith("["):
        text = text.partition(": ")[2]
    return text[:1].upper() + text[1:]


def _row(name: str, field: FieldInfo) -> str:
    unit, source = unit_of(field), said_of(field, "source")
    if field.is_required():
        default = "must be given"
    elif field.default is None:
        default, source = f"= {source}" if source else "none", ""
    else:
        default = shown(field.get_default(call_default_factory=True), unit)
    cells = (f"`{name}`", _type(field), unit, _limits(field), default, source or "-")
    return "| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |"


def _type(field: FieldInfo) -> str:
    return _type_name(field.annotation, unit_of(field))


def _type_name(annotation: Any, unit: str) -> str:
    bare = _bare(annotation)
    if get_origin(bare) in (Union, UnionType):
        return " or ".join(_type_name(member, unit) for member in get_args(bare))
    if get_origin(bare) is dict:
        return f"table of {_type_name(get_args(bare)[1], unit)} by name"
    if get_origin(bare) is tuple:
        items = [item for item in get_args(bare) if item is not Ellipsis]
        count = "list" if Ellipsis in get_args(bare) else f"list of {len(items)}:"
        return (
            f"{count} of {_type_name(items[0], unit)}"
            if count == "list"
            else f"{count} {_type_name(items[0], unit)}"
        )
    if bare is not None and all(isinstance(value, str) for value in get_args(bare)) and get_args(bare):
        return ("one of " if len(get_args(bare)) > 1 else "") + ", ".join(
            f'`"{value}"`' for value in get_args(bare)
        )
    names = {bool: "true or false", int: "whole number", float: "number", str: "text"}
    return "date" if bare is float and unit == DATE_UNIT else names[bare]


def _bare(annotation: Any) -> Any:
    """A type without what is annotated to it and without `| None`."""
    if hasattr(annotation, "__metadata__"):
        return _bare(get_args(annotation)[0])
    members = [member for member in get_args(annotation) if member is not type(None)]
    if type(None) in get_args(annotation):
        return _bare(members[0])
    return annotation


def _limits(field: FieldInfo) -> str:
    said = []
    for limit in field.metadata:
        for name, words in _LIMITS.items():
            if (value := getattr(limit, name, None)) is not None:
                said.append(f"{words} {value:g}")
        for name, words in _LENGTHS.items():
            if (value := getattr(limit, name, None)) is not None:
                one, many = (
                    ("entry", "entries")
                    if get_origin(_bare(field.annotation)) is tuple
                    else ("letter", "letters")
                )
                said.append(f"{words} {value} {one if value == 1 else many}")
    return ", ".join(said) or "-"


def _section_in(annotation: Any) -> type[Section] | None:
    """The section that a key holds, one or a list of them."""
    bare = _bare(annotation)
    if isinstance(bare, type) and issubclass(bare, Section):
        return bare
    held = next((_bare(item) for item in get_args(bare) if item is not Ellipsis), None)
    return held if isinstance(held, type) and issubclass(held, Section) else None


def _model_in(annotation: Any) -> type[Section]:
    model = _section_in(annotation)
    assert model is not None  # every key of a study is a section
    return model


def _probe_classes() -> str:
    """What each built-in class of probe gives, with the range seen."""
    lines = [
        "## Classes of probes\n",
        "`probe.class` gives these values where the study does not; the range seen stands in brackets.\n",
    ]
    names = list(CLASSES)
    lines += ["| key | " + " | ".join(names) + " |", "|---" * (len(names) + 1) + "|"]
    for key in dict.fromkeys(key for entries in CLASSES.values() for key in entries):
        cells = [CLASSES[name].get(key) for name in names]
        said = [f"{cell.value:g} ({cell.low:g}-{cell.high:g})" if cell else "-" for cell in cells]
        lines.append(f"| `{key}` | " + " | ".join(said) + " |")
    return "\n".join(lines) + "\n"
