"""Answers of JPL's Small-SbdbBody Database: a query's table in CSV or JSON, or single bodies in JSON.

Formats: JPL's pages "SBDB Query API" (fields and data) and "SBDB API" (one body; sbdb_body.py). Epochs
are TDB. In JSON the row number, from 1, stands in for the line.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from targets.base.errors import InputError
from targets.catalogue.bodies import Floats
from targets.catalogue.readers.delimited import check_names, read_csv_rows
from targets.catalogue.readers.designations import is_provisional
from targets.catalogue.readers.draft import (
    Draft,
    Numbers,
    naming_notes,
    no_numbers,
    numbers_of,
    spin_periods_h,
    tidy,
)
from targets.catalogue.readers.sbdb_body import ELEMENT_FIELDS, SIGMA_FIELDS, SbdbBody, body_of, is_body
from targets.catalogue.readers.source import Source, json_of, read_source

# column of the catalogue -> field of the format
_NUMBER_FIELDS = {
    "epoch_jd_tdb": "epoch",
    "a_au": "a",
    "e": "e",
    "i_deg": "i",
    "node_deg": "om",
    "argp_deg": "w",
    "mean_anomaly_deg": "ma",
    "h_mag": "H",
    "g_slope": "G",
    "albedo": "albedo",
    "diameter_km": "diameter",
    "u_code": "condition_code",
}
REQUIRED = ("epoch", *ELEMENT_FIELDS)
# A body is named by either of these; of the classes the first that is given counts.
_NAMED_BY = ("pdes", "full_name")
_TAXONOMIES = ("spec_B", "spec_T")
_SPIN = "rot_per"  # hours
_WANTED = (*_NAMED_BY, "name", *_TAXONOMIES, _SPIN, "equinox", *_NUMBER_FIELDS.values(), *SIGMA_FIELDS)

_KIND = "a table of the Small-SbdbBody Database"
_SHAPE = (
    'an object with "fields" and "data", an object with "object" and "orbit" (one body), or a list of such'
)
OTHER_EQUINOX = "the elements do not refer to the equinox J2000"
NOT_A_BODY = 'the entry is no answer about one body: no "object", no "orbit"'

# "433 Eros (A898 PA)", "15788 (1993 SB)", "(2001 VB)"
_FULL_NAME = re.compile(r"(?:(?P<number>\d+)\s+)?(?P<name>[^()]*?)\s*(?:\((?P<designation>[^()]+)\))?")

_Columns = Mapping[str, Sequence[Any]]


def read_csv_draft(path: Path) -> tuple[Draft, Source]:
    """Return the rows of a query's CSV as they are, with the source they came from."""
    source = read_source(path)
    rows = read_csv_rows(source, REQUIRED, _WANTED, _KIND)
    _check_named(rows.names, path, "column names")
    if len(rows.lines) == 0:
        raise InputError("the catalogue is empty", file=path, found="column names and no row")
    return _draft(rows.values, rows.broken, lines=rows.lines, text_of_row=rows.text), source


def read_json_draft(path: Path) -> tuple[Draft, Source]:
    """Return the rows of a query's JSON, or of one or several answers about single bodies.

    A file of single bodies may carry their covariance; a body is then taken at the epoch of its
    covariance, with the elements given for that epoch, so that the two belong together.
    """
    source = read_source(path)
    content = json_of(source, expected=_SHAPE)
    if isinstance(content, dict) and "fields" in content:
        return _query_draft(content, path), source
    answers = content if isinstance(content, list) else [content]
    if not answers:
        raise InputError("the catalogue is empty", file=path, found="a list of nothing", expected=_SHAPE)
    if not any(is_body(answer) for answer in answers):
        raise InputError("the file has another format", file=path, found=_found(content), expected=_SHAPE)
    return _bodies_draft(answers), source


def _found(content: Any) -> str:
    if not isinstance(content, dict):
        return f"a {type(content).__name__}"
    if "message" in content:  # the database's own words, where it found nothing
        return f"the message {str(content['message'])[:200]!r}"
    return f"an object with the keys {', '.join(content)[:200] or 'of nothing'}"


def _query_draft(content: dict[str, Any], path: Path) -> Draft:
    fields, rows = content["fields"], content.get("data")
    if not isinstance(fields, list) or not isinstance(rows, list):
        raise InputError('"fields" and "data" are no lists', file=path, expected=_SHAPE)
    if not rows:
        raise InputError("the catalogue is empty", file=path, found='"data" holds no row')
    names = [str(name) for name in fields]
    check_names(names, REQUIRED, _KIND, path=path, place="fields")
    _check_named(names, path, "fields")
    broken = [_row_fault(row, len(names)) for row in rows]
    kept = {name: k for k, name in enumerate(names) if name in _WANTED}
    columns = {
        name: [None if fault else row[k] for row, fault in zip(rows, broken, strict=True)]
        for name, k in kept.items()
    }
    lines = np.arange(1, len(rows) + 1, dtype=np.int64)
    return _draft(columns, broken, lines=lines, text_of_row=_json_texts(rows))


def _row_fault(row: Any, width: int) -> str:
    if not isinstance(row, list):
        return "the entry is not a list"
    return "" if len(row) == width else f"{len(row)} values where there are {width} fields"


