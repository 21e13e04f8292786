"""Low passes of the demonstrations, as few as a test needs: screened, and nothing more."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from swarm.encounter.pass_screen import screen_passes
from swarm.reach.found import Screening
from swarm.run.workers import Pool
from swarm.study.schema import Study
from swarm.study.study_file import read_study
from targets.catalogue.reading import read_catalogue
from tests.helpers.places import ROOT


def demonstration(name: str, **changes: str) -> str:
    """The text of a demonstration's study with some of its keys set otherwise."""
    return with_keys((ROOT / "runs" / name / "study.toml").read_text(encoding="utf-8"), **changes)


def with_keys(text: str, **changes: str) -> str:
    """The text of a study with other values of keys, where each first stands."""
    for key, value in changes.items():
        lines = [line for line in text.splitlines() if line.split("=")[0].strip() == key]
        assert lines, key
        text = text.replace(lines[0], f"{key} = {value}")
    return text


def study_in(folder: Path, text: str) -> Path:
    """The study file in a folder, beside the mothership's path where it names one."""
    file = folder / "study.toml"
    file.write_text(text, encoding="utf-8")
    path = ROOT / "runs" / "sorrel" / "sorrel.oem"
    if path.name in text:
        (folder / path.name).write_bytes(path.read_bytes())
    return file


def screening_of(study: Study) -> Screening:
    """The screen of low passes alone."""
    catalogue = read_catalogue(study.catalogue, study.base).catalogue
    return screen_passes((study,), catalogue, pool=Pool())[0]


def screened(folder: Path, text: str) -> tuple[Study, list[dict[str, Any]]]:
    """The study and its low passes, rows of `opportunities` as widened by `passes`."""
    study = read_study(study_in(folder, text))
    return study, screening_of(study).opportunities.to_pylist()
