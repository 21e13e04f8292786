"""Kernels compiled ahead: what is asked for is there, folders are joined, and a joined kernel is loaded."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from swarm.run.kernel_cache import join_kernels, take_over
from swarm.run.warm import kernel_of, kind_of, modules
from tests.helpers.kernel_signatures import written
from tests.helpers.places import ROOT

SOURCE = """
from numba import njit

@njit(cache=True)
def inner(x):
    return x + x

@njit(cache=True)
def outer(x):
    return inner(x) * 3
"""
# Compiles `outer` for the types named; says how many it had to compile and how many it found.
USE = """
import sys
sys.path.insert(0, sys.argv[1])
import kernels
for word in sys.argv[2:]:
    print(kernels.outer({"int": 2, "float": 2.5, "complex": 1j}[word]))
print(sum(kernels.outer.stats.cache_misses.values()), sum(kernels.outer.stats.cache_hits.values()))
"""


def use(place, cache, *words):
    done = subprocess.run(
        [sys.executable, "-c", USE, str(place), *words],
        env={**os.environ, "NUMBA_CACHE_DIR": str(cache)}, capture_output=True, text=True, check=True, timeout=300,
    )  # fmt: skip
    *values, counted = done.stdout.splitlines()
    return values, tuple(int(number) for number in counted.split())


@pytest.fixture
def place(tmp_path):
    (tmp_path / "source").mkdir()
    (tmp_path / "source" / "kernels.py").write_text(SOURCE, encoding="utf-8")
    return tmp_path / "source"


def test_folders_that_number_alike_are_joined_without_loss(place, tmp_path):
    """Both call their kernel number 1; after joining, each signature has its own and gives the right number."""
    one, other = tmp_path / "one", tmp_path / "other"
    assert use(place, one, "int") == (["12"], (1, 0))
    assert use(place, other, "float", "complex") == (["15.0", "6j"], (2, 0))
    join_kernels(other, one)
    assert use(place, one, "complex", "int", "float") == (["6j", "12", "15.0"], (0, 3))
    before = sorted(path.name for path in one.rglob("*.nb?"))
    join_kernels(other, one)
    assert sorted(path.name for path in one.rglob("*.nb?")) == before


def test_into_an_empty_folder_and_from_a_broken_one(place, tmp_path):
    one, other = tmp_path / "one", tmp_path / "other"
    use(place, one, "int")
    for index in one.rglob("*inner*.nbi"):
        index.write_bytes(index.read_bytes()[:-5])
    join_kernels(one, other)
    assert use(place, other, "int") == (["12"], (0, 1))


def test_one_more_name_of_a_file_is_not_written_through(place, tmp_path):
    """Two processes may hold the same files: what one adds is not seen in the other's folder."""
    one, other = tmp_path / "one", tmp_path / "other"
    use(place, one, "int")
    take_over(one, other)
    held = {path.relative_to(one): path.read_bytes() for path in one.rglob("*.nb?")}
    assert all((other / name).samefile(one / name) for name in held)
    assert use(place, other, "float", "int") == (["15.0", "12"], (1, 1))
    assert {path.relative_to(one): path.read_bytes() for path in one.rglob("*.nb?")} == held


def test_what_goes_away_meanwhile_costs_nothing_but_time(place, tmp_path, monkeypatch):
    """A worker that ends takes its folder away: a folder that was just seen, and a file that is a name of nothing."""
    one, other = tmp_path / "one", tmp_path / "other"
    use(place, one, "int")
    use(place, other, "float")
    index = next(other.rglob("*outer*.nbi"))
    index.unlink()
    index.symlink_to(tmp_path / "nowhere")
    gone, scandir = other / "gone", os.scandir
    gone.mkdir()

    def looked(folder="."):
        if Path(folder) == gone:
            raise FileNotFoundError(folder)
        return scandir(folder)

    monkeypatch.setattr(os, "scandir", looked)
    join_kernels(other, one)
    monkeypatch.undo()
    assert use(place, one, "int") == (["12"], (0, 1))


def test_what_is_compiled_ahead_is_what_there_is():
    """Every line names a kernel, with as many arguments as it has and fields as its records have."""
    asked = [one for module in modules() for one in module]
    assert len(asked) > 30

    def checked(kinds):
        for kind in kinds:
            if isinstance(kind, dict) and "named" in kind:
                assert len(kernel_of(kind["named"])._fields) == len(kind["of"]), kind["named"]
                checked(kind["of"])

    for one in asked:
        arguments = kernel_of(one["kernel"]).py_func.__code__.co_argcount
        assert len(one["of"]) == arguments, one["kernel"]
        checked(one["of"])
        assert [written(kind_of(kind)) for kind in one["of"]] == one["of"]


@pytest.mark.slow
def test_a_run_compiles_nothing_more(tmp_path):
    """After `swarm warm` on two workers the stages up to the page find every kernel they ask for."""
    from tests.helpers.command_line import TINY

    (tmp_path / "study.toml").write_text(
        TINY + "\n[sensitivity]\n[compare]\ncounts = [0, 2]\n", encoding="utf-8"
    )
    env = {**os.environ, "SWARM_CACHE_DIR": str(tmp_path / "cache"), "PYTHONPATH": str(ROOT)}
    env.pop("NUMBA_CACHE_DIR", None)

    def swarm(*words):
        command = [sys.executable, "-m", "swarm.app.cli", *map(str, words)]
        return subprocess.run(command, env=env, capture_output=True, text=True, check=True, timeout=1800)

    said = swarm("warm", "--workers", 2).stdout
    assert "compiled when it is first used" not in said
    before = {path: path.stat().st_mtime_ns for path in Path(tmp_path / "cache").rglob("*.nbc")}
    assert len(before) > 100
    swarm("run", tmp_path / "study.toml", "--run", tmp_path / "out", "--workers", 1)
    after = set(Path(tmp_path / "cache").rglob("*.nbc"))
    assert after == set(before)
