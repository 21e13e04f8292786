"""Everything a run folder may hold, in the order in which it is made. One declaration each, in the modules beside."""

from __future__ import annotations

from collections.abc import Iterable

from swarm.run.tables import deciding, planning, refining, screening
from swarm.run.tables.schema import CSV, OTHER, PARQUET, Table, problems_of, type_name

DECLARED: tuple[Table, ...] = (
    *screening.TABLES,
    *screening.JUDGING_TABLES,
    *planning.TABLES,
    *deciding.COUNT_TABLES,
    *deciding.SENSITIVITY_TABLES,
    *refining.TABLES,
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


def lines(tables: Iterable[Table] = DECLARED) -> list[str]:
    """Declarations as text: a line a table, a line a column with type, unit and sentence."""
    said = []
    for table in tables:
        said.append(f"{table.file}  ({table.stage})  {table.row}")
        for column in table.columns:
            said.append(f"    {column.name:30} {type_name(column):7} {column.unit:8} {column.says}")
    return said


__all__ = [
    "CSV",
    "DECLARED",
    "OTHER",
    "PARQUET",
    "Table",
    "continuing",
    "lines",
    "made_by",
    "parquet_tables",
    "problems_of",
]
