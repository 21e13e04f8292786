"""The list of visited bodies is data: a text file, one target per line."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

from targets.base.errors import InputError
from targets.catalogue.reading import read_catalogue


def _settings(**more) -> SimpleNamespace:
    return SimpleNamespace(format="invented", bodies=5, seed=1, **more)


def test_listed_bodies_are_marked_and_unknown_names_told(tmp_path: Path) -> None:
    (tmp_path / "visited.txt").write_text("# seen before\nINV-0000001\n\n  INV-0000003  # twice\nNowhere 7\n")
    reading = read_catalogue(_settings(visited="visited.txt"), tmp_path)
    assert reading.catalogue.visited.tolist() == [False, True, False, True, False]
    assert "2 bodies are on the list of visited bodies." in reading.notes
    assert any("not in the catalogue (1): Nowhere 7" in note for note in reading.notes)
    assert len(reading.visited_sha256) == 64


def test_without_a_list_nothing_is_visited(tmp_path: Path) -> None:
    reading = read_catalogue(_settings(visited=None), tmp_path)
    assert not reading.catalogue.visited.any()
    assert reading.visited_sha256 == ""


def test_a_missing_list_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"visited\.txt: the file does not exist"):
        read_catalogue(_settings(visited="visited.txt"), tmp_path)
