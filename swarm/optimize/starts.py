"""Plans found in one table of opportunities as starts of a search in another."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.plan.data import column


def carried_over(plans: pa.Table, old: pa.Table, new: pa.Table, *, slot_days: float, probes: int) -> pa.Table:
    """Return plan, probe and opportunity of `plans` in terms of `new`.

    An opportunity is carried over to the one of `new` with the same target, kind and, where both tables tell designs
    apart, design, a release within a slot, and the
    release and encounter nearest in sum. What has none, and probes beyond `probes`, are left out: they are starts, and
    the search makes of them what it can.
    """
    numbers = np.unique(column(plans, "opportunity"))
    matched = _matched(old.take(_rows(old, numbers)), new, slot_days)
    opportunity = matched[np.searchsorted(numbers, column(plans, "opportunity"))]
    kept = (opportunity >= 0) & (column(plans, "probe") < probes)
    return pa.table(
        {
            "plan": column(plans, "plan")[kept],
            "probe": column(plans, "probe")[kept],
            "opportunity": opportunity[kept],
        }
    )


def _rows(table: pa.Table, numbers: NDArray[np.int64]) -> NDArray[np.int64]:
    held = column(table, "opportunity")
    order = np.argsort(held)
    return order[np.searchsorted(held, numbers, sorter=order)]


def _matched(old: pa.Table, new: pa.Table, slot_days: float) -> NDArray[np.int64]:
    """Number of the nearest opportunity of `new` for each row of `old`, or -1."""
    of_body: dict[tuple[str, ...], list[int]] = {}
    told = [
        name
        for name in ("target", "kind", "design")
        if {name} <= set(old.column_names) & set(new.column_names)
    ]
    for k, body in enumerate(_bodies(new, told)):
        of_body.setdefault(body, []).append(k)
    released, met = (column(new, name) for name in ("release_jd_tdb", "encounter_jd_tdb"))
    numbers, found = column(new, "opportunity"), np.full(old.num_rows, -1, dtype=np.int64)
    dates = zip(column(old, "release_jd_tdb"), column(old, "encounter_jd_tdb"), strict=True)
    for k, (body, (release, encounter)) in enumerate(zip(_bodies(old, told), dates, strict=True)):
        rows = np.array(of_body.get(body, []), dtype=np.int64)
        rows = rows[np.abs(released[rows] - release) <= slot_days]
        if len(rows):
            apart = np.abs(released[rows] - release) + np.abs(met[rows] - encounter)
            found[k] = numbers[rows[np.argmin(apart)]]
    return found


def _bodies(table: pa.Table, told: list[str]) -> list[tuple[str, ...]]:
    return list(zip(*(table[name].to_pylist() for name in told), strict=True))
