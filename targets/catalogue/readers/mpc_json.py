"""The Minor Planet Center's extended orbit files in JSON, plain or gzip: a list of objects, one per body.

Format: the Center's page "Format of extended JSON orbit files" (keys seen in the near-Earth file).
Epochs are TT. The row number, from 1, stands in for the line: JSON has no lines.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from targets.base.errors import InputError
from targets.base.timescale import tdb_jd_from_tt_jd
from targets.catalogue.readers.draft import Draft, Numbers, naming_notes, no_numbers, numbers_of, tidy
from targets.catalogue.readers.source import Source, json_of, read_source

# column of the catalogue -> key of the format
_NUMBER_KEYS = {
    "epoch_jd_tdb": "Epoch",
    "a_au": "a",
    "e": "e",
    "i_deg": "i",
    "node_deg": "Node",
    "argp_deg": "Peri",
    "mean_anomaly_deg": "M",
    "h_mag": "H",
    "g_slope": "G",
    "u_code": "U",
}
_TEXT_KEYS = ("Number", "Principal_desig", "Name")
_KEYS = (*_TEXT_KEYS, *_NUMBER_KEYS.values())
_SHAPE = 'a JSON list of objects with the keys "Principal_desig", "Epoch", "a", "e", "i", "Node", "Peri", "M"'


class _Row(tuple[Any, ...]):
    """The values of _KEYS of one object; 1.4 million whole objects would not fit in memory."""

    __slots__ = ()


def read_draft(path: Path) -> tuple[Draft, Source]:
    """Return the rows of an extended JSON file as they are, with the source they came from."""
    source = read_source(path)
    rows = _parsed(source)
    kept: list[Sequence[Any]] = [row if isinstance(row, _Row) else (None,) * len(_KEYS) for row in rows]
    if not any(isinstance(row, _Row) and row.count(None) < len(_KEYS) for row in rows):
        raise _other_shape(path, "a list in which no entry has any of these keys")
    columns = {key: [row[k] for row in kept] for k, key in enumerate(_KEYS)}
    return _draft(rows, columns), source


def _parsed(source: Source) -> list[Any]:
    content = json_of(source, expected=_SHAPE, object_hook=_keep)
    if not isinstance(content, list):
        raise _other_shape(source.path, "an object" if isinstance(content, _Row) else type(content).__name__)
    if not content:
        raise InputError(
            "the catalogue is empty", file=source.path, found="a list of nothing", expected=_SHAPE
        )
    return content


def _keep(fields: dict[str, Any]) -> _Row:
    return _Row(map(fields.get, _KEYS))


def _other_shape(path: Path, found: str) -> InputError:
    return InputError("the file has another format", file=path, found=found, expected=_SHAPE)


def _draft(rows: list[Any], columns: dict[str, list[Any]]) -> Draft:
    count = len(rows)

    def text_of_row(row: int) -> str:
        held = rows[row]
        if not isinstance(held, _Row):
            return json.dumps(held, default=str)
        return json.dumps({key: value for key, value in zip(_KEYS, held, strict=True) if value is not None})

    letters = np.array([isinstance(u, str) and u.strip().isalpha() for u in columns["U"]], dtype=bool)
    numbers = {column: numbers_of(columns[key]) for column, key in _NUMBER_KEYS.items()}
    numbers["epoch_jd_tdb"] = _tdb_from_tt(numbers["epoch_jd_tdb"])
    return Draft(
        lines=np.arange(1, count + 1, dtype=np.int64),
        text_of=text_of_row,
        broken=["" if isinstance(row, _Row) else "the entry is not an object" for row in rows],
        target=[_target(*pair) for pair in zip(columns["Number"], columns["Principal_desig"], strict=True)],
        name=[tidy(name) for name in columns["Name"]],
        taxonomy=[""] * count,
        visited=np.zeros(count, dtype=bool),
        numbers=numbers | {"albedo": no_numbers(count), "diameter_km": no_numbers(count)},
        label_of=_NUMBER_KEYS | {"albedo": "albedo", "diameter_km": "diameter"},
        u_letter=letters,
        assumed=np.zeros(count, dtype=np.uint16),
        notes=naming_notes(sum(not tidy(number).strip("()") for number in columns["Number"])),
    )


def _tdb_from_tt(epoch: Numbers) -> Numbers:
    with np.errstate(invalid="ignore"):  # an infinite epoch becomes NaN and is not taken
        return Numbers(tdb_jd_from_tt_jd(epoch.values), epoch.missing)


def _target(number: Any, designation: Any) -> str:
    """Return "433" of "(433)", else the principal designation."""
    return tidy(number).strip("()") or tidy(designation)
