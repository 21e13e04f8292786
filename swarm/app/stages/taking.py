"""What a run takes over from an older one: the tables of a stage whose answer hangs on nothing that has changed."""

from __future__ import annotations

import os
import shutil
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from swarm.app.stages.reads import values_read
from swarm.run.folder import Run, sha256_of

if TYPE_CHECKING:
    from swarm.app.stages.record import Stage, Work

# What of a manifest says by what a table was made.
_MADE_BY = ("tool", "libraries", "python", "processor")
# Inputs that do not count: a study's keys are looked at one by one, and plans to start from only make a front better.
_NOT_COUNTED = ("study", "starts")


def taken_over(stage: Stage, work: Work, stages: Sequence[Stage]) -> bool:
    """Take a stage's tables over from the older run where nothing they hang on has changed; say so, or why not.

    The stage is marked running; what it noted and warned of comes along.
    """
    if work.old is None or not stage.reads:
        return False
    why = _why_not(stage, work, work.old, stages)
    entry = work.run.manifest["stages"][stage.name]
    entry["from"] = {"run": os.path.relpath(work.old.folder, work.run.folder), "taken": why is None}
    if why is not None:
        entry["from"]["why_not"] = why
        work.teller.say(f"{stage.name}: made anew: {why}")
        return False
    _take(stage, work, work.old)
    work.teller.say(f"{stage.name}: taken over from {work.old.folder}: nothing it hangs on has changed")
    return True


def _why_not(stage: Stage, work: Work, old: Run, stages: Sequence[Stage]) -> str | None:
    """What has changed, in words; None where nothing has."""
    made = old.manifest["stages"].get(stage.name, {})
    before = work.of_run(old)
    if "said" not in made or not old.finished(stage.name, stage.inputs(before, stages)):
        return "the older run has not finished it"
    now, then = _basis(stage, work, stages), _basis(stage, before, stages)
    for what, new in now.items():
        if new == then[what]:
            continue
        if isinstance(new, dict):
            differing = [key for key in {**then[what], **new} if new.get(key) != then[what].get(key)]
            return f"other {what}: {', '.join(differing)}"
        return f"other {what}"
    return None


def _basis(stage: Stage, work: Work, stages: Sequence[Stage]) -> dict[str, Any]:
    """All that a stage's answer hangs on, by kind."""
    manifest = work.run.manifest
    return {
        "keys": values_read(work.study, stage.reads),
        "inputs": {name: sha for name, sha in manifest["inputs"].items() if name not in _NOT_COUNTED},
        "versions": {name: manifest[name] for name in _MADE_BY},
        "tables": {name: sha256_of(work.run.path(name)) for name in stage.upstream(stages)},
        "plan or files": stage.more(work),
    }


def _take(stage: Stage, work: Work, old: Run) -> None:
    made = old.manifest["stages"][stage.name]
    for name in made["made"]:
        place = work.run.folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(old.folder / name, place)
    for key in made["said"]["notes"]:
        work.run.note(key, old.manifest["notes"][key])
    for text in made["said"]["warnings"]:
        work.run.warn(text)
    if "rejects.csv" in made["made"]:
        work.run.manifest["rejected_rows"] = old.manifest["rejected_rows"]
