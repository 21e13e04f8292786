"""Kernels compiled on all workers side by side, before a run asks for them one after the other.

Which kernels the stages ask for, and with what, stands in `signatures.jsonl` (written by
`tests.helpers.kernel_signatures`). Each worker compiles into its own folder, having taken over what the others of its
machine have made: kernels call one another, and each would compile what they share again. The driver joins what they
made into its own, and hands it on. A line that is out of date costs time only: the kernel is then compiled when it is
first used.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from swarm.run.kernel_cache import CACHE_VARIABLE, join_kernels
from swarm.run.workers import Pool, kernels_beside

SIGNATURES = Path(__file__).with_name("signatures.jsonl")


@dataclass(frozen=True)
class Warmed:
    """compiled : kernels that are ready; left : those that will be compiled when they are used."""

    compiled: int
    left: tuple[str, ...]


def warm(pool: Pool) -> Warmed:
    """Compile every kernel that the stages ask for, a module a task, the largest first."""
    done = pool.map(_compile, modules())
    own = os.environ.get(CACHE_VARIABLE)
    for folder in {folder for _, _, folder in done if folder}:
        if own and Path(folder) != Path(own):
            join_kernels(Path(folder), Path(own))
    return Warmed(sum(count for count, _, _ in done), tuple(name for _, left, _ in done for name in left))


def is_cold() -> bool:
    """Whether this process has a folder for kernels in which there is none yet."""
    own = os.environ.get(CACHE_VARIABLE)
    return bool(own) and next(Path(str(own)).rglob("*.nbi"), None) is None


def modules() -> list[list[dict[str, Any]]]:
    """The kernels to compile, those of a module together: they share what they call."""
    of_module: dict[str, list[dict[str, Any]]] = {}
    for line in SIGNATURES.read_text(encoding="utf-8").splitlines():
        asked = json.loads(line)
        of_module.setdefault(asked["kernel"].split(":")[0], []).append(asked)
    return sorted(of_module.values(), key=_size, reverse=True)


def _size(asked: Sequence[dict[str, Any]]) -> int:
    """A guess of how long a module takes: the longer its source and the more is asked of it."""
    source = Path(__file__).parents[2] / f"{asked[0]['kernel'].split(':')[0].replace('.', '/')}.py"
    return source.stat().st_size * len(asked) if source.is_file() else 0


def _compile(asked: list[dict[str, Any]], shared: None) -> tuple[int, tuple[str, ...], str | None]:
    """A task: how many were compiled, which were not, and where they lie."""
    left = []
    own = os.environ.get(CACHE_VARIABLE)
    for one in asked:
        for beside in kernels_beside(own):
            join_kernels(beside, Path(str(own)))
        try:
            kernel_of(one["kernel"]).compile(tuple(kind_of(kind) for kind in one["of"]))
        except Exception:  # of another version of a kernel: nothing is lost but time
            left.append(one["kernel"])
    return len(asked) - len(left), tuple(left), own


def kernel_of(name: str) -> Any:
    """The kernel of a name such as "swarm.optimize.neighbours:_explore"."""
    module, _, key = name.partition(":")
    return getattr(import_module(module), key)


def kind_of(written: Any) -> Any:
    """The numba type of its written form."""
    from numba import types  # here, so that this module does not count as a source of kernels

    if isinstance(written, str):
        return getattr(types, "boolean" if written == "bool" else written)
    if "array" in written:
        dtype, dimensions, *read_only = written["array"]
        return types.Array(kind_of(dtype), dimensions, "C", readonly=bool(read_only))
    if "named" in written:
        return types.BaseTuple.from_types(
            [kind_of(part) for part in written["of"]], kernel_of(written["named"])
        )
    return types.BaseTuple.from_types([kind_of(part) for part in written["tuple"]])
