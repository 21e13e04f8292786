"""Opportunities by the design that flies them: what hangs on the probe is worked out design by design.

The column `design` is in a table only where the study has [[designs]]: with [probe] there is nothing to tell apart, and
the tables of such a study stay what they were, to the byte.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.study.whole_study import Study

Rows = NDArray[np.int64]


def design_numbers(study: Study, table: pa.Table) -> Rows:
    """(n,) place of each row's design in the study.

    Raises ValueError where the study has no such design.
    """
    if not study.designs:
        return np.zeros(table.num_rows, dtype=np.int64)
    place = {design.name: k for k, design in enumerate(study.designs)}
    if "design" not in table.column_names:
        raise ValueError("opportunities of a study with [[designs]] need the column design")
    try:
        return np.array([place[name] for name in table["design"].to_pylist()], dtype=np.int64)
    except KeyError as missing:
        raise ValueError(f"opportunities of a design that the study does not have: {missing}") from None


def takers(study: Study, kind: str, named: tuple[str, ...] = ()) -> dict[str, Study]:
    """The question asked of each design that takes a kind of encounter, by its name; of [probe], which takes all.

    named : of these designs alone; of any where there are none
    """
    takes = {design.name: design.takes for design in study.designs}
    return {
        name: alone
        for name, alone in study.by_design.items()
        if not takes or (kind in takes[name] and (not named or name in named))
    }


def design_names(study: Study, table: pa.Table) -> NDArray[np.object_]:
    """(n,) name of each row's design."""
    names = np.array(list(study.by_design), dtype=object)
    return names[design_numbers(study, table)]


def each_design(study: Study, table: pa.Table) -> Iterator[tuple[Study, Rows, pa.Table]]:
    """The question asked of each design alone, the rows that it flies, and the table of these rows."""
    if not study.designs:
        yield study, np.arange(table.num_rows), table
        return
    numbers = design_numbers(study, table)
    for k, alone in enumerate(study.by_design.values()):
        rows = np.flatnonzero(numbers == k)
        yield alone, rows, table.take(rows)


def by_design(study: Study, table: pa.Table, value: Callable[[Study, Rows, pa.Table], NDArray]) -> NDArray:
    """(n, ...) what `value` gives of the rows of each design, in the order of the table."""
    parts = list(each_design(study, table))
    if len(parts) == 1:
        return value(*parts[0])
    order = np.argsort(np.concatenate([rows for _, rows, _ in parts]), kind="stable")
    return np.concatenate([value(*part) for part in parts])[order]


def probe_values(study: Study, table: pa.Table, key: str) -> NDArray[np.float64]:
    """(n,) a key of the probe that flies each row."""
    return by_design(study, table, lambda own, rows, _: np.full(len(rows), float(getattr(own.probe, key))))
