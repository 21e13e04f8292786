"""A batch of small variations against as many single runs, one after the other. Prints; asserts no time.

Both run the command line in processes of their own, on as many workers, with kernels compiled before.
SWARM_BATCH_VARIATIONS sets another number than 24.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.benchmarks.report import print_table
from tests.helpers.batch_of_four import BASE

pytestmark = pytest.mark.benchmark

LIMITS_M_S = [900.0 + 25.0 * k for k in range(24)]
WORKERS = "2"


def swarm(*words: object) -> float:
    """Run a command of the tool to its end and return how long it took, s."""
    begun = time.perf_counter()
    command = [sys.executable, "-m", "swarm.app.cli", *(str(word) for word in words), "--workers", WORKERS]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return time.perf_counter() - begun


def written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def test_a_batch_against_single_runs(tmp_path: Path) -> None:
    limits = LIMITS_M_S[: int(os.environ.get("SWARM_BATCH_VARIATIONS", len(LIMITS_M_S)))]
    base = written(tmp_path / "study.toml", BASE)
    grid = f'base = "study.toml"\n[grid]\n"probe.burn_limit_m_s" = {limits}\n'
    variations = written(tmp_path / "variations.toml", grid)
    swarm("run", base, "--run", tmp_path / "compiles")
    singles_s = 0.0
    for k, limit in enumerate(limits):
        text = BASE.replace("burn_limit_m_s = 1200.0", f"burn_limit_m_s = {limit}")
        singles_s += swarm("run", written(tmp_path / f"{k}.toml", text), "--run", tmp_path / f"single-{k}")
    batch_s = swarm("batch", variations, "--into", tmp_path / "batch")
    fronts = [path.parent.name for path in sorted((tmp_path / "batch").glob("*/front.parquet"))]
    assert len(fronts) == len(limits)
    first = tmp_path / "batch" / fronts[0] / "front.parquet"
    assert first.read_bytes() == (tmp_path / "single-0" / "front.parquet").read_bytes()
    print_table(
        f"{len(limits)} variations of a small study, {WORKERS} workers",
        [
            ("single runs", f"{singles_s:.1f} s", "1"),
            ("a batch", f"{batch_s:.1f} s", f"{batch_s / singles_s:.2f}"),
        ],
    )
