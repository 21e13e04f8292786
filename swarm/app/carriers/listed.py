"""The motherships that a study offers: every combination of its grid and every file, each a study of one path."""

from __future__ import annotations

import copy
import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomli_w

from swarm.app.batch import set_key
from swarm.run.folder import Run
from swarm.study.schema import Study, read_study, require_searched, require_supported, study_from
from swarm.study.sections.choices import CHOICE_KEYS
from swarm.study.toml_file import read_toml
from targets.base.errors import InputError

# What a path from a file does not take over from the study's own path.
_OF_ANY_PATH = ("mass_kg", "flyby_altitude_min_km")
_DIGITS = 4


@dataclass(frozen=True)
class Carrier:
    """A mothership that may be flown.

    number  : its place in the order of listing, which is what tables call it
    label   : what it differs in, in a few words
    changes : the keys it differs in, with their values
    text    : its study file; the study of one path
    burn_m_s, burn_kg : what its own burns come to
    """

    number: int
    label: str
    changes: dict[str, Any]
    text: str
    study: Study
    burn_m_s: float = 0.0
    burn_kg: float = 0.0

    @property
    def name(self) -> str:
        """Name of its folder."""
        return f"c{self.number:0{_DIGITS}d}"


@dataclass(frozen=True)
class NoStudy:
    """A combination that is no study, and why."""

    number: int
    label: str
    changes: dict[str, Any]
    why: str


@dataclass(frozen=True)
class Searched:
    """A mothership with its run; `why` it has no front, where it has none."""

    carrier: Carrier
    run: Run | None
    why: str = ""


def of_one_path(data: dict[str, Any]) -> dict[str, Any]:
    """The parsed study without what asks for a choice."""
    bare = copy.deepcopy(data)
    for key in CHOICE_KEYS:
        bare.get("mothership", {}).pop(key, None)
    return bare


def listed(path: Path, *, base: Path | None = None) -> tuple[list[Carrier], list[NoStudy]]:
    """Every mothership the study offers, its own path where it offers no other.

    Raises InputError where the study cannot be used, or none of its combinations can.
    """
    asked = read_study(path, base=base)
    data = read_toml(path, what="the study file")
    carriers: list[Carrier] = []
    refused: list[NoStudy] = []
    first: InputError | None = None
    for number, (label, changes, changed) in enumerate(_combinations(asked, data, path)):
        try:
            study = checked(changed, file=f"{path}, {label}", base=asked.base)
        except InputError as problem:
            first = first or problem
            refused.append(NoStudy(number, label, changes, str(problem).splitlines()[0]))
            continue
        carriers.append(Carrier(number, label, changes, tomli_w.dumps(changed), study))
    if not carriers and first is not None:
        raise first
    return carriers, refused


def checked(data: dict[str, Any], *, file: str, base: Path) -> Study:
    """The study of a parsed file, as `swarm run` would take it."""
    study = study_from(data, file=file)
    require_supported(study, file=file)
    require_searched(study, file=file)
    study._base = base
    return study


def _combinations(
    asked: Study, data: dict[str, Any], path: Path
) -> Iterator[tuple[str, dict[str, Any], dict[str, Any]]]:
    """(label, changes, parsed study) of each."""
    bare, ship = of_one_path(data), asked.mothership
    grid = data["mothership"].get("choices", {}).get("grid", {})
    if not grid and not ship.candidates:
        yield "as given", {}, bare
    for values in itertools.product(*grid.values()) if grid else ():
        changes = dict(zip(grid, values, strict=True))
        changed = copy.deepcopy(bare)
        for key, value in changes.items():
            set_key(changed, key, value, file=path, place=f'mothership.choices.grid."{key}"')
        yield label_of(changes), changes, changed
    for candidate in ship.candidates:
        own = {key: value for key, value in bare["mothership"].items() if key in _OF_ANY_PATH}
        own |= {"kind": "oem" if candidate.spk_id is None else "spk", "file": candidate.file}
        if candidate.spk_id is not None:
            own["spk_id"] = candidate.spk_id
        yield candidate.name, {"mothership.file": candidate.file}, {**bare, "mothership": own}


def label_of(changes: dict[str, Any]) -> str:
    """What a combination differs in: the values, each after its key without the section."""
    return ", ".join(f"{key.removeprefix('mothership.')} = {value}" for key, value in changes.items())
