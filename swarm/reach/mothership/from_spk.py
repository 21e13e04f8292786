"""A mothership given by an SPK file, of any type SPICE reads."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from swarm.reach.mothership.followed import Piece
from targets.ephemeris import spice


@contextmanager
def spk_pieces(file: Path, spk_id: int) -> Iterator[list[Piece]]:
    """The body's stretches between segment ends, readable while the context lasts."""
    with spice.spk_body(file, spk_id) as body:
        yield [
            Piece(span[0], span[1], f"stretch {k + 1} of body {spk_id}", partial(body.states, piece=span))
            for k, span in enumerate(body.pieces)
        ]
