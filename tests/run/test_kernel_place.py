"""Compiled kernels belong to the sources, not to where they lie: a copy of the project compiles nothing again."""

import os
import shutil
import subprocess
import sys

from tests.helpers.places import ROOT

USE = """
from swarm.run.kernel_cache import claim_kernel_cache
claim_kernel_cache()
import numpy as np
from targets.motion.kicks import far_enough
far_enough(np.full(16, 1e5), 86400.0)
print(sum(far_enough.stats.cache_misses.values()), sum(far_enough.stats.cache_hits.values()))
"""


def compiled_and_found(place, cache):
    free = {name: value for name, value in os.environ.items() if not name.startswith("NUMBA_CACHE")}
    done = subprocess.run(
        [sys.executable, "-c", USE], cwd=place, env={**free, "SWARM_CACHE_DIR": str(cache), "PYTHONPATH": str(place)},
        capture_output=True, text=True, check=True, timeout=300,
    )  # fmt: skip
    return tuple(int(number) for number in done.stdout.split())


def copied(place):
    for name in ("swarm", "targets"):
        shutil.copytree(ROOT / name, place / name, ignore=shutil.ignore_patterns("__pycache__"))
    return place


def test_a_copy_with_other_dates_finds_the_kernels_of_the_first(tmp_path):
    cache, here, there = tmp_path / "cache", copied(tmp_path / "here"), copied(tmp_path / "there")
    os.utime(there / "targets/motion/kicks.py", (1e9, 1e9))
    assert compiled_and_found(here, cache) == (1, 0)
    assert compiled_and_found(there, cache) == (0, 1)


def test_a_copy_whose_sources_differ_compiles_its_own(tmp_path):
    cache, here, there = tmp_path / "cache", copied(tmp_path / "here"), copied(tmp_path / "there")
    with (there / "targets/motion/kicks.py").open("a") as source:
        source.write("\nANOTHER = 1\n")
    assert compiled_and_found(here, cache) == (1, 0)
    assert compiled_and_found(there, cache) == (1, 0)
