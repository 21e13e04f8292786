"""What a table is: its name, the stage that makes it, and its columns with type, unit and one sentence each.

A table is declared once, in this folder. From the declaration come the check on writing, what a stage makes and what
is removed with it, `swarm compare-runs --schema`, `swarm help tables`, and what the page may rely on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

PARQUET, CSV, OTHER = "parquet", "csv", "other"
_PRECISION = {"double": "real", "string": "text", "bool": "yes/no"}


@dataclass(frozen=True)
class Column:
    """One column.

    name     : as in the file; a name that ends in `*` stands for any number of columns that begin so
    type     : Arrow type
    unit     : as the field writes it; "-" for counts, shares, chances, names
    says     : one sentence
    gaps     : whether a value may be missing (null or NaN)
    optional : whether the column itself may be absent
    """

    name: str
    type: pa.DataType
    unit: str
    says: str
    gaps: bool = False
    optional: bool = False

    def covers(self, name: str) -> bool:
        """Whether a column of a file is declared by this one."""
        return name.startswith(self.name[:-1]) if self.name.endswith("*") else name == self.name


@dataclass(frozen=True)
class Table:
    """One table, or another thing a stage leaves in the run folder (`form` OTHER: no columns).

    stage   : the stage that makes it
    row     : what one row is
    extends : table whose rows it continues; a reader of that table sees both as one
    widens  : table whose columns it adds to, for the rows whose `opportunity` it has; a reader sees both as one
    beside  : table that is not understood without it, where it is there
    """

    name: str
    stage: str
    row: str
    columns: tuple[Column, ...] = ()
    form: str = PARQUET
    extends: str | None = None
    widens: str | None = None
    beside: str | None = None

    @property
    def file(self) -> str:
        """Name in the run folder."""
        return self.name if self.form == OTHER else f"{self.name}.{self.form}"

    def column(self, name: str) -> Column | None:
        """The declaration of a column of a file; None where there is none."""
        return next((column for column in self.columns if column.covers(name)), None)


def real(name: str, unit: str, says: str, *, gaps: bool = False, optional: bool = False) -> Column:
    return Column(name, pa.float64(), unit, says, gaps, optional)


def whole(name: str, says: str, *, type: pa.DataType | None = None, optional: bool = False) -> Column:
    return Column(name, type or pa.int64(), "-", says, optional=optional)


def text(name: str, says: str, *, gaps: bool = False, optional: bool = False) -> Column:
    return Column(name, pa.string(), "-", says, gaps, optional)


def flag(name: str, says: str) -> Column:
    return Column(name, pa.bool_(), "-", says)


def vector(stem: str, unit: str, says: str, *, suffix: str) -> tuple[Column, ...]:
    """Three columns, heliocentric or relative as said, on ICRF axes: `<stem>x<suffix>` and so on."""
    return tuple(real(f"{stem}{axis}{suffix}", unit, f"{says}, {axis}") for axis in "xyz")


def problems_of(declared: Table, table: pa.Table) -> list[str]:
    """Sentences on how a table differs from its declaration; none where it does not."""
    said = []
    names = table.column_names
    for column in declared.columns:
        if not column.optional and not any(column.covers(name) for name in names):
            said.append(f"column {column.name} is missing")
    if len(set(names)) != len(names):
        said.append("two columns have one name")
    for name in names:
        wanted = declared.column(name)
        if wanted is None:
            said.append(f"column {name} is not declared")
        elif table.schema.field(name).type != wanted.type:
            said.append(f"column {name} is {table.schema.field(name).type}, declared {wanted.type}")
        elif not wanted.gaps and (missing := _missing(table[name])):
            said.append(f"column {name} has {missing} missing values")
    return said


def _missing(values: pa.ChunkedArray) -> int:
    """How many values are null or NaN."""
    if pa.types.is_floating(values.type):
        return int(np.isnan(values.to_numpy()).sum())
    return values.null_count


def type_name(column: Column) -> str:
    """The type in a word: real, text, yes/no, or the whole number's width."""
    return _PRECISION.get(str(column.type), "whole")
