"""Do two runs hold the same tables? For a change that should change no answer: every file of both, byte by byte.

    python -m tests.helpers.compare_tables BEFORE AFTER [OLD=NEW ...]

Run folders of different versions are read as plain Parquet, CSV and text files, not as run folders. OLD=NEW names words
that were changed on purpose; they are replaced in names of files and columns, and in texts, of BEFORE. A table is
compared with the rows that continue it in a file of their own (`polished`), as every reader sees it. Exit 1 where a
value differs or a column is on one side only.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from swarm.run.tables import DECLARED, continuing

# What two runs need not share: when and where they were made, and what the page is made of (it shows the tables).
NOT_COMPARED = ("manifest.json", "report.html", "study.toml")
_CONTINUING = {f"{table.name}.parquet" for table in DECLARED if table.extends is not None}


def files_of(folder: Path, words: dict[str, str]) -> dict[str, Path]:
    """Files of a run folder by their names, in today's words."""
    files = (path for path in folder.rglob("*") if path.is_file() and path.name not in NOT_COMPARED)
    return {renamed(str(path.relative_to(folder)), words): path for path in sorted(files)}


def renamed(text: str, words: dict[str, str]) -> str:
    for old, new in words.items():
        text = text.replace(old, new)
    return text


def differences(before: Path, after: Path, words: dict[str, str]) -> list[str]:
    """One line for each file or column that differs."""
    one, two = files_of(before, words), files_of(after, {})
    told = [f"{name}: only before" for name in one if name not in two and name not in _CONTINUING]
    told += [f"{name}: only after" for name in two if name not in one and name not in _CONTINUING]
    for name in (name for name in one if name in two and name not in _CONTINUING):
        if name.endswith(".parquet"):
            told += [f"{name}: {line}" for line in of_tables(one[name], two[name], words)]
        elif renamed(one[name].read_bytes().decode("latin-1"), words) != two[name].read_bytes().decode(
            "latin-1"
        ):
            told.append(f"{name}: other bytes")
    return told


def of_tables(before: Path, after: Path, words: dict[str, str]) -> list[str]:
    """Columns of two Parquet files that are not the same values, in order."""
    one, two = whole(before), whole(after)
    one = one.rename_columns([renamed(name, words) for name in one.column_names])
    told = [f"column {name} only before" for name in one.column_names if name not in two.column_names]
    told += [f"column {name} only after" for name in two.column_names if name not in one.column_names]
    if one.num_rows != two.num_rows:
        return [*told, f"{one.num_rows} rows before, {two.num_rows} after"]
    for name in (name for name in one.column_names if name in two.column_names):
        if not same(one[name], two[name], words):
            told.append(f"column {name} differs")
    return told


def whole(path: Path) -> pa.Table:
    """A table with the rows that continue it."""
    table = pq.read_table(path)
    more = (path.with_name(f"{other.name}.parquet") for other in continuing(path.stem))
    parts = [pq.read_table(place).select(table.column_names) for place in more if place.exists()]
    return pa.concat_tables([table, *parts])


def same(one: pa.ChunkedArray, two: pa.ChunkedArray, words: dict[str, str]) -> bool:
    """The same values, bit by bit for numbers."""
    if pa.types.is_floating(one.type) and pa.types.is_floating(two.type):
        left, right = (np.asarray(each.to_numpy(), dtype=np.float64).tobytes() for each in (one, two))
        return left == right
    texts = pa.types.is_string(one.type)
    values = [renamed(v, words) if texts and v is not None else v for v in one.to_pylist()]
    return values == two.to_pylist()


def main(arguments: list[str]) -> int:
    before, after, *pairs = arguments
    words = dict(pair.split("=", 1) for pair in pairs)
    told = differences(Path(before), Path(after), words)
    count = len(files_of(Path(after), {}))
    sys.stdout.write("\n".join([*told, f"{count} files, {len(told)} differences", ""]))
    return 1 if told else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
