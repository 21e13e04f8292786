"""What an explanation is made of."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Step:
    """One step of an explanation: a heading and its lines, each a label with what is to be said of it."""

    title: str
    lines: tuple[tuple[str, str], ...]
