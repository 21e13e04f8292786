"""The path of a spiral in the package: an ephemeris message about the body, a table of its arcs of thrust; read back.

Hundreds of arcs are no list of manoeuvres that anybody would read in a message: a line each in a table, with the masses
at its begin and end. In all of them the thrust points against the velocity about the body.
"""

from __future__ import annotations

import csv
import itertools
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.orbit.spiral_flown import FlownSpiral, fly_pushed
from swarm.encounter.orbit.surroundings import Surroundings
from swarm.refine.handoff.oem import date_text, oem_text, tdb_s_of
from swarm.refine.handoff.pass_read_back import read_segments
from swarm.refine.handoff.read_back import ReadBackDiffers
from swarm.refine.stretches import Stretch, whole_microseconds
from swarm.run.csv_cells import csv_of_rows
from targets.base.constants import STANDARD_GRAVITY_M_S2 as G0_M_S2
from targets.base.errors import InputError

Floats = NDArray[np.float64]

_COLUMNS = ("begin_tdb", "end_tdb", "mass_begin_kg", "mass_end_kg")
# From so many states to the next as many on it is flown again: hours below, some weeks far out, in which what a message
# rounds stays metres.
_APART = 100


def write_spiral(
    folder: Path, probe: int, body: str, spiral: FlownSpiral, *, creation_tdb_s: float, isp_s: float
) -> None:
    """probe_NN_spiral.oem and probe_NN_spiral.csv."""
    stem = f"probe_{probe:02d}_spiral"
    said = (
        f"spiral down to an orbit about {body}; thrust against the velocity about it, arcs: {stem}.csv",
        f"{spiral.thrust_n:.6g} N with the duty in it, {isp_s:g} s; full field, forces: ORBITS.txt",
        f"{spiral.spent_m_s:.3f} m/s from {spiral.from_km:.0f} km on; excess speed is taken off before, not here",
    )
    path = Stretch(whole_microseconds(spiral.tdb_s), spiral.states)
    text = oem_text(
        f"PROBE {probe:02d}", [path], creation_tdb_s=creation_tdb_s, comments=said, centers=[body.upper()]
    )
    (folder / f"{stem}.oem").write_text(text, encoding="ascii")
    rows = [
        (date_text(begin), date_text(end), f"{full:.9f}", f"{left:.9f}")
        for begin, end, full, left in spiral.arcs
    ]
    (folder / f"{stem}.csv").write_text(csv_of_rows(_COLUMNS, rows), encoding="utf-8")


def read_back_spiral(
    folder: Path, probe: int, isp_s: float, next_state: tuple[float, Floats], around: Surroundings
) -> Floats:
    """The path flown again from state to state by its table of arcs: worst km and km/s, that to the orbit's begin too.

    next_state : epoch and state with which the message of the orbit begins

    Raises ReadBackDiffers.
    """
    stem = f"probe_{probe:02d}_spiral"
    try:
        (segment,) = read_segments(folder / f"{stem}.oem")
        arcs = _read_arcs(folder / f"{stem}.csv")
    except (InputError, OSError, ValueError, KeyError) as refused:
        raise ReadBackDiffers(f"a file of the spiral of probe {probe} cannot be read: {refused}") from refused
    epochs, states = segment.stretch.epochs_tdb_s, segment.stretch.states
    if abs(epochs[-1] - next_state[0]) > 1e-5:
        raise ReadBackDiffers(f"the spiral of probe {probe} does not end when its orbit begins")
    worst = apart(states[-1], next_state[1])
    marks = [*range(0, len(epochs) - 1, _APART), len(epochs) - 1]
    for first, last in itertools.pairwise(marks):
        span = float(epochs[first]), float(epochs[last])
        again = fly_pushed(states[first], _mass_at(span[0], arcs), span, arcs, isp_s * G0_M_S2, around)
        worst = np.maximum(worst, apart(again, states[last]))
    return worst


def _read_arcs(file: Path) -> Floats:
    rows = list(csv.DictReader(file.read_text(encoding="utf-8").splitlines()))
    return np.array([[_number(name, row[name]) for name in _COLUMNS] for row in rows])


def _number(name: str, text: str) -> float:
    return tdb_s_of(text) if name.endswith("_tdb") else float(text)


def _mass_at(tdb_s: float, arcs: Floats) -> float:
    """Mass at a moment, within an arc or between two."""
    return float(np.interp(tdb_s, arcs[:, :2].ravel(), arcs[:, 2:].ravel()))


def apart(one: Floats, other: Floats) -> Floats:
    """km and km/s between two states (6,)."""
    return np.array([np.linalg.norm(one[:3] - other[:3]), np.linalg.norm(one[3:] - other[3:])])
