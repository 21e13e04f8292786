"""Pages of text that come with the package: the study file's reference, and four written by hand."""

from __future__ import annotations

from importlib.resources import files

from swarm.run.tables import lines
from swarm.study.reference import study_reference
from targets.base.errors import InputError

WRITTEN = ("low-passes", "several-designs", "many-studies", "beyond-one-machine", "in-a-script")
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
