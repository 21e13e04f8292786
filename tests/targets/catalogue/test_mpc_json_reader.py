"""The extended JSON format: every row is taken or listed, every special value follows a stated rule."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from types import SimpleNamespace

import pytest

from targets.base.errors import InputError
from targets.catalogue.bodies import ASSUMED_G, ASSUMED_H, ASSUMED_U
from targets.catalogue.reading import read_catalogue


def _one(reading, column: str):
    assert len(reading.catalogue) == 1
    return getattr(reading.catalogue, column)[0]


def _only_reject(read_mpc, mpc_row, bad) -> dict:
    """Read a good row and then a bad one; return the reject, which must stand in row 2."""
    reading = read_mpc([mpc_row(Number="(900002)"), bad])
    assert reading.catalogue.target.tolist() == ["900002"]
    rejects = reading.rejects.to_pylist()
    assert [reject["line"] for reject in rejects] == [2]
    return rejects[0]


def test_a_number_is_the_target_without_its_brackets(read_mpc, mpc_row) -> None:
    reading = read_mpc([mpc_row()])
    assert (_one(reading, "target"), _one(reading, "name")) == ("900001", "Madeup")


def test_without_a_number_the_principal_designation_is_the_target(read_mpc, mpc_row) -> None:
    reading = read_mpc([mpc_row(drop=("Number", "Name"))])
    assert (_one(reading, "target"), _one(reading, "name")) == ("2090 AA1", "")
    assert any("1 rows have no number" in note for note in reading.notes)


def test_elements_are_taken_as_written(read_mpc, mpc_row) -> None:
    reading = read_mpc([mpc_row()])
    columns = ("a_au", "e", "i_deg", "node_deg", "argp_deg", "mean_anomaly_deg", "h_mag", "g_slope", "u_code")
    assert [_one(reading, column) for column in columns] == [2.4, 0.1, 5.0, 10.0, 20.0, 30.0, 17.0, 0.15, 1]


def test_epochs_are_read_as_tt(read_mpc, mpc_row) -> None:
    # TDB - TT is at most 1.7 ms (Explanatory Supplement): a UTC reading would be 69 s off.
    shift_s = (_one(read_mpc([mpc_row()]), "epoch_jd_tdb") - 2461000.5) * 86400.0
    assert abs(shift_s) < 2e-3


def test_other_epochs_are_taken_as_they_are_and_told(read_mpc, mpc_row) -> None:
    old = mpc_row(Number="(900002)", Epoch=2451840.5)
    reading = read_mpc([mpc_row(), mpc_row(Number="(900003)"), old])
    assert round(reading.catalogue.epoch_jd_tdb[2], 3) == 2451840.5
    assert any(note.startswith("1 row taken: elements at another epoch") for note in reading.notes)


@pytest.mark.parametrize(
    ("change", "column", "value", "bit"),
    [
        ({"drop": ("H",)}, "h_mag", 24.0, ASSUMED_H),
        ({"H": None}, "h_mag", 24.0, ASSUMED_H),
        ({"H": 99.99}, "h_mag", 24.0, ASSUMED_H),
        ({"H": "bright"}, "h_mag", 24.0, ASSUMED_H),
        ({"drop": ("G",)}, "g_slope", 0.15, ASSUMED_G),
        ({"G": 15}, "g_slope", 0.15, ASSUMED_G),
        ({"drop": ("U",)}, "u_code", 9, ASSUMED_U),
        ({"U": "E"}, "u_code", 9, ASSUMED_U),
        ({"U": "D"}, "u_code", 9, ASSUMED_U),
        ({"U": "10"}, "u_code", 9, ASSUMED_U),
        ({"U": "-1"}, "u_code", 9, ASSUMED_U),
        ({"U": "2.5"}, "u_code", 9, ASSUMED_U),
    ],
)
def test_missing_and_special_values_follow_a_rule_marked_and_told(
    read_mpc, mpc_row, change, column, value, bit
) -> None:
    reading = read_mpc([mpc_row(**change)])
    assert (_one(reading, column), _one(reading, "assumed")) == (value, bit)
    assert [note for note in reading.notes if "assumed" in note and note.startswith("1 row taken")]


def test_given_values_are_not_marked_as_assumed(read_mpc, mpc_row) -> None:
    reading = read_mpc([mpc_row(U=9, G=0.15)])
    assert (_one(reading, "u_code"), _one(reading, "assumed")) == (9, 0)
    assert reading.notes == ()


@pytest.mark.parametrize("key", ["Epoch", "a", "e", "i", "Node", "Peri", "M"])
@pytest.mark.parametrize(
    ("value", "reason"),
    [
        (None, "no value for {key}"),
        ("", "no value for {key}"),
        (float("nan"), "{key} is not a finite number"),
        (float("-inf"), "{key} is not a finite number"),
        (10**400, "{key} is not a finite number"),
        ("two", "{key} is not a finite number"),
        (True, "{key} is not a finite number"),
        ([1.0], "{key} is not a finite number"),
    ],
    ids=["null", "blank", "nan", "infinite", "huge", "word", "truth", "list"],
)
def test_an_element_that_is_no_number_is_listed(read_mpc, mpc_row, key, value, reason) -> None:
    reject = _only_reject(read_mpc, mpc_row, mpc_row(**{key: value}))
    assert reject["reason"] == reason.format(key=key)
    assert "900001" in reject["text"]


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"e": 1.0}, "unbound orbit: e is 1 or more, only closed orbits are followed"),
        ({"e": 3.2, "a": -0.9}, "unbound orbit: e is 1 or more, only closed orbits are followed"),
        ({"e": -0.1}, "e is negative"),
        ({"a": -2.0}, "a is not positive"),
        ({"a": 0.0}, "a is not positive"),
        ({"i": 181.0}, "i is above 180 deg"),
        ({"i": -1.0}, "i is negative"),
        ({"Epoch": 61000.0}, "Epoch is before JD 2287184.5, where the ephemeris begins"),
        ({"Epoch": 9e6}, "Epoch is after JD 2688976.5, where the ephemeris ends"),
        ({"Number": "", "Principal_desig": " "}, "no number and no principal designation"),
        ({"Number": "(900002)"}, "the target stands in the file twice: the first row is taken"),
    ],
)
def test_a_row_that_cannot_be_followed_is_listed(read_mpc, mpc_row, change, reason) -> None:
    assert _only_reject(read_mpc, mpc_row, mpc_row(**change))["reason"] == reason


@pytest.mark.parametrize("entry", [None, 7, "text", [1, 2]])
def test_an_entry_that_is_no_object_is_listed(read_mpc, mpc_row, entry) -> None:
    assert _only_reject(read_mpc, mpc_row, entry)["reason"] == "the entry is not an object"


def test_a_rejected_row_does_not_take_the_name_from_a_good_one(read_mpc, mpc_row) -> None:
    reading = read_mpc([mpc_row(e=2.0), mpc_row()])
    assert reading.catalogue.target.tolist() == ["900001"]
    assert reading.rejects["line"].to_pylist() == [1]


def test_rejects_are_told_with_their_count(read_mpc, mpc_row) -> None:
    reading = read_mpc([mpc_row(), mpc_row(e=2.0), mpc_row(e=1.5)])
    assert any(note.startswith("2 rows not taken: unbound orbit") for note in reading.notes)


def test_gzip_is_told_by_content_not_by_name(read_mpc, mpc_row) -> None:
    packed_under_a_plain_name = read_mpc([mpc_row()], name="a.json", packed=True)
    plain_under_a_gz_name = read_mpc([mpc_row()], name="b.json.gz")
    assert len(packed_under_a_plain_name.catalogue) == len(plain_under_a_gz_name.catalogue) == 1
    assert packed_under_a_plain_name.source_sha256 != plain_under_a_gz_name.source_sha256


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "empty"),
        (b"  \n", "no data"),
        (b"[]", "catalogue is empty"),
        (b'[{"a": 2.4}, ', "not JSON, or ends too early"),
        (b"00001    3.34  0.15 K2555 60.07881\n", "not JSON"),
        (b"\x00\xff\xfe binary", "not text"),
        (b'{"data": [], "fields": []}', "another format"),
        (b'"text"', "another format"),
        (b"[1, 2]", "another format"),
        (b'[{"spkid": "20000433"}]', "another format"),
        (b"[" * 100_000, "JSON"),
        (gzip.compress(b"[]", mtime=0)[:12], "truncated"),
        (gzip.compress(b"", mtime=0), "no data"),
        (b"\x1f\x8b\x08\x00 this is no gzip stream", "damaged"),
    ],
)
def test_a_file_that_cannot_be_used_is_one_clear_message(read_bytes, content, what) -> None:
    with pytest.raises(InputError, match=what) as caught:
        read_bytes(content, format="mpc-json")
    assert "bodies.dat" in str(caught.value)


def test_a_truncated_gzip_of_a_real_size_is_an_error(read_bytes, mpc_row) -> None:
    packed = gzip.compress(json.dumps([mpc_row(M=k / 7) for k in range(500)]).encode())
    with pytest.raises(InputError, match="truncated"):
        read_bytes(packed[: len(packed) // 2], format="mpc-json", name="bodies.json.gz")


def test_a_file_of_which_nothing_is_taken_is_an_error(read_mpc, mpc_row) -> None:
    with pytest.raises(InputError, match=r"nothing can be taken(.|\n)*unbound"):
        read_mpc([mpc_row(e=2.0), mpc_row(e=3.0)])


def test_a_missing_file_and_a_folder_are_errors(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_catalogue(SimpleNamespace(format="mpc-json", file="nowhere.json"), tmp_path)
    with pytest.raises(InputError, match="folder"):
        read_catalogue(SimpleNamespace(format="mpc-json", file="."), tmp_path)


def test_settings_that_name_no_file_or_no_known_format_are_errors(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"catalogue\.file"):
        read_catalogue(SimpleNamespace(format="mpc-json", file=None), tmp_path)
    with pytest.raises(InputError, match=r"catalogue\.format"):
        read_catalogue(SimpleNamespace(format="stone tablets", file="x"), tmp_path)
