"""One SPK file, type 13, with probes, mothership and targets; written and read through the one door to SPICE."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swarm.refine.stretches import Stretch
from targets.ephemeris import spice

Floats = NDArray[np.float64]

# Private negative numbers: the mothership, probes by their number in the plan, targets by their row of `targets`.
MOTHERSHIP_ID = -960_000
WINDOW = 4


def probe_id(probe: int) -> int:
    return MOTHERSHIP_ID - 1 - probe


def target_id(target_index: int) -> int:
    return -970_000 - target_index


def write_spk(file: Path, bodies: Mapping[int, tuple[str, Sequence[Stretch]]]) -> None:
    """Write every body, a segment for each stretch."""
    segments = [
        spice.SpkSegment(body, f"{name} {k + 1}"[:40], stretch.epochs_tdb_s, stretch.states)
        for body, (name, stretches) in bodies.items()
        for k, stretch in enumerate(stretches)
    ]
    spice.write_spk(file, segments, window=WINDOW)


def states_of(file: Path, body: int, epochs_tdb_s: Floats, *, piece: int) -> Floats:
    """Read (n, 6) states back from the piece-th stretch of a body."""
    with spice.spk_body(file, body) as held:
        return held.states(np.asarray(epochs_tdb_s, dtype=float), held.pieces[piece])
