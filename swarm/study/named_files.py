"""The files that a study names: whether they are there is said before anything else is."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from swarm.study.problems import Problem, refuse
from swarm.study.whole_study import Study
from targets.atmospheres.shipped import NAMES as SHIPPED


def named_files(study: Study) -> Iterator[tuple[str, Path]]:
    """(key, path) of every file that the study is read from beside its own."""
    named = [
        ("catalogue.file", study.catalogue.file),
        ("catalogue.visited", study.catalogue.visited),
        ("mothership.file", study.mothership.file),
    ]
    named += [
        (f"mothership.candidates[{k}].file", candidate.file)
        for k, candidate in enumerate(study.mothership.candidates)
    ]
    if study.sensitivity is not None:
        named += [
            (f"sensitivity.slip_files[{k}].file", slip.file)
            for k, slip in enumerate(study.sensitivity.slip_files)
        ]
    if study.massive is not None:
        named += [(f"massive.spk[{k}]", name) for k, name in enumerate(study.massive.spk)]
        named += [(f"massive.gravity.{body}", name) for body, name in study.massive.gravity.items()]
    named += [
        (f"approach[{k}].atmosphere", ask.atmosphere)
        for k, ask in enumerate(study.approach)
        if ask.atmosphere not in SHIPPED
    ]
    for key, name in named:
        if name is not None:
            yield key, study.base / name


def require_files(study: Study, *, file: str | Path) -> None:
    """Refuse a study of which a file is not there; every one that is missing is named in one `InputError`."""
    missing = [
        Problem(key, f"{path}, which is not there", "a file; its path starts from the study file's folder")
        for key, path in named_files(study)
        if not path.is_file()
    ]
    if missing:
        raise refuse(missing, file=file)
