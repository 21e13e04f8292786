"""The door to the catalogue: the study's [catalogue] becomes a `Reading`."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from targets.base.errors import InputError
from targets.catalogue.bodies import ASSUMED_G, ASSUMED_H, ASSUMED_U, Catalogue, Reading
from targets.catalogue.invented import EPOCH_JD_TDB, describe_belt, invented_belt
from targets.catalogue.readers import mpc_json, mpcorb, own, sbdb
from targets.catalogue.readers.assumptions import settle
from targets.catalogue.readers.draft import Draft, few, tidy
from targets.catalogue.readers.source import Source, read_source, text_of
from targets.catalogue.rejects import rejects_table

__all__ = ["ASSUMED_G", "ASSUMED_H", "ASSUMED_U", "Catalogue", "Reading", "read_catalogue"]

# A further format is a module with `read_draft(path)` and a line here.
_READERS: dict[str, Callable[[Path], tuple[Draft, Source]]] = {
    "mpc-json": mpc_json.read_draft,
    "mpcorb": mpcorb.read_draft,
    "sbdb-csv": sbdb.read_csv_draft,
    "sbdb-json": sbdb.read_json_draft,
    "own": own.read_draft,
}
_INVENTED = "invented"


def read_catalogue(settings: Any, base: Path) -> Reading:
    """Read, or invent, the bodies of a study.

    Parameters
    ----------
    settings : the study's [catalogue]: `format`, then `file` or `bodies`, `seed` (and `epoch`, JD TDB);
               `visited` names a text file with one target per line, '#' starts a comment
    base     : folder that relative paths start from

    Raises InputError where a file cannot be used as a whole; single rows become rejects.
    """
    if settings.format == _INVENTED:
        reading = _invented(settings)
    elif settings.format in _READERS:
        reading = _read(settings, Path(base))
    else:
        raise InputError(
            "there is no reader for this catalogue format",
            place="catalogue.format",
            found=settings.format,
            expected=", ".join([*_READERS, _INVENTED]),
        )
    listed = getattr(settings, "visited", None)
    return _with_visited(reading, Path(base) / listed) if listed else reading


def _read(settings: Any, base: Path) -> Reading:
    if not getattr(settings, "file", None):
        raise InputError(
            f'format "{settings.format}" reads a file', place="catalogue.file", expected="the path of a file"
        )
    path = base / settings.file
    draft, source = _READERS[settings.format](path)
    catalogue, rejects, notes = settle(draft, path)
    return Reading(catalogue, rejects, notes, source.sha256)


def _invented(settings: Any) -> Reading:
    bodies, seed = getattr(settings, "bodies", None), getattr(settings, "seed", None)
    if bodies is None or bodies < 1:
        raise InputError(
            "an invented belt needs bodies", place="catalogue.bodies", found=bodies, expected="1 or more"
        )
    if seed is None or seed < 0:
        raise InputError(
            "an invented belt needs a seed", place="catalogue.seed", found=seed, expected="0 or more"
        )
    epoch = getattr(settings, "epoch_jd_tdb", None) or getattr(settings, "epoch", None) or EPOCH_JD_TDB
    description = describe_belt(bodies, seed, float(epoch))
    return Reading(
        catalogue=invented_belt(bodies, seed, epoch_jd_tdb=float(epoch)),
        rejects=rejects_table(()),
        notes=(description,),
        source_sha256=hashlib.sha256(description.encode()).hexdigest(),
    )


def _with_visited(reading: Reading, path: Path) -> Reading:
    source = read_source(path)
    lines = (tidy(line.split("#", 1)[0]) for line in text_of(source).splitlines())
    listed = {line for line in lines if line}
    listed_here = np.array([target in listed for target in reading.catalogue.target], dtype=bool)
    unknown = sorted(listed.difference(reading.catalogue.target[listed_here]))
    return replace(
        reading,
        catalogue=replace(reading.catalogue, visited=reading.catalogue.visited | listed_here),
        notes=(*reading.notes, *_visited_notes(int(listed_here.sum()), unknown)),
        visited_sha256=source.sha256,
    )


def _visited_notes(listed_here: int, unknown: list[str]) -> tuple[str, ...]:
    told = f"{listed_here} bodies are on the list of visited bodies."
    if not unknown:
        return (told,)
    return (told, f"On the list of visited bodies but not in the catalogue ({len(unknown)}): {few(unknown)}.")
