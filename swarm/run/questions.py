"""Questions asked by SQL across runs: the tables of the folders that are named, and nothing else of the machine."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa
import pyarrow.dataset as ds

from swarm.run.folder import AGAIN
from swarm.run.tables import continuing, parquet_tables
from targets.base.errors import InputError


def question(
    folders: Mapping[str, str | Path], sql: str, *, more: Mapping[str, pa.Table] | None = None
) -> pa.Table:
    """Ask SQL across runs: each table is a view over all folders, with the run's label in column `run`.

    more : further tables by name

    Example: question({"a": "out/a", "b": "out/b"}, "select run, max(science) from front group by run")
    """
    with duckdb.connect(":memory:", config=_NOTHING_BUT_TABLES) as connection:
        _make_views(connection, folders, more or {})
        connection.execute("set lock_configuration = true")
        try:
            return connection.sql(sql).to_arrow_table()
        except (duckdb.Error, AttributeError) as problem:  # a statement that gives no rows is None
            said = (
                "it asks for no rows" if isinstance(problem, AttributeError) else str(problem).splitlines()[0]
            )
            raise InputError("the question cannot be answered", found=said) from None


# A question reads the tables that are handed to it, and neither reads nor writes anything else.
_NOTHING_BUT_TABLES: dict[str, Any] = {
    "enable_external_access": False,
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
    "python_enable_replacements": False,
}


def _make_views(connection: Any, folders: Mapping[str, str | Path], more: Mapping[str, pa.Table]) -> None:
    """A view for each table, over all folders, with the rows that continue it."""
    count = itertools.count()
    for table in parquet_tables():
        names = (table, *(each.name for each in continuing(table)))
        files = [
            (label, Path(folder) / f"{name}.parquet") for label, folder in folders.items() for name in names
        ]
        parts = []
        for label, file in files:
            if file.is_file():
                given = f"of_one_run_{next(count)}"
                connection.register(given, _dataset(file))
                parts.append(f"select {_quoted(label)} as run, * from {given}")
        if parts:
            connection.execute(f"create view {table} as {' union all by name '.join(parts)}")
    for name, given_table in more.items():
        connection.register(name, given_table)


def _dataset(file: Path) -> ds.Dataset:
    try:
        return ds.dataset(file, format="parquet")
    except (pa.ArrowException, OSError):
        raise InputError("not a Parquet table: the file is damaged", file=file, do=AGAIN) from None


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
