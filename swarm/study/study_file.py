"""Reading a study file: all that is wrong with it is said at once, by key."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from swarm.study.approach_relations import unsearched
from swarm.study.choice_relations import asks_for_choice
from swarm.study.problems import Problem, problems_of, refuse
from swarm.study.relations import relations, unsupported
from swarm.study.sections.choices import CHOICE_KEYS
from swarm.study.toml_file import read_toml
from swarm.study.whole_study import Study


def read_study(path: str | Path, *, base: Path | None = None) -> Study:
    """Read a study file; every problem in it is named in one `InputError`.

    Parameters
    ----------
    path : the TOML file
    base : folder that relative paths in it start from; the file's own folder unless given
    """
    path = Path(path)
    study = study_from(read_toml(path, what="the study file"), file=path)
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


def require_searched(study: Study, *, file: str | Path = "study") -> None:
    """Refuse what other commands compute and the search of this version does not take."""
    problems = list(unsearched(study))
    if asks_for_choice(study):
        expected = "a study of one path; this one is answered by: swarm carriers STUDY.toml --run DIR"
        keys = [key for key in CHOICE_KEYS if getattr(study.mothership, key)]
        problems += [Problem(f"mothership.{key}", "motherships to choose from", expected) for key in keys]
    if problems:
        raise refuse(problems, file=file)
