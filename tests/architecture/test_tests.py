"""Tests stand in the rooms of what they test, and import one another by name only."""

import ast

import pytest

from tests.architecture.test_rooms_and_doors import ROOMS
from tests.helpers.places import TESTS

# Folders that test no single room.
OF_ALL_ROOMS = {"architecture", "authorities", "benchmarks", "campaign", "helpers"}
FILES = sorted(TESTS.rglob("*.py"))
FOLDERS = sorted({file.parent.relative_to(TESTS).as_posix() for file in FILES} - {"."} - OF_ALL_ROOMS)
# The folder of a room of `swarm` is named without the package: tests/reach/arcs, but tests/targets/motion.
FOLDERS_OF_ROOMS = {room.removeprefix("swarm.").replace(".", "/") for room in ROOMS if room != "swarm"}


def faults(text):
    """Imports that only work by a changed path or by the order in which tests are collected."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Attribute) and ast.unparse(node) == "sys.path":
            yield f"line {node.lineno}: sys.path"
        if isinstance(node, ast.ImportFrom):
            names = [node.module or "", *(name.name for name in node.names)]
            if node.module == "sys" and "path" in names:
                yield f"line {node.lineno}: sys.path"
            if node.level or any(name.split(".")[-1] == "conftest" for name in names):
                yield f"line {node.lineno}: what tests share stands in tests.helpers"


def is_of_a_room(folder):
    return any(folder == room or folder.startswith(f"{room}/") for room in FOLDERS_OF_ROOMS)


@pytest.mark.parametrize("file", FILES, ids=[str(file.relative_to(TESTS)) for file in FILES])
def test_shared_helpers_are_imported_by_name(file):
    assert list(faults(file.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    "line",
    [
        "import sys\nsys.path.insert(0, 'x')",
        "import sys\nsys.path[:0] = ['x']",
        "from sys import path",
        "from .conftest import x",
        "from tests.plan.conftest import x",
        "from tests.plan import conftest",
        "from ..plan.made import x",
    ],
)
def test_the_rule_sees_a_changed_path(line):
    assert list(faults(line))


@pytest.mark.parametrize("folder", FOLDERS)
def test_folders_are_those_of_the_rooms(folder):
    assert is_of_a_room(folder)


def test_the_rule_sees_a_folder_without_a_room():
    assert is_of_a_room("decide/explain")
    assert not is_of_a_room("objectives")
    assert not is_of_a_room("motion")
