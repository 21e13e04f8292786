"""Planets and moons as targets: rows behind the bodies of a catalogue, which they are not of.

A place has no orbit about the Sun of its own here, no class and no brightness: what asks for these gets NaN, and a
class that no row can ask of it. What is known of it stands in `targets.masses`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from targets.base.constants import J2000_JD_TDB
from targets.catalogue.bodies import ATTRIBUTES, Catalogue, object_column
from targets.masses.massive import mass_named
from targets.masses.where import Ephemeris

Bools = NDArray[np.bool_]

CLASS = "-"
"""What stands for the class of a place."""


def is_place(targets: Catalogue) -> Bools:
    """(n,) which targets are planets or moons."""
    return np.zeros(len(targets), dtype=bool) if targets.place is None else targets.place


def bodies_alone(targets: Catalogue) -> Catalogue:
    """The targets that are of the catalogue, in order; no column tells that there were others."""
    return replace(targets.take(~is_place(targets)), place=None)


def names_of_places(targets: Catalogue) -> list[str]:
    """Names of the targets that are planets or moons, in order."""
    return [str(name) for name in targets.target[is_place(targets)]]


def with_places(bodies: Catalogue, names: Sequence[str]) -> Catalogue:
    """A catalogue's bodies and after them planets and moons by name; the catalogue itself where there are none."""
    if not names:
        return bodies
    own, more = len(bodies), len(names)
    columns = {
        "target": np.append(bodies.target, object_column(names)),
        "name": np.append(bodies.name, object_column(names)),
        "taxonomy": np.append(bodies.taxonomy, object_column([CLASS] * more)),
        "diameter_km": np.append(bodies.diameter_km, [2.0 * mass_named(name).radius_km for name in names]),
        "epoch_jd_tdb": np.append(bodies.epoch_jd_tdb, np.full(more, J2000_JD_TDB)),
        "place": np.append(np.zeros(own, dtype=bool), np.ones(more, dtype=bool)),
    }
    for field in fields(Catalogue):
        held = getattr(bodies, field.name)
        if field.name not in columns and held is not None:
            columns[field.name] = np.concatenate([held, _unknown(field.name, held, more)])
    return Catalogue(**columns)


def _unknown(name: str, like: NDArray, count: int) -> NDArray:
    """So many values that say nothing."""
    if like.dtype == object:
        return object_column([""] * count)
    if np.issubdtype(like.dtype, np.floating):
        return np.full((count, *like.shape[1:]), np.nan)
    return np.full(count, -1 if name in ATTRIBUTES else 0, dtype=like.dtype)


def places_table(names: Sequence[str], ephemeris: Ephemeris, limits: dict[str, float]) -> pa.Table:
    """What the places of a run are, by name; `limits` are those on impacts (protection.impact_chance_max)."""
    masses = [mass_named(name) for name in names]
    known = [ephemeris.whereabouts(body) for body in masses]
    return pa.table(
        {
            "name": pa.array(list(names), pa.string()),
            "naif_id": pa.array([body.number for body in masses], pa.int64()),
            "gm_km3_s2": pa.array([body.gm_km3_s2 for body in masses], pa.float64()),
            "radius_km": pa.array([body.radius_km for body in masses], pa.float64()),
            "lowest_km": pa.array([body.lowest_km for body in masses], pa.float64()),
            "ephemeris": pa.array([each.ephemeris for each in known], pa.string()),
            "ephemeris_error_km": pa.array([each.error_km for each in known], pa.float64()),
            "approximate": pa.array([each.approximate for each in known], pa.bool_()),
            "may_harbour_life": pa.array([body.may_harbour_life for body in masses], pa.bool_()),
            "impact_chance_max": pa.array([limits.get(name) for name in names], pa.float64()),
            "class": pa.array([CLASS] * len(names), pa.string()),
        }
    )
