"""Pages of text that come with the package, and what is told of a study that is not run."""

from __future__ import annotations

from collections.abc import Iterable
from importlib import import_module
from importlib.resources import files
from pathlib import Path

from swarm.run.tables import lines
from swarm.study.reference import study_reference
from swarm.study.schema import read_study, require_files, require_supported
from targets.base.errors import InputError

WRITTEN = (
    "low-passes",
    "entries",
    "several-designs",
    "many-studies",
    "motherships",
    "beyond-one-machine",
    "in-a-script",
)
PAGES = ("study", "tables", *WRITTEN)


def page_text(name: str) -> str:
    """Return a page in Markdown; InputError names those there are."""
    if name == "study":
        return study_reference()
    if name == "tables":
        return "# The tables of a run folder\n\n" + "\n".join(lines()) + "\n"
    if name in WRITTEN:
        return (files("swarm.app") / "docs" / f"{name}.md").read_text(encoding="utf-8")
    raise InputError("there is no such page", found=name, expected=f"one of {', '.join(PAGES)}")


def said_of(study: Path, function: str) -> Iterable[str]:
    """What a function, given as "module:name", says of a study that was read without error."""
    understood = read_study(study)
    require_supported(understood, file=study)
    require_files(understood, file=study)
    module, _, name = function.partition(":")
    told: Iterable[str] = getattr(import_module(module), name)(understood)
    return told
