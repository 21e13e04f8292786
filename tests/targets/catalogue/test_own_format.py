"""The tool's own format: round trips, required columns, rejects with true line numbers."""

from __future__ import annotations

import gzip
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from targets.base.errors import InputError
from targets.catalogue.bodies import ASSUMED_G, ASSUMED_H, ASSUMED_U, SCHEMA
from targets.catalogue.invented import invented_belt
from targets.catalogue.readers.assumptions import TWICE
from targets.catalogue.readers.own import REQUIRED, write_csv
from targets.catalogue.reading import Catalogue, read_catalogue

HEADER = ",".join(REQUIRED)
ELEMENTS = "2461000.5,2.4,0.1,5,10,20,30"


def _assert_same(found: Catalogue, expected: Catalogue) -> None:
    for name in SCHEMA.names:
        np.testing.assert_array_equal(getattr(found, name), getattr(expected, name), err_msg=name)
        assert getattr(found, name).dtype == getattr(expected, name).dtype


def _read(path: Path) -> Catalogue:
    return read_catalogue(SimpleNamespace(format="own", file=path.name), path.parent).catalogue


def test_parquet_round_trip(tmp_path: Path) -> None:
    belt = invented_belt(500, 3)
    belt.write_parquet(tmp_path / "belt.parquet")
    _assert_same(_read(tmp_path / "belt.parquet"), belt)
    _assert_same(Catalogue.read_parquet(tmp_path / "belt.parquet"), belt)


def test_csv_round_trip(tmp_path: Path) -> None:
    belt = invented_belt(500, 3)
    write_csv(belt, tmp_path / "belt.csv")
    _assert_same(_read(tmp_path / "belt.csv"), belt)


def test_marks_of_assumed_values_survive(read_mpc, mpc_row, tmp_path: Path) -> None:
    catalogue = read_mpc([mpc_row(drop=("H", "G", "U"))]).catalogue
    write_csv(catalogue, tmp_path / "again.csv")
    assert _read(tmp_path / "again.csv").assumed.tolist() == [ASSUMED_H | ASSUMED_G | ASSUMED_U]


@settings(max_examples=30, deadline=None)
@given(
    a_au=st.floats(0.1, 100.0),
    e=st.floats(0.0, 1.0, exclude_max=True),
    name=st.text(
        st.characters(codec="utf-8", exclude_categories=("C", "Z"), exclude_characters="#"), min_size=1
    ),
)
def test_any_number_and_any_printed_name_survives_csv(tmp_path_factory, a_au, e, name) -> None:
    folder = tmp_path_factory.mktemp("csv")
    belt = invented_belt(1, 0)
    held = vars(belt) | {
        "a_au": np.array([a_au]),
        "e": np.array([e]),
        "target": np.array([name], dtype=object),
    }
    write_csv(Catalogue(**held), folder / "one.csv")
    _assert_same(_read(folder / "one.csv"), Catalogue(**held))


def test_the_same_catalogue_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a.parquet", "b.parquet"):
        invented_belt(1000, 5).write_parquet(tmp_path / name)
    assert (tmp_path / "a.parquet").read_bytes() == (tmp_path / "b.parquet").read_bytes()


def test_the_required_columns_are_enough(read_bytes) -> None:
    reading = read_bytes(f"{HEADER}\nX-1,{ELEMENTS}\n".encode())
    body = reading.catalogue
    assert (body.target[0], body.h_mag[0], body.g_slope[0], body.u_code[0]) == ("X-1", 24.0, 0.15, 9)
    assert body.assumed[0] == ASSUMED_H | ASSUMED_G | ASSUMED_U
    assert (np.isnan(body.albedo[0]), body.taxonomy[0], body.name[0], body.visited[0]) == (
        True,
        "",
        "",
        False,
    )


def test_missing_required_columns_are_named(read_bytes) -> None:
    with pytest.raises(InputError, match="required columns are missing: e, i_deg"):
        read_bytes(HEADER.replace(",e,i_deg", "").encode() + b"\n")


def test_missing_required_columns_are_named_in_parquet_too(tmp_path: Path) -> None:
    pq.write_table(invented_belt(3, 1).to_table().drop_columns(["a_au"]), tmp_path / "bad.parquet")
    with pytest.raises(InputError, match="required columns are missing: a_au"):
        _read(tmp_path / "bad.parquet")


