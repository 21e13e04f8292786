"""What the sections of a study file are made of: a section, and keys that say their unit and where a default is from.

A key that holds a number says its unit, "-" where it has none; a date says "TDB". `default`, `required` and
`optional` are such keys; `choice` and `unset` are keys of texts and truth values.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, Strict, StringConstraints
from pydantic.config import JsonDict
from pydantic.fields import FieldInfo

from targets.base.timescale import parse_tdb_jd

# Span of the planetary ephemeris DE440 (JPL, Park et al. 2021, AJ 161:105): 1549-12-31 to 2650-01-25.
FIRST_JD_TDB, LAST_JD_TDB = 2287184.5, 2688976.5

OWN_CHOICE = "own choice"
FROM_MEMORY = "from memory"
DATE_UNIT = "TDB"
NO_UNIT = "-"
Range = tuple[float, float]


def _date(value: object) -> float:
    """JD TDB of a number or of an ISO string ending in TDB; refuses everything else."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise ValueError('a Julian date TDB (number) or text such as "2031-03-01 TDB"')
    try:
        jd_tdb = parse_tdb_jd(value)
    except ValueError as problem:
        raise ValueError('a Julian date TDB (number) or text such as "2031-03-01 TDB"') from problem
    if not FIRST_JD_TDB <= jd_tdb <= LAST_JD_TDB:
        raise ValueError("a date within 1549-12-31 and 2650-01-25 TDB, the span of the planetary ephemeris")
    return jd_tdb


def _text_of_number(value: object) -> object:
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


JdTdb = Annotated[float, BeforeValidator(_date)]
DatePair = Annotated[tuple[JdTdb, JdTdb], Strict(False)]
Name = Annotated[str, StringConstraints(min_length=1, max_length=200)]
BodyName = Annotated[Name, BeforeValidator(_text_of_number)]


def default(value: object, unit: str, source: str, *, likely: Range | None = None, **limits: Any) -> Any:
    """Return a key of a number that may be left out, the value it then has, and where that comes from.

    A value outside `limits` is refused; one outside `likely` (own choices) is said by `swarm check`.
    """
    return Field(default=value, json_schema_extra=_said(unit, source, likely), **limits)


def required(unit: str, *, likely: Range | None = None, **limits: Any) -> Any:
    """Return a key of a number that must be given."""
    return Field(json_schema_extra=_said(unit, "", likely), **limits)


def _said(unit: str, source: str, likely: Range | None) -> JsonDict:
    return {"unit": unit, "source": source, "likely": None if likely is None else list(likely)}


def optional(unit: str, source: str = "", **limits: Any) -> Any:
    """Return a key of a number that may be absent; `source` says what is then taken in its place.

    Which keys belong together is checked in `swarm.study.relations`.
    """
    return Field(default=None, json_schema_extra={"unit": unit, "source": source}, **limits)


def choice(value: object, source: str) -> Any:
    """Return a key of a text or a truth value that may be left out."""
    return Field(default=value, json_schema_extra={"source": source})


def unset() -> Any:
    """Return a key of a text or a truth value that may be absent."""
    return Field(default=None)


class Section(BaseModel):
    """Keys of one table of a study file; others are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    def unused(self) -> tuple[str, ...]:
        """Keys that mean nothing beside the values of others; they are neither taken nor shown."""
        return ()

    def source_of(self, key: str) -> str | None:
        """Where the value of a key that is not given comes from, if not from the key's own default."""
        return None


def likely_of(field: FieldInfo) -> Range | None:
    """Return the least and the greatest value that is plausible; None where the key declares no range."""
    declared = field.json_schema_extra
    likely = declared.get("likely") if isinstance(declared, dict) else None
    return (float(likely[0]), float(likely[1])) if isinstance(likely, list) else None  # type: ignore[arg-type]


def said_of(field: FieldInfo, what: str) -> str:
    """Return what a key declares of itself: its "unit" or its "source"; empty where it declares none."""
    declared = field.json_schema_extra
    return str(declared.get(what, "")) if isinstance(declared, dict) else ""


def unit_of(field: FieldInfo) -> str:
    """Return the unit of a key; NO_UNIT for texts and truth values."""
    return said_of(field, "unit") or NO_UNIT
