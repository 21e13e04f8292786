"""Reading a study file: all that is wrong with it is said at once, by key."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from swarm.study.problems import problems_of, refuse
from swarm.study.question import Study
from swarm.study.relations import relations, unsupported
from targets.base.errors import InputError


def read_study(path: str | Path, *, base: Path | None = None) -> Study:
    """Read a study file; every problem in it is named in one `InputError`.

    Parameters
    ----------
    path : the TOML file
    base : folder that relative paths in it start from; the file's own folder unless given
    """
    path = Path(path)
    study = study_from(_read_toml(path), file=path)
    study._base = path.parent if base is None else base
    return study


def study_from(data: dict[str, Any], *, file: str | Path = "study") -> Study:
    """Validate the parsed file and the relations between its values."""
    try:
        study = Study.model_validate(data)
    except ValidationError as error:
        told = problems_of(error, Study)
        if "probe" not in data and "designs" in data:
            # the first design stands for [probe] too: what is wrong with it is said once
            told = [problem for problem in told if not problem.key.startswith("probe")]
        raise refuse(told, file=file) from None
    problems = list(relations(study))
    if problems:
        raise refuse(problems, file=file)
    return study


def require_supported(study: Study, *, file: str | Path = "study") -> None:
    """Refuse what the schema knows but this version cannot compute, naming what it can."""
    problems = list(unsupported(study))
    if problems:
        raise refuse(problems, file=file)


def _read_toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_bytes().decode("utf-8"))
    except FileNotFoundError:
        raise InputError("the study file is not there", file=path, expected="a TOML file") from None
    except OSError as problem:
        raise InputError("the study file cannot be read", file=path, found=problem.strerror) from None
    except UnicodeDecodeError as problem:
        raise InputError("not a TOML text", file=path, found=f"byte {problem.start} is not UTF-8") from None
    except tomllib.TOMLDecodeError as problem:
        raise InputError("not valid TOML", file=path, found=problem, expected="key = value lines") from None
