"""Files that are no catalogue although they begin like one: refused, or their rows rejected; nothing without end."""

import gzip
import os
from types import SimpleNamespace

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from targets.base.errors import InputError
from targets.catalogue.readers.own import REQUIRED
from targets.catalogue.reading import read_catalogue

HEADER = ",".join((*REQUIRED, "name"))
GOOD = "good,2461000.5,2.4,0.1,5,10,20,30,Good"


def read(path, format="own", **more):
    return read_catalogue(SimpleNamespace(format=format, file=path.name, **more), path.parent)


@pytest.mark.parametrize("format", ["mpc-json", "mpcorb", "sbdb-csv", "sbdb-json", "own"])
def test_a_pipe_a_device_and_a_gzip_bomb_are_refused(tmp_path, format):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "device").symlink_to("/dev/zero")
    (tmp_path / "bomb").write_bytes(gzip.compress(b" " * (64 << 20)))
    for name, said in (
        ("pipe", "not a plain file"),
        ("device", "not a plain file"),
        ("bomb", "unpacks to more"),
    ):
        with pytest.raises(InputError, match=said):
            read(tmp_path / name, format)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("x,2461000.5,2.4,0.1,5,1e308,20,30,X", "beyond -360 to 360"),
        ("x,2461000.5,2.4,0.1,5,10,-361,30,X", "beyond -360 to 360"),
        ("x,2461000.5,2.4,0.1,5,10,20,400,X", "beyond -360 to 360"),
        ("x,2461000.5,1e13,0.1,5,10,20,30,X", "above 100 000 au"),
        ("x\x1b[2J,2461000.5,2.4,0.1,5,10,20,30,X", "do not print"),
        ("x,2461000.5,2.4,0.1,5,10,20,30,X\x00", "do not print"),
        ("x,2461000.5,2.4,0.1,5,10,20,30," + "X" * 101, "longer than 100"),
        ("x" * 100_000 + ",2461000.5,2.4,0.1,5,10,20,30,X", "longer than 100"),
    ],
)
def test_a_row_that_is_nonsense_is_not_taken(tmp_path, row, said):
    path = tmp_path / "own.csv"
    path.write_text(f"{HEADER}\n{GOOD}\n{row}\n", encoding="utf-8")
    reading = read(path)
    assert reading.catalogue.target.tolist() == ["good"]
    assert said in reading.rejects["reason"][0].as_py()


def test_a_list_of_visited_bodies_that_nobody_knows_stays_short(tmp_path):
    (tmp_path / "own.csv").write_text(f"{HEADER}\n{GOOD}\n")
    (tmp_path / "visited").write_text(
        "\n".join(f"unknown {k}" for k in range(100_000)) + "\ngood\n" + "z" * 10_000
    )
    reading = read(tmp_path / "own.csv", visited="visited")
    assert reading.catalogue.visited.tolist() == [True]
    assert "(100001)" in reading.notes[-1]
    assert "and 99981 more" in reading.notes[-1]
    assert len(reading.notes[-1]) < 1500


def test_a_parquet_file_of_more_rows_than_there_are_bodies_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("targets.catalogue.readers.own._MOST_ROWS", 10)
    columns = {name: pa.array([1.0] * 11) for name in REQUIRED}
    pq.write_table(pa.table(columns), tmp_path / "own.parquet")
    with pytest.raises(InputError, match=r"too large(?s:.*)11 rows"):
        read(tmp_path / "own.parquet")