def _bodies_draft(answers: list[Any]) -> Draft:
    bodies = [body_of(answer) if is_body(answer) else None for answer in answers]
    columns = {name: [body.fields.get(name) if body else None for body in bodies] for name in _WANTED}
    return _draft(
        columns,
        ["" if body else NOT_A_BODY for body in bodies],
        lines=np.arange(1, len(answers) + 1, dtype=np.int64),
        text_of_row=_json_texts(answers),
        covariance=_covariances(bodies),
        notes=_covariance_notes([body for body in bodies if body]),
    )


def _covariances(bodies: Sequence[SbdbBody | None]) -> Floats | None:
    """Return (n, 6, 6), NaN for a body without one; None where no body has one."""
    unknown = np.full((6, 6), np.nan)
    held = [None if body is None else body.covariance for body in bodies]
    if all(matrix is None for matrix in held):
        return None
    return np.array([unknown if matrix is None else matrix for matrix in held])


def _covariance_notes(bodies: Sequence[SbdbBody]) -> tuple[str, ...]:
    moved = sum(body.at_covariance_epoch for body in bodies)
    unread = sum(body.covariance_unread for body in bodies)
    told = []
    if moved:
        told.append(
            f"{moved} rows taken: at the epoch of their covariance, not at that of the newest elements."
        )
    if unread:
        told.append(
            f"{unread} rows taken: without their covariance, which cannot be read or related to elements."
        )
    return tuple(told)


def _json_texts(rows: Sequence[Any]) -> Callable[[int], str]:
    def text_of_row(row: int) -> str:
        return json.dumps(rows[row])

    return text_of_row


def _check_named(names: Sequence[str], path: Path, place: str) -> None:
    if not any(name in names for name in _NAMED_BY):
        raise InputError(
            "no field says which body a row is about",
            file=path,
            place=place,
            found=", ".join(names)[:200],
            expected=f"{_KIND} with {' or '.join(_NAMED_BY)}",
        )


def _draft(
    columns: _Columns,
    broken: list[str],
    *,
    lines: NDArray[np.int64],
    text_of_row: Callable[[int], str],
    covariance: Floats | None = None,
    notes: tuple[str, ...] = (),
) -> Draft:
    count = len(lines)
    full_names = _texts(columns, "full_name", count)
    designations = _texts(columns, "pdes", count)
    target = [given or _target(full) for given, full in zip(designations, full_names, strict=True)]
    names = [
        given or _name(full) for given, full in zip(_texts(columns, "name", count), full_names, strict=True)
    ]
    classes = [_texts(columns, field, count) for field in _TAXONOMIES]
    unnumbered = sum(not text.isdigit() for text in target if text)
    return Draft(
        lines=lines,
        text_of=text_of_row,
        broken=_with_equinox(broken, _texts(columns, "equinox", count)),
        target=target,
        name=names,
        taxonomy=[next((given for given in row if given), "") for row in zip(*classes, strict=True)],
        visited=np.zeros(count, dtype=bool),
        numbers={column: _numbers(columns, field, count) for column, field in _NUMBER_FIELDS.items()},
        label_of=_NUMBER_FIELDS,
        u_letter=np.array([code.isalpha() for code in _texts(columns, "condition_code", count)], dtype=bool),
        assumed=np.zeros(count, dtype=np.uint16),
        notes=(*naming_notes(unnumbered), *notes),
        element_sigma=_sigmas(columns, covariance, count),
        element_covariance=covariance,
        attributes=_attributes(columns),
    )


def _attributes(columns: _Columns) -> dict[str, NDArray[Any]]:
    spin_period_h = spin_periods_h(columns.get(_SPIN, ()))
    return {"spin_period_h": spin_period_h} if np.isfinite(spin_period_h).any() else {}


def _with_equinox(broken: list[str], equinoxes: list[str]) -> list[str]:
    others = [given not in ("", "J2000") for given in equinoxes]
    return [fault or (OTHER_EQUINOX if other else "") for fault, other in zip(broken, others, strict=True)]


def _sigmas(columns: _Columns, covariance: Floats | None, count: int) -> Floats | None:
    """Return (n, 6): from the covariance where there is one, else as given; None where nothing is known."""
    given = np.column_stack([_numbers(columns, field, count).values for field in SIGMA_FIELDS])
    given[~(given >= 0) | np.isinf(given)] = np.nan
    if covariance is not None:
        known = np.isfinite(covariance).all(axis=(1, 2))
        variances = np.diagonal(covariance, axis1=1, axis2=2)[known]
        given[known] = np.sqrt(np.maximum(variances, 0.0))  # rounding can leave a vanishing one below zero
    return None if np.isnan(given).all() else given


def _numbers(columns: _Columns, field: str, count: int) -> Numbers:
    return numbers_of(columns[field]) if field in columns else no_numbers(count)


def _texts(columns: _Columns, field: str, count: int) -> list[str]:
    return [tidy(value) for value in columns[field]] if field in columns else [""] * count


def _target(full_name: str) -> str:
    """Return the number, else the designation in brackets, else all that is written (comets)."""
    match = _FULL_NAME.fullmatch(full_name)
    if match is None or "/" in full_name or is_provisional(full_name):
        return full_name
    return match["number"] or match["designation"] or match["name"]


def _name(full_name: str) -> str:
    """Return "Eros" of "433 Eros (A898 PA)"; '' where the body has a number or designation only."""
    match = _FULL_NAME.fullmatch(full_name)
    if match is None or "/" in full_name or not match["number"] or is_provisional(full_name):
        return ""
    return match["name"] or ""
