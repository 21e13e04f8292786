"""How benchmarks time and print: best of several, a table with ratios, the processor."""

from __future__ import annotations

import platform
import time
from collections.abc import Callable
from pathlib import Path


def best_of(run: Callable[[], object], rounds: int) -> float:
    """Shortest of several runs after one that compiles: machines here are shared and noisy."""
    run()
    times = []
    for _ in range(rounds):
        begun = time.perf_counter()
        run()
        times.append(time.perf_counter() - begun)
    return min(times)


def processor() -> str:
    """The processor's name where the system tells it."""
    info = Path("/proc/cpuinfo")
    if info.exists():
        for line in info.read_text().splitlines():
            if line.startswith("model name"):
                return line.split(":", 1)[1].strip()
    return platform.processor() or platform.machine()


def print_table(title: str, rows: list[tuple[str, str, str]]) -> None:
    """Print rows of (what, time, ratio)."""
    width = max(len(row[0]) for row in rows)
    print(f"\n{title} ({processor()})")  # noqa: T201
    for what, value, ratio in rows:
        print(f"  {what:<{width}}  {value:>12}  {ratio:>8}")  # noqa: T201
