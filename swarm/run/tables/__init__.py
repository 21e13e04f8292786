"""Everything a run folder may hold, in the order in which it is made. One declaration each, in the modules beside."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from swarm.run.tables.accounts import ACCOUNT_TABLES
from swarm.run.tables.carriers import CARRIER_TABLES
from swarm.run.tables.deciding import COUNT_TABLES, SENSITIVITY_TABLES
from swarm.run.tables.declaration import CSV, OTHER, PARQUET, Table, problems_of, type_name
from swarm.run.tables.entering import ENTRY_TABLES, PROFILE_TABLES
from swarm.run.tables.planning import TABLES as PLANNED_TABLES
from swarm.run.tables.refining import TABLES as REFINED_TABLES
from swarm.run.tables.screening import JUDGING_TABLES
from swarm.run.tables.screening import TABLES as SCREENED_TABLES

DECLARED: tuple[Table, ...] = (
    *SCREENED_TABLES,
    *ENTRY_TABLES,
    *JUDGING_TABLES,
    *PLANNED_TABLES,
    *PROFILE_TABLES,
    *COUNT_TABLES,
    *ACCOUNT_TABLES,
    *SENSITIVITY_TABLES,
    *REFINED_TABLES,
    *CARRIER_TABLES,
)


def parquet_tables() -> dict[str, Table]:
    """The Parquet tables by name."""
    return {table.name: table for table in DECLARED if table.form == PARQUET}


def made_by(stage: str) -> tuple[Table, ...]:
    """What a stage leaves in the run folder."""
    return tuple(table for table in DECLARED if table.stage == stage)


def continuing(name: str) -> tuple[Table, ...]:
    """Tables whose rows continue those of another: a reader sees both as one."""
    return tuple(table for table in DECLARED if table.extends == name)


def widening(name: str) -> tuple[Table, ...]:
    """Tables whose columns add to those of another: a reader sees both as one."""
    return tuple(table for table in DECLARED if table.widens == name)


def companions(name: str) -> tuple[Table, ...]:
    """Tables that whoever reads another reads, too, where they are there."""
    return tuple(table for table in DECLARED if name in (table.extends, table.widens, table.beside))


def lines(tables: Iterable[Table] = DECLARED) -> list[str]:
    """Declarations as text: a line a table, a line a column with type, unit and sentence."""
    said = []
    for table in tables:
        said += _wrapped(f"{table.file}  ({table.stage})  {table.row}", indent=4)
        for column in table.columns:
            head = f"    {column.name:26} {type_name(column):6} {column.unit:8} "
            said += _wrapped(head + column.says, indent=len(head))
    return said


def _wrapped(text: str, *, indent: int) -> list[str]:
    return textwrap.wrap(
        text, 120, subsequent_indent=" " * indent, drop_whitespace=True, break_on_hyphens=False
    )


__all__ = [
    "CSV",
    "DECLARED",
    "OTHER",
    "PARQUET",
    "Table",
    "companions",
    "continuing",
    "lines",
    "made_by",
    "parquet_tables",
    "problems_of",
    "widening",
]
