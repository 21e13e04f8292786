"""Where the mothership points at each release, how far it turns for it, and which place of the dispenser is emptied."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.reach.mothership.path import legs_of_table
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris.spice import sample

if TYPE_CHECKING:
    from swarm.reach.mothership.path import Path

Floats = NDArray[np.float64]
_EARTH = 399


def release_attitudes(
    mothership: pa.Table, recoil: pa.Table, opportunities: pa.Table, *, places: int
) -> pa.Table:
    """Return the releases of a plan in order: place of the dispenser, axis, its angles to Sun and Earth, the turn.

    recoil        : the run's table: the probe leaves along its own velocity change
    opportunities : those flown; near a planet, where the mothership's table has a gap, a row says where it is released
    places        : places of the dispenser, evenly round a ring, all filled at launch

    The next place is the one that leaves what is still aboard nearest to the axis of the ring; `off_axis` is how far
    its centre then is, 1 the radius of the ring.
    """
    rows = recoil.to_pylist()
    axes = np.array([_unit([row[f"probe_change_{axis}_m_s"] for axis in "xyz"]) for row in rows]).reshape(
        -1, 3
    )
    when = tdb_s_from_jd(np.array([row["release_jd_tdb"] for row in rows], dtype=float))
    own = _places_of(legs_of_table(mothership), when)
    given = _given_places(opportunities, [row["opportunity"] for row in rows])
    own = np.where(np.isnan(own), given, own)
    earth = sample(_EARTH, when)[:, :3] if len(when) else np.zeros((0, 3))
    emptied, off_axis = emptied_in_order(places, len(rows))
    turns = [math.nan, *(_angle_deg(a, b) for a, b in itertools.pairwise(axes))][: len(rows)]
    return pa.table(
        {
            "probe": pa.array([row["probe"] for row in rows], pa.int64()),
            "opportunity": pa.array([row["opportunity"] for row in rows], pa.int64()),
            "release_jd_tdb": pa.array([row["release_jd_tdb"] for row in rows], pa.float64()),
            "place": pa.array(emptied, pa.int64()),
            "off_axis": pa.array(off_axis, pa.float64()),
            "right_ascension_deg": np.degrees(np.arctan2(axes[:, 1], axes[:, 0])) % 360.0,
            "declination_deg": np.degrees(np.arcsin(np.clip(axes[:, 2], -1.0, 1.0))),
            "sun_angle_deg": _angles_deg(axes, -own),
            "earth_angle_deg": _angles_deg(axes, earth - own),
            "turn_deg": pa.array(turns, pa.float64()),
        }
    )


def emptied_in_order(places: int, releases: int) -> tuple[list[int], list[float]]:
    """Return which of the places of a ring are emptied one after another (from 1), and how far off axis each leaves it.

    All probes weigh the same here; ties go to the lower number.
    """
    angles = 2.0 * math.pi * np.arange(places) / max(places, 1)
    arms = np.column_stack([np.cos(angles), np.sin(angles)])
    aboard, emptied, off = list(range(places)), [], []
    for _ in range(releases):
        sums = [
            math.hypot(*(arms[[k for k in aboard if k != place]].sum(axis=0))) / max(len(aboard) - 1, 1)
            for place in aboard
        ]
        best = int(np.argmin(np.round(sums, 12)))
        off.append(float(np.round(sums[best], 12)))
        emptied.append(aboard.pop(best) + 1)
    return emptied, off


def _places_of(legs: Sequence[Path], when: Floats) -> Floats:
    """(n, 3) km of the mothership, from the leg that holds each date; NaN where none does."""
    places = np.full((len(when), 3), np.nan)
    for leg in legs:
        held = (when >= leg.epochs_tdb_s[0]) & (when <= leg.epochs_tdb_s[-1])
        if held.any():
            places[held] = leg.at(when[held])[:, :3]
    return places


def _given_places(opportunities: pa.Table, flown: Sequence[int]) -> Floats:
    """(n, 3) km of the mothership at the release where the row itself says so; NaN where it does not."""
    names = [f"ship_release_{axis}_km" for axis in "xyz"]
    if not flown or names[0] not in opportunities.column_names:
        return np.full((len(flown), 3), np.nan)
    rows = {row["opportunity"]: [row[name] for name in names] for row in opportunities.to_pylist()}
    return np.array([rows[number] for number in flown], dtype=float)


def _unit(vector: Sequence[float]) -> Floats:
    given = np.asarray(vector, dtype=float)
    length = float(np.linalg.norm(given))
    return given / length if length > 0.0 else np.array([1.0, 0.0, 0.0])


def _angle_deg(a: Floats, b: Floats) -> float:
    return float(_angles_deg(a[None], b[None])[0])


def _angles_deg(a: Floats, b: Floats) -> Floats:
    """(n,) angles between rows: by the half-angle form, exact near 0 and 180 (W. Kahan, from memory)."""
    u, v = (x / np.linalg.norm(x, axis=1, keepdims=True) for x in (a, b))
    return np.degrees(2.0 * np.arctan2(np.linalg.norm(u - v, axis=1), np.linalg.norm(u + v, axis=1)))
