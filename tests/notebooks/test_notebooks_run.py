"""The notebooks' code runs from the top folder, cell by cell, without Jupyter."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
NOTEBOOKS = sorted((TOP / "notebooks").glob("*.ipynb"))


def test_there_are_notebooks() -> None:
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_every_cell_runs(path: Path, monkeypatch) -> None:
    monkeypatch.chdir(TOP)
    names: dict[str, object] = {}
    for cell in json.loads(path.read_text())["cells"]:
        if cell["cell_type"] == "code":
            exec(compile("".join(cell["source"]), path.name, "exec"), names)
    assert names["found"].counts["targets"] > 3  # type: ignore[attr-defined]
