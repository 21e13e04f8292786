"""Small-Body Database answers, CSV and JSON: printed rows, fields that are not there, rows that are no body."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from targets.base.errors import InputError
from targets.catalogue.bodies import ASSUMED_G, ASSUMED_H, ASSUMED_U
from targets.catalogue.classes import label_of
from targets.catalogue.readers.sbdb import NOT_A_BODY, OTHER_EQUINOX, REQUIRED
from targets.catalogue.reading import read_catalogue

# Made up.
FIELDS = {
    "pdes": "900001", "full_name": "900001 Madeup (2090 AA1)", "epoch": "2461000.5", "a": "2.4", "e": ".1", "i": "5.",
    "om": "10", "w": "20", "ma": "30", "H": "17.0", "G": "0.15", "condition_code": "1",
}  # fmt: skip


def row(drop: tuple[str, ...] = (), **changes: Any) -> dict[str, Any]:
    return {key: value for key, value in (FIELDS | changes).items() if key not in drop}


def as_csv(*rows: dict[str, Any]) -> bytes:
    names = list(rows[0])
    lines = [",".join(names)]
    for held in rows:
        values = ["" if held[name] is None else str(held[name]) for name in names]
        lines.append(",".join(f'"{value}"' if "," in value else value for value in values))
    return "\n".join(lines).encode()


def as_json(*rows: dict[str, Any]) -> bytes:
    data = [list(held.values()) for held in rows]
    signature = {"source": "NASA/JPL SBDB (Small-Body DataBase) Query API", "version": "1.0"}
    answer = {"signature": signature, "fields": list(rows[0]), "count": len(rows), "data": data}
    return json.dumps(answer).encode()


WRITTEN = {"sbdb-csv": as_csv, "sbdb-json": as_json}


@pytest.fixture(params=WRITTEN)
def read(request, read_bytes):
    """Write rows in one of the two forms and read them."""

    def of(*rows: dict[str, Any]):
        return read_bytes(WRITTEN[request.param](*rows), format=request.param)

    of.first_line = 2 if request.param == "sbdb-csv" else 1
    return of


def _one(reading, column: str):
    assert len(reading.catalogue) == 1
    return getattr(reading.catalogue, column)[0]


# --- rows the database printed (tests/authorities/README.md) ----------------------------------------------------


def test_rows_of_a_real_csv(authorities: Path) -> None:
    reading = read_catalogue(SimpleNamespace(format="sbdb-csv", file="sbdb_query.csv"), authorities)
    body = reading.catalogue
    assert body.target.tolist() == ["433", "719"]
    assert body.name.tolist() == ["Eros", "Albert"]
    assert body.epoch_jd_tdb.tolist() == [2459000.5, 2459000.5]
    assert body.e.tolist() == [0.2229512647434284, 0.5465584653041263]
    assert body.a_au.tolist() == [1.458045729081037, 2.63860206439375]
    assert body.node_deg.tolist() == [304.2993259000444, 183.8669499802364]
    assert body.argp_deg.tolist() == [178.8822959227224, 156.17633771]
    assert body.mean_anomaly_deg.tolist() == [271.0717325705167, 140.2734217745985]
    assert (body.diameter_km[0], body.albedo[0], body.g_slope[0]) == (16.84, 0.25, 0.46)
    assert np.isnan([body.diameter_km[1], body.albedo[1]]).all()
    assert (body.taxonomy.tolist(), body.u_code.tolist()) == (["S", "S"], [0, 0])
    assert body.assumed.tolist() == [0, ASSUMED_G]
    # sigma_a, sigma_e, sigma_i, sigma_om, sigma_w, sigma_ma of the row
    assert body.element_sigma[0].tolist() == [
        2.1374e-10,
        9.6497e-9,
        1.1645e-6,
        3.8525e-6,
        4.088e-6,
        1.4389e-6,
    ]
    assert body.element_covariance is None
    assert reading.rejects.num_rows == 0


def test_rows_of_a_real_json(authorities: Path) -> None:
    reading = read_catalogue(SimpleNamespace(format="sbdb-json", file="sbdb_query.json"), authorities)
    body = reading.catalogue
    assert body.target.tolist() == ["15760", "15788", "15789"]
    assert body.name.tolist() == ["Albion", "", ""]
    assert body.a_au.tolist() == [44.13128015101105, 39.69309386030809, 39.68327981437692]
    assert (body.h_mag[0], body.u_code.tolist()) == (7.18, [3, 2, 2])
    assert body.element_sigma is None


# --- values -----------------------------------------------------------------------------------------------------


def test_a_row_is_read(read) -> None:
    reading = read(row())
    columns = ("a_au", "e", "i_deg", "node_deg", "argp_deg", "mean_anomaly_deg", "h_mag", "g_slope", "u_code")
    assert [_one(reading, column) for column in columns] == [2.4, 0.1, 5.0, 10.0, 20.0, 30.0, 17.0, 0.15, 1]
    assert (_one(reading, "target"), _one(reading, "name"), _one(reading, "assumed")) == (
        "900001",
        "Madeup",
        0,
    )
    assert _one(reading, "epoch_jd_tdb") == 2461000.5  # TDB as it stands
    assert reading.notes == ()


@pytest.mark.parametrize(
    ("changes", "target", "name"),
    [
        ({"pdes": "2090 AA1", "full_name": "       (2090 AA1)"}, "2090 AA1", ""),
        ({"pdes": None, "full_name": "       (2090 AA1)"}, "2090 AA1", ""),
        ({"pdes": None, "full_name": "  900001 Madeup (2090 AA1)"}, "900001", "Madeup"),
        ({"pdes": None, "full_name": " 900001 (2090 AA1)"}, "900001", ""),
        ({"pdes": None, "full_name": "2090 AA1"}, "2090 AA1", ""),
        ({"pdes": "6344 P-L", "full_name": "(6344 P-L)"}, "6344 P-L", ""),
        ({"pdes": "1P", "full_name": "    1P/Halley"}, "1P", ""),
        ({"pdes": "900001", "full_name": None}, "900001", ""),
        ({"pdes": "900001", "full_name": None, "name": "Given"}, "900001", "Given"),
    ],
)
def test_targets_and_names(read, changes, target, name) -> None:
    reading = read(row(**changes))
    assert (_one(reading, "target"), _one(reading, "name")) == (target, name)
    assert any("no number" in note for note in reading.notes) != target.isdigit()


@pytest.mark.parametrize(
    ("changes", "taxonomy", "label"),
    [
        ({"spec_B": "Sq", "spec_T": "C"}, "Sq", "S"),
        ({"spec_B": None, "spec_T": "M"}, "M", "X"),
        ({"spec_T": "EMP"}, "EMP", "X"),
        ({"spec_B": "Ch"}, "Ch", "C"),
        ({"spec_B": None, "spec_T": None}, "", ""),
        ({}, "", ""),
    ],
)
def test_of_two_classes_the_spectral_survey_counts_first(read, changes, taxonomy, label) -> None:
    found = _one(read(row(**changes)), "taxonomy")
    assert (found, label_of(found)) == (taxonomy, label)


@pytest.mark.parametrize(
    ("changes", "column", "value", "bit"),
    [
        ({"H": None}, "h_mag", 24.0, ASSUMED_H),
        ({"drop": ("H",)}, "h_mag", 24.0, ASSUMED_H),
        ({"G": None}, "g_slope", 0.15, ASSUMED_G),
        ({"condition_code": None}, "u_code", 9, ASSUMED_U),
        ({"condition_code": "E"}, "u_code", 9, ASSUMED_U),
        ({"drop": ("condition_code",)}, "u_code", 9, ASSUMED_U),
    ],
)
def test_missing_values_follow_a_rule_marked_and_told(read, changes, column, value, bit) -> None:
    reading = read(row(**changes))
    assert (_one(reading, column), _one(reading, "assumed")) == (value, bit)
    assert [note for note in reading.notes if "assumed" in note and note.startswith("1 row taken")]


def test_unknown_sigmas_are_nan_and_bad_ones_too(read) -> None:
    known = row(sigma_a="1e-8", sigma_e="2e-8", sigma_i="3", sigma_om="4", sigma_w="5", sigma_ma="6")
    partly = row(pdes="2", sigma_a=None, sigma_e="-1", sigma_i="x", sigma_om="inf", sigma_w="0", sigma_ma="6")
    sigma = read(known, partly).catalogue.element_sigma
    np.testing.assert_array_equal(sigma, [[1e-8, 2e-8, 3, 4, 5, 6], [np.nan] * 4 + [0, 6]])


def test_sigmas_of_a_row_not_taken_go_with_it(read) -> None:
    sigmas = {f"sigma_{name}": None for name in ("a", "e", "i", "om", "w", "ma")}
    rows = [
        row(pdes=str(k), e=e, **(sigmas | {"sigma_a": str(k)}))
        for k, e in enumerate(("2", ".1", "3", ".2"), 1)
    ]
    assert read(*rows).catalogue.element_sigma[:, 0].tolist() == [2.0, 4.0]


# --- rows that cannot be followed -------------------------------------------------------------------------------


@pytest.mark.parametrize("field", REQUIRED)
@pytest.mark.parametrize(
    ("value", "reason"), [(None, "no value for {}"), ("two", "{} is not a finite number")]
)
def test_a_required_value_that_is_no_number_is_listed(read, field, value, reason) -> None:
    reading = read(row(pdes="1"), row(**{field: value}))
    assert reading.catalogue.target.tolist() == ["1"]
    (reject,) = reading.rejects.to_pylist()
    assert (reject["line"], reject["reason"]) == (read.first_line + 1, reason.format(field))
    assert "900001" in reject["text"]


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"e": "1.0004", "a": "-9"}, "unbound orbit: e is 1 or more, only closed orbits are followed"),
        ({"epoch": "61000"}, "epoch is before JD 2287184.5, where the ephemeris begins"),
        ({"pdes": None, "full_name": None}, "no number and no principal designation"),
        ({"equinox": "B1950"}, OTHER_EQUINOX),
        ({"pdes": "1"}, "the target stands in the file twice: the first row is taken"),
    ],
)
def test_a_row_that_cannot_be_followed_is_listed(read, changes, reason) -> None:
    good = row(**{"pdes": "1"} | ({"equinox": "J2000"} if "equinox" in changes else {}))
    reading = read(good, row(**changes))
    assert [reject["reason"] for reject in reading.rejects.to_pylist()] == [reason]
    assert reading.catalogue.target.tolist() == ["1"]


def test_rows_of_another_width_are_listed(read_bytes) -> None:
    content = json.loads(as_json(row(pdes="1"), row(pdes="2"), row(pdes="3"), row(pdes="4")))
    content["data"][1].append("more")
    content["data"][2] = {"pdes": "3"}
    reading = read_bytes(json.dumps(content).encode(), format="sbdb-json")
    assert reading.catalogue.target.tolist() == ["1", "4"]
    width = len(FIELDS)
    assert [(reject["line"], reject["reason"]) for reject in reading.rejects.to_pylist()] == [
        (2, f"{width + 1} values where there are {width} fields"),
        (3, "the entry is not a list"),
    ]
    broken = as_csv(row(pdes="1")) + b"\n2,too,few\n"
    reading = read_bytes(broken, format="sbdb-csv")
    assert reading.rejects.to_pylist() == [
        {"line": 3, "reason": f"3 fields where the header has {width}", "text": "2,too,few"}
    ]


# --- files that cannot be used ----------------------------------------------------------------------------------


@pytest.mark.parametrize("field", REQUIRED)
def test_a_required_field_that_is_missing_is_named_with_what_was_found(read, field) -> None:
    with pytest.raises(InputError, match=f"required columns are missing: {field}") as caught:
        read(row(drop=(field,)))
    assert "condition_code" in caught.value.found
    assert all(name in caught.value.expected for name in REQUIRED)


def test_a_table_that_names_no_body_is_refused(read) -> None:
    with pytest.raises(InputError, match="no field says which body") as caught:
        read(row(drop=("pdes", "full_name")))
    assert "pdes or full_name" in caught.value.expected


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "empty"),
        (b"\n", "no data"),
        (b"[]", "catalogue is empty"),
        (b'{"fields": ["a"], "count": 0, "data": []}', "catalogue is empty"),
        (b'{"fields": ["a"], "count": 3}', "no lists"),
        (b'{"fields": "a", "data": "b"}', "no lists"),
        (b'{"fields": ["a"], "data": [[1]]}', "required columns are missing: epoch"),
        (as_json(row())[:-20], "not JSON, or ends too early"),
        (as_csv(row()), "not JSON"),
        (b'{"message":"specified object was not found","code":"200"}', "specified object was not found"),
        (b'{"a": 1}', "another format"),
        (b'[{"Principal_desig": "2025 AB1", "a": 2.4}]', "another format"),
        (b"7", "another format"),
        (b"null", "another format"),
        (b'{"object": 1, "orbit": 2}', "another format"),
        (b"[" * 100_000, "JSON"),
        (b"\x00\xff", "not text"),
        (gzip.compress(as_json(row()), mtime=0)[:-9], "truncated"),
        (as_json(row(e="2")), "nothing can be taken"),
    ],
)
def test_a_json_file_that_cannot_be_used_is_one_clear_message(read_bytes, content, what) -> None:
    with pytest.raises(InputError, match=what) as caught:
        read_bytes(content, format="sbdb-json")
    assert "bodies.dat" in str(caught.value)


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "empty"),
        (",".join(FIELDS).encode() + b"\n", "catalogue is empty"),
        (as_json(row()), "required columns are missing"),
        (b"target,a_au\nX,1\n", "required columns are missing"),
        (as_csv(row()) + b'\n"open', "not readable as CSV"),
        (b"a," + as_csv(row()), "columns stand twice: a"),
        (gzip.compress(as_csv(row()), mtime=0)[:-9], "truncated"),
        (b"\xff\xfe\x00", "not text"),
    ],
)
def test_a_csv_file_that_cannot_be_used_is_one_clear_message(read_bytes, content, what) -> None:
    with pytest.raises(InputError, match=what) as caught:
        read_bytes(content, format="sbdb-csv")
    assert "bodies.dat" in str(caught.value)


def test_gzip_is_told_by_content(read_bytes) -> None:
    assert len(read_bytes(gzip.compress(as_csv(row()), mtime=0), format="sbdb-csv").catalogue) == 1
    assert len(read_bytes(gzip.compress(as_json(row()), mtime=0), format="sbdb-json").catalogue) == 1


def test_entries_among_bodies_that_are_none_are_listed(read_bytes, authorities: Path) -> None:
    answers = json.loads((authorities / "sbdb_objects.json").read_text())[:2]
    mixed = [answers[0], {"message": "specified object was not found"}, 7, None, answers[1]]
    reading = read_bytes(json.dumps(mixed).encode(), format="sbdb-json")
    assert reading.catalogue.target.tolist() == ["1", "54509"]
    assert [(reject["line"], reject["reason"]) for reject in reading.rejects.to_pylist()] == [
        (line, NOT_A_BODY) for line in (2, 3, 4)
    ]