def test_rejects_carry_the_line_they_start_on(read_bytes) -> None:
    text = "\n".join(
        [
            "# a comment",
            f"name,{HEADER}",
            f"first,X-1,{ELEMENTS}",
            "",
            f'"a name over\ntwo lines",X-2,{ELEMENTS}',
            f"unbound,X-3,{ELEMENTS.replace(',0.1,', ',1.5,')}",
            f"short,X-4,{ELEMENTS[:-3]}",
            f"again,X-1,{ELEMENTS}",
            f"no epoch,X-5,,{ELEMENTS.split(',', 1)[1]}",
        ]
    )
    reading = read_bytes(text.encode())
    assert reading.catalogue.target.tolist() == ["X-1", "X-2"]
    rejects = reading.rejects.to_pylist()
    assert [reject["line"] for reject in rejects] == [7, 8, 9, 10]
    assert rejects[0]["reason"].startswith("unbound orbit")
    assert rejects[1]["reason"] == "8 fields where the header has 9"
    assert rejects[2]["reason"] == TWICE
    assert rejects[3]["reason"] == "no value for epoch_jd_tdb"
    assert rejects[2]["text"] == f"again,X-1,{ELEMENTS}"


def test_windows_line_ends_and_a_byte_order_mark_are_fine(read_bytes) -> None:
    text = f"{HEADER}\r\nX-1,{ELEMENTS}\r\nX-2,{ELEMENTS.replace('0.1', '7')}\r\n"
    reading = read_bytes(b"\xef\xbb\xbf" + text.encode())
    assert reading.catalogue.target.tolist() == ["X-1"]
    assert reading.rejects["line"].to_pylist() == [3]


def test_packed_csv_is_read(read_bytes) -> None:
    assert len(read_bytes(gzip.compress(f"{HEADER}\nX-1,{ELEMENTS}\n".encode())).catalogue) == 1


def test_columns_that_are_not_used_are_told(read_bytes) -> None:
    reading = read_bytes(f"{HEADER},h_mg\nX-1,{ELEMENTS},17\n".encode())
    assert "Columns not used: h_mg." in reading.notes


def test_an_impossible_albedo_or_diameter_is_unknown_and_told(read_bytes) -> None:
    reading = read_bytes(f"{HEADER},albedo,diameter_km\nX-1,{ELEMENTS},14,-1\n".encode())
    assert np.isnan(reading.catalogue.albedo[0])
    assert np.isnan(reading.catalogue.diameter_km[0])
    assert any("albedo not a number within 0.005 to 1: albedo unknown" in note for note in reading.notes)
    assert any("diameter_km not a number within" in note for note in reading.notes)


def test_rows_of_a_parquet_file_are_listed_by_row(tmp_path: Path) -> None:
    table = invented_belt(3, 1).to_table()
    bad = table.set_column(4, "e", pa.array([0.1, None, 1.2]))
    pq.write_table(bad, tmp_path / "bad.parquet")
    reading = read_catalogue(SimpleNamespace(format="own", file="bad.parquet"), tmp_path)
    assert reading.catalogue.target.tolist() == ["INV-0000000"]
    assert reading.rejects["line"].to_pylist() == [2, 3]
    assert reading.rejects["reason"][0].as_py() == "no value for e"
    assert "INV-0000001" in reading.rejects["text"][0].as_py()


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "empty"),
        (HEADER.encode() + b"\n", "catalogue is empty"),
        (b'[{"a": 1}]', "required columns are missing"),
        (f'{HEADER}\n"X-1,{ELEMENTS}\n'.encode(), "not readable as CSV"),
        (f"{HEADER},e\nX-1,{ELEMENTS},0.2\n".encode(), "stand twice: e"),
        (b"PAR1 and then nothing of use", "damaged or truncated"),
        (b"\xff\xfe\x00binary", "not text"),
    ],
)
def test_a_file_that_cannot_be_used_is_one_clear_message(read_bytes, content, what) -> None:
    with pytest.raises(InputError, match=what) as caught:
        read_bytes(content)
    assert "bodies.dat" in str(caught.value)


def test_a_table_that_is_no_catalogue_is_refused() -> None:
    with pytest.raises(InputError, match="not a catalogue table"):
        Catalogue.from_table(pa.table({"x": [1]}))


def test_a_damaged_parquet_of_ours_is_one_clear_message(tmp_path: Path) -> None:
    (tmp_path / "targets.parquet").write_bytes(b"PAR1")
    with pytest.raises(InputError, match="not readable as Parquet"):
        Catalogue.read_parquet(tmp_path / "targets.parquet")
    with pytest.raises(InputError, match="does not exist"):
        Catalogue.read_parquet(tmp_path / "nowhere.parquet")
