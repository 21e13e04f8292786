"""A mothership given by an SPK file, of any type SPICE reads."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import numpy as np

from swarm.reach.mothership.followed import Piece
from swarm.reach.mothership.plausible_states import no_mothership
from targets.base.errors import InputError
from targets.base.timescale import iso_of_tdb_s
from targets.ephemeris.spk_reader import SpkBodyApart, spk_body_apart


@contextmanager
def spk_pieces(file: Path, spk_id: int) -> Iterator[list[Piece]]:
    """The body's stretches between segment ends, readable while the context lasts."""
    with spk_body_apart(file, spk_id) as body:
        yield [
            Piece(
                span[0], span[1], f"stretch {k + 1} of body {spk_id}", partial(_plausible_states, body, span)
            )
            for k, span in enumerate(body.pieces)
        ]


def _plausible_states(body: SpkBodyApart, span: tuple[float, float], epochs_tdb_s: np.ndarray) -> np.ndarray:
    states = body.states(epochs_tdb_s, span)
    for epoch, state in zip(epochs_tdb_s, states, strict=True):
        if (found := no_mothership(state)) is not None:
            raise InputError(
                "no mothership is there: the file is damaged, or of another body", file=body.file,
                place=f"body {body.body}, {iso_of_tdb_s(float(epoch))}", found=found,
                expected="states of a mothership of this planetary system",
            )  # fmt: skip
    return states
