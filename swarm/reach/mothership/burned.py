"""A mothership that burns on its way: the stretch it burns on is cut there and goes on from the new velocity."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from swarm.reach.mothership.path import NODE_S, Path
from swarm.study.sections.choices import ShipBurn
from targets.base.constants import DAY_S
from targets.base.errors import InputError
from targets.base.timescale import iso_of_tdb_s, tdb_s_from_jd
from targets.ephemeris.planets import PlanetTable
from targets.motion.perturbed import march_nodes
from targets.motion.twobody import drift_states

# A burn needs this much of its stretch on either side: the nodes of a path are a day apart.
_ROOM_S = DAY_S


def burned_legs(
    legs: Sequence[Path], burns: Sequence[ShipBurn], planets: PlanetTable
) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """Legs with the burns flown, in order of date, and a sentence about each.

    Nothing is targeted again afterwards: a burn before a passage would miss it, so it is refused. Raises InputError
    naming the burn.
    """
    cut, notes = list(legs), []
    for k, burn in sorted(enumerate(burns), key=lambda pair: pair[1].date):
        at_s = float(tdb_s_from_jd(burn.date))
        change = 1e-3 * np.array([burn.x_m_s, burn.y_m_s, burn.z_m_s])
        place = f"mothership.burns[{k}].date"
        where = _leg_at(cut, at_s, place)
        if where != len(cut) - 1:
            raise InputError(
                "a burn before a passage: the mothership would miss it",
                place=place,
                found=f"{iso_of_tdb_s(at_s)}, before {iso_of_tdb_s(cut[where + 1].start_tdb_s)}",
                expected="a date on the last leg",
            )
        cut[where:] = [_before(cut[where], at_s), _after(cut[where], at_s, change, planets)]
        size = 1e3 * float(np.linalg.norm(change))
        notes.append(f"{iso_of_tdb_s(at_s)}: the mothership burns {size:.3f} m/s")
    return tuple(cut), tuple(notes)


def _leg_at(legs: Sequence[Path], at_s: float, place: str) -> int:
    for k, leg in enumerate(legs):
        if leg.start_tdb_s + _ROOM_S <= at_s <= float(leg.epochs_tdb_s[-1]) - _ROOM_S:
            return k
    spans = "; ".join(
        f"{iso_of_tdb_s(leg.start_tdb_s)} to {iso_of_tdb_s(float(leg.epochs_tdb_s[-1]))}" for leg in legs
    )
    raise InputError(
        "the mothership is on no leg then, or within a day of an end",
        place=place,
        found=iso_of_tdb_s(at_s),
        expected=f"a date inside {spans}",
    )


def _spaced(first_s: float, last_s: float) -> tuple[float, int]:
    """Step of at most a day, and number of nodes, from first to last exactly."""
    spans = max(1, math.ceil((last_s - first_s) / NODE_S - 1e-9))
    return (last_s - first_s) / spans, spans + 1


def _before(leg: Path, at_s: float) -> Path:
    step, count = _spaced(leg.start_tdb_s, at_s)
    epochs = leg.start_tdb_s + step * np.arange(count)
    return Path(leg.start_tdb_s, step, leg.at(epochs), leg.pulled)


def _after(leg: Path, at_s: float, change_km_s: np.ndarray, planets: PlanetTable) -> Path:
    step, count = _spaced(at_s, float(leg.epochs_tdb_s[-1]))
    state = leg.at(at_s)[0]
    state[3:] += change_km_s
    if leg.pulled:
        return Path(at_s, step, march_nodes(state, at_s, step_s=step, count=count, planets=planets))
    repeated = np.broadcast_to(state, (count, 6))
    moved = drift_states(repeated[:, :3], repeated[:, 3:], step * np.arange(count))
    return Path(at_s, step, np.hstack(moved), pulled=False)
