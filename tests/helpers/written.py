"""Tables written as they are, past the check of their declaration: a test may need only some of the columns."""

import pyarrow as pa

from swarm.run.folder import Run, write_parquet


def write_some(run: Run, name: str, table: pa.Table) -> None:
    """Write a table of which only some columns matter."""
    write_parquet(run.path(name), table)
