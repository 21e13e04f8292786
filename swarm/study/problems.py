"""What is wrong with a study file, said by key: found, expected, and how to mend it."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from targets.base.errors import InputError

# Keys that had another name, which is too far from the new one to be guessed.
_RENAMED = {
    "carrier_position_km": "mothership_position_km",
    "carrier_velocity_m_s": "mothership_velocity_m_s",
}


# Of a message: so many problems, keys of so many characters.
_MOST, _LONGEST = 20, 120


@dataclass(frozen=True)
class Problem:
    """One value that cannot be used: its key path, what was found and what was expected."""

    key: str
    found: str
    expected: str


def refuse(problems: list[Problem], *, file: str | Path) -> InputError:
    """One error that names every problem."""
    if len(problems) == 1:
        (only,) = problems
        return InputError(
            "this value cannot be used", file=file, place=only.key, found=only.found, expected=only.expected
        )
    lines = [f"{len(problems)} values cannot be used"]
    lines += [f"  {p.key}\n    found:    {p.found}\n    expected: {p.expected}" for p in problems[:_MOST]]
    if len(problems) > _MOST:
        lines.append(f"  and {len(problems) - _MOST} more")
    return InputError("\n".join(lines), file=file)


def problems_of(error: ValidationError, model: type[BaseModel]) -> list[Problem]:
    """Each entry of a pydantic error as a `Problem`."""
    entries = error.errors(include_url=False)
    inside = {entry["loc"][:k] for entry in entries for k in range(len(entry["loc"]))}
    # a list whose item is refused is counted without it, and then said to be too short as well
    return [
        _problem(entry, model)
        for entry in entries
        if entry["type"] != "too_short" or entry["loc"] not in inside
    ]


def _problem(entry: Any, model: type[BaseModel]) -> Problem:
    key = _key_path(entry["loc"])
    if entry["type"] == "extra_forbidden":
        return Problem(key, "a key that is not known here", _known_keys(entry["loc"], model))
    if entry["type"] == "missing":
        return Problem(key, "nothing", "a value: this key is required")
    return Problem(key, _short(entry["input"]), _expectation(entry))


def _key_path(loc: tuple[int | str, ...]) -> str:
    path = ""
    for part in loc:
        if isinstance(part, int):
            path += f"[{part}]"
        elif path:
            path += f".{part}"
        else:
            path = part
    return _cut(path) or "the whole file"


def _cut(key: str) -> str:
    """A key as it is, unless nobody would have written it."""
    shown = key if key.isprintable() else ascii(key)[1:-1]
    return shown if len(shown) <= _LONGEST else f"{shown[:_LONGEST]}..."


def _expectation(entry: Any) -> str:
    message = re.sub(r"^(Input should be|Value error,) ?", "", entry["msg"])
    return message[:1].lower() + message[1:] if not message.startswith("TDB") else message


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 80 else f"{text[:77]}..."


def _known_keys(loc: tuple[int | str, ...], model: type[BaseModel]) -> str:
    owner = _model_at(loc[:-1], model)
    keys = [field.alias or name for name, field in owner.model_fields.items()]
    asked = str(loc[-1])[:_LONGEST]
    close = [new] if (new := _RENAMED.get(asked)) in keys else difflib.get_close_matches(asked, keys, n=1)
    hint = f"{close[0]}? " if close else ""
    return f"{hint}One of: {', '.join(keys)}"


def _model_at(loc: tuple[int | str, ...], model: type[BaseModel]) -> type[BaseModel]:
    """The model that owns the key at `loc`; list positions are stepped over."""
    for part in loc:
        if isinstance(part, str):
            model = _inner_model(model.model_fields[part].annotation) or model
    return model


def _inner_model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for inner in get_args(annotation) if (found := _inner_model(inner))), None)
