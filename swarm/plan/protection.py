"""The chance that a plan hits a body that must not be hit: what every opportunity adds, and the limit of the sum.

What the mothership burns to steer for its probes is such a sum, too, with its tank as the limit.

A row with an impact chance passes over its own target, so it counts against the limit of that body alone; rows without
one count nothing. Chances of several probes are added: the sum is linear, so that search, bound and checker can all
keep it, and it is never less than the chance that any of them hits (Boole's inequality).

Sums are taken in whole parts of the limit, each chance rounded up: so a sum does not hang on the order of a plan's
probes, and no rounding lets a plan over the limit pass.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.plan.data import column, steering_kg

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

PROTECTION = "protection.impact_chance_max of one probe"
TANK = "mothership.propellant_kg for one probe"
# Parts of a limit: 2^40, of which 2^23 probes at the limit still add up in 64 bits.
PARTS = 1 << 40


def impact_chances(study: Study, table: pa.Table) -> Floats:
    """(n,) chance that the row hits its target, then or later, with the mothership's where that counts; 0 without."""
    total = np.zeros(table.num_rows)
    counted = [
        "impact_chance",
        "later_impact_chance",
        *(["carrier_impact_chance"] if study.protection.carrier_included else []),
    ]
    for name in counted:
        if name in table.column_names:
            total += np.nan_to_num(column(table, name).astype(np.float64), nan=0.0)
    return total


def impact_parts(study: Study, table: pa.Table) -> Ints:
    """(p, n) what each row takes of the limit of each protected body that some row may hit, in PARTS of it."""
    chance, names = impact_chances(study, table), np.asarray(table["target"].to_pylist(), dtype=object)
    rows = []
    for body, limit in study.protection.impact_chance_max.items():
        own = np.where(names == body, chance, 0.0)
        if own.any():
            rows.append(_parts(own, limit))
    return np.array(rows, dtype=np.int64).reshape(len(rows), table.num_rows)


def _parts(chance: Floats, limit: float) -> Ints:
    """Chances in PARTS of a limit, rounded up; one part too many where a chance is over it."""
    if limit <= 0.0:
        return np.where(chance > 0.0, PARTS + 1, 0).astype(np.int64)
    share = np.minimum(chance / limit, 2.0)
    return np.minimum(np.ceil(share * PARTS), PARTS + 1).astype(np.int64)


def tank_parts(study: Study, table: pa.Table) -> Ints:
    """(0 or 1, n) what each row takes of the propellant that the mothership may burn to steer, in PARTS of it."""
    kilograms, most = steering_kg(table), study.mothership.propellant_kg
    if most is None or not kilograms.any():
        return np.zeros((0, table.num_rows), dtype=np.int64)
    return _parts(kilograms, most)[None, :]


def alone_over_the_tank(study: Study, table: pa.Table) -> Bools:
    """(n,) rows for which the mothership would burn more than it may."""
    return np.asarray(tank_parts(study, table).max(axis=0, initial=0) > PARTS)


def alone_over_the_limit(study: Study, table: pa.Table) -> Bools:
    """(n,) rows that no plan may have."""
    return np.asarray(impact_parts(study, table).max(axis=0, initial=0) > PARTS)


def least_chances(study: Study, table: pa.Table) -> str:
    """For each protected body that is a target, the least chance found beside its limit, in a sentence."""
    chance, names = impact_chances(study, table), np.asarray(table["target"].to_pylist(), dtype=object)
    said = [
        f"the least impact chance found at {body} is {chance[names == body].min():.3g}, the limit {limit:g}"
        for body, limit in study.protection.impact_chance_max.items()
        if (names == body).any()
    ]
    return "; ".join(said)
