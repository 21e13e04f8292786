"""The fixed-width orbit format: printed lines, every column, every line taken or listed with its number."""

from __future__ import annotations

import gzip
import resource
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from targets.base.errors import InputError
from targets.base.timescale import tdb_jd_from_tt_jd
from targets.catalogue.bodies import ASSUMED_G, ASSUMED_H, ASSUMED_U
from targets.catalogue.readers import mpcorb
from targets.catalogue.readers.designations import COMET, UNKNOWN
from targets.catalogue.reading import read_catalogue
from tests.helpers import mpc_packing
from tests.helpers.mpc_packing import line

HEADER = (
    "A HEADER AS THE CENTER WRITES ONE\n\nWith text of any kind, and column heads:\n"
    "Des'n     H     G   Epoch     M        Peri.      Node       Incl.       e            n           a\n"
    + "-" * 160
    + "\n"
)
GOOD = line(packed="00001", readable="(1) Good")


@pytest.fixture
def read(read_bytes):
    def of(*lines: str, end: str = "\n", **more):
        return read_bytes(end.join(lines).encode(), format="mpcorb", **more)

    return of


@pytest.fixture
def only_reject(read):
    """Read a good line and then a bad one; return the reject, which must stand in line 2."""

    def of(bad: str) -> dict:
        reading = read(GOOD, bad, "")
        assert reading.catalogue.target.tolist() == ["1"]
        rejects = reading.rejects.to_pylist()
        assert [reject["line"] for reject in rejects] == [2]
        return rejects[0]

    return of


def _one(reading, column: str):
    assert len(reading.catalogue) == 1
    return getattr(reading.catalogue, column)[0]


# --- lines the Center printed (tests/authorities/README.md) -----------------------------------------------------


def test_lines_of_the_real_file(authorities: Path) -> None:
    body = read_catalogue(SimpleNamespace(format="mpcorb", file="mpcorb_lines.txt"), authorities).catalogue
    assert body.target.tolist() == ["1", "2", "4", "433", "1979 XB"]
    assert body.name.tolist() == ["Ceres", "Pallas", "Vesta", "Eros", ""]
    eros = body.take([3])
    found = {name: getattr(eros, name)[0] for name in ("h_mag", "g_slope", "mean_anomaly_deg", "argp_deg",
                                                       "node_deg", "i_deg", "e", "a_au", "u_code")}  # fmt: skip
    assert found == {
        "h_mag": 10.4, "g_slope": 0.15, "mean_anomaly_deg": 310.55432, "argp_deg": 178.92976,
        "node_deg": 304.2701, "i_deg": 10.82847, "e": 0.222836, "a_au": 1.458121, "u_code": 0,
    }  # fmt: skip
    assert (body.h_mag[4], body.u_code[4]) == (18.6, 9)  # printed as "18.6 "
    np.testing.assert_array_equal(body.epoch_jd_tdb, tdb_jd_from_tt_jd([2461200.5] * 2 + [2461000.5] * 3))
    assert not body.assumed.any()
    assert (body.element_sigma, body.element_covariance) == (None, None)


def test_the_columns_of_the_real_lines_are_those_of_the_table(authorities: Path) -> None:
    """Each field cut out by the table holds the word that stands there, no more and no less."""
    eros = (authorities / "mpcorb_lines.txt").read_text().splitlines()[3]
    cut = [eros[first - 1 : last].strip() for _, first, last in mpcorb.COLUMNS]
    assert cut == ["00433", "10.40", "0.15", "K25BL", "310.55432", "178.92976", "304.27010", "10.82847", "0.2228360",
                   "0.55977529", "1.4581210", "0", "E2026-G89", "17462", "59", "1893-2026", "0.62", "M-v", "3Ek",
                   "MPCORBFIT", "1804", "(433) Eros", "20260408"]  # fmt: skip


# --- the file as a whole ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("head", ["", HEADER])
@pytest.mark.parametrize("packed", [False, True])
def test_with_and_without_header_plain_and_gzip_unix_and_windows(read_bytes, end, head, packed) -> None:
    text = (head + GOOD + "\n" + line() + "\n").replace("\n", end).encode()
    reading = read_bytes(gzip.compress(text) if packed else text, format="mpcorb")
    assert reading.catalogue.target.tolist() == ["1", "15396334"]
    assert reading.catalogue.name.tolist() == ["Good", "Madeup"]
    assert reading.rejects.num_rows == 0


def test_the_last_line_needs_no_end_and_a_byte_order_mark_is_dropped(read_bytes) -> None:
    reading = read_bytes(b"\xef\xbb\xbf" + f"{GOOD}\n{line()}".encode(), format="mpcorb")
    assert reading.catalogue.target.tolist() == ["1", "15396334"]


def test_blank_lines_between_the_sections_are_skipped_and_lines_keep_their_numbers(read) -> None:
    reading = read(
        *HEADER.splitlines(), GOOD, "", "   ", line(e="1.2000000"), "", line(a="x.4000000"), line()
    )
    assert reading.catalogue.target.tolist() == ["1", "15396334"]
    assert [(row["line"], row["reason"][:7]) for row in reading.rejects.to_pylist()] == [
        (9, "unbound"),
        (11, "a (colu"),
    ]


@pytest.mark.parametrize("length", [103, 104, 105])
def test_a_line_without_its_tail_has_an_orbit_all_the_same(read, length) -> None:
    reading = read(line()[:length], "")
    assert (_one(reading, "a_au"), _one(reading, "name")) == (2.4, "")
    assert (_one(reading, "u_code"), _one(reading, "assumed")) == (9, ASSUMED_U)
    assert any("U (column 106) not given" in note for note in reading.notes)


def test_a_line_of_dashes_below_an_orbit_hides_nothing(read) -> None:
    reading = read(GOOD, "-" * 160, line())
    assert reading.catalogue.target.tolist() == ["1", "15396334"]
    assert reading.rejects["line"].to_pylist() == [2]


def test_a_header_without_its_line_of_dashes_is_listed(read) -> None:
    reading = read(*HEADER.splitlines()[:-1], GOOD)
    assert reading.catalogue.target.tolist() == ["1"]
    assert reading.rejects["line"].to_pylist() == [1, 3, 4]


def test_more_lines_than_one_block(read, monkeypatch) -> None:
    monkeypatch.setattr(mpcorb, "_BLOCK_ROWS", 7)
    monkeypatch.setattr(mpcorb, "_BLOCK_BYTES", 300)
    packed = [mpc_packing.pack_number(number) for number in range(99_960, 100_040)]
    lines = [line(packed=code, m=f"{k}.50000", readable="") for k, code in enumerate(packed)]
    lines[50] = lines[50].replace("K25BL", "K2XBL")
    reading = read(*HEADER.splitlines(), *lines)
    expected = [str(number) for number in range(99_960, 100_040) if number != 100_010]
    assert reading.catalogue.target.tolist() == expected
    np.testing.assert_array_equal(reading.catalogue.mean_anomaly_deg, [k + 0.5 for k in range(80) if k != 50])
    assert reading.rejects.to_pylist() == [{"line": 56, "reason": mpcorb.NO_DATE, "text": lines[50]}]


# --- a file that is no such file --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "empty"),
        (b" \n\n", "no data"),
        (HEADER.encode(), "catalogue is empty"),
        (gzip.compress(GOOD.encode() * 100, mtime=0)[:-9], "truncated"),
        (b"\x1f\x8b\x08\x00 this is no gzip stream", "damaged"),
        (b'[{"Principal_desig": "2025 AB1"}]', "another format"),
        (b"target,a_au,e\nX,1,2\n", "another format"),
        (bytes(range(256)) * 20, "another format"),
        (("x" * 300).encode(), "another format"),
        ((HEADER + "one line that says something else\n").encode(), "another format"),
        (line(e="1.2000000").encode(), "nothing can be taken"),
    ],
)
def test_a_file_that_cannot_be_used_is_one_clear_message(read_bytes, content, what) -> None:
    with pytest.raises(InputError, match=what) as caught:
        read_bytes(content, format="mpcorb")
    assert "bodies.dat" in str(caught.value)


def test_the_template_stands_under_the_offending_line(read) -> None:
    shifted = " " + line()[:-1]
    with pytest.raises(InputError, match="line 3") as caught:
        read("", "", shifted, "and more")
    said = str(caught.value).splitlines()
    assert said[1] == f"  found:    {shifted}"
    under = said[2]
    assert under.startswith("  expected: ")
    for field, first, last in mpcorb.COLUMNS:
        at = len("  expected: ") + first - 1
        width = last - first + 1
        assert under[at : at + width] == field[:width].ljust(width, ".")
        assert under[at - 1] == " " or field == "LastObs"  # columns 194 and 195 touch in the format itself


def test_signs_a_terminal_cannot_show_are_not_shown(read_bytes) -> None:
    with pytest.raises(InputError) as caught:
        read_bytes(b"\x1b[2J\x07 no orbit \xff\n", format="mpcorb")
    assert all(sign.isprintable() or sign == "\n" for sign in str(caught.value))


# --- a line that is no orbit ------------------------------------------------------------------------------------

FIELDS = {"M": "m", "Peri": "peri", "Node": "node", "i": "i", "e": "e", "a": "a"}
NO_NUMBERS = ["1.2.3", "1 2", "--1", "1-", "+-1.0", "one", ".", "-", "+", "1e2", "0x1", "1,5", "nan", "inf",
              "1_0", "\t1"]  # fmt: skip


@pytest.mark.parametrize(("field", "key"), FIELDS.items())
@pytest.mark.parametrize("written", NO_NUMBERS)
def test_an_element_that_is_no_number_is_listed(only_reject, field, key, written) -> None:
    bad = line(**{key: written})
    reject = only_reject(bad)
    first, last = next(place for name, *place in mpcorb.COLUMNS if name == field)
    assert reject == {
        "line": 2,
        "reason": f"{field} (columns {first}-{last}) is not a finite number",
        "text": bad,
    }


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        *(({key: ""}, f"no value for {field} (columns") for field, key in FIELDS.items()),
        ({"epoch": ""}, "no value for Epoch (columns 21-25)"),
        ({"epoch": "K25D1"}, mpcorb.NO_DATE),
        ({"epoch": "K252U"}, mpcorb.NO_DATE),
        ({"epoch": "61000"}, mpcorb.NO_DATE),
        ({"packed": ""}, "no number and no principal designation"),
        ({"packed": "0001P"}, COMET),
        ({"packed": "J95A010"}, COMET),
        ({"packed": "Eros"}, UNKNOWN),
        ({"packed": "00001"}, "the target stands in the file twice: the first row is taken"),
        (
            {"e": "1.0000000"},
            "unbound orbit: e (columns 71-79) is 1 or more, only closed orbits are followed",
        ),
        ({"e": "-0.100000"}, "e (columns 71-79) is negative"),
        ({"a": "-2.400000"}, "a (columns 93-103) is not positive"),
        ({"i": "181.00000"}, "i (columns 60-68) is above 180 deg"),
    ],
)
def test_a_line_that_cannot_be_followed_is_listed(only_reject, changes, reason) -> None:
    assert only_reject(line(**changes))["reason"].startswith(reason)


@pytest.mark.parametrize("length", [1, 20, 102])
def test_a_line_that_ends_early_is_listed(only_reject, length) -> None:
    assert only_reject(line()[:length])["reason"] == mpcorb.TOO_SHORT


@pytest.mark.parametrize("column", [8, 14, 20, 26, 36, 37, 47, 48, 58, 59, 69, 70, 80, 92])
def test_a_sign_between_two_fields_is_listed(only_reject, column) -> None:
    whole = line()
    assert whole[column - 1] == " "
    assert only_reject(f"{whole[: column - 1]}7{whole[column:]}")["reason"] == mpcorb.SHIFTED


def test_rejects_are_told_with_their_count(read) -> None:
    reading = read(GOOD, line(e="1.2000000"), line(e="1.5000000"))
    assert any(note.startswith("2 rows not taken: unbound orbit") for note in reading.notes)


# --- values -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "column", "value", "bit"),
    [
        ({"h": ""}, "h_mag", 24.0, ASSUMED_H),
        ({"h": "99.99"}, "h_mag", 24.0, ASSUMED_H),
        ({"h": "-1.12"}, "h_mag", -1.12, 0),
        ({"g": ""}, "g_slope", 0.15, ASSUMED_G),
        ({"g": "-0.12"}, "g_slope", -0.12, 0),
        ({"u": ""}, "u_code", 9, ASSUMED_U),
        ({"u": "E"}, "u_code", 9, ASSUMED_U),
        ({"u": "D"}, "u_code", 9, ASSUMED_U),
        ({"u": "?"}, "u_code", 9, ASSUMED_U),
        ({"u": "7"}, "u_code", 7, 0),
    ],
)
def test_missing_and_special_values_follow_a_rule_marked_and_told(read, changes, column, value, bit) -> None:
    reading = read(line(**changes))
    assert (_one(reading, column), _one(reading, "assumed")) == (value, bit)
    assert bool([note for note in reading.notes if "assumed" in note]) == bool(bit)


@pytest.mark.parametrize(
    ("packed", "readable", "target", "name"),
    [
        ("00433", "    (433) Eros", "433", "Eros"),
        ("~0000", "(620000) Ab Cd's", "620000", "Ab Cd's"),
        ("A0345", "(100345) 1995 UP4", "100345", ""),
        ("I98P00A", "A898 PA", "A898 PA", ""),
        ("K25A01B", "          2025 AB1", "2025 AB1", ""),
        ("_QC0aEM", "          2026 CZ6190", "2026 CZ6190", ""),
        ("PLS6344", "          6344 P-L", "6344 P-L", ""),
        ("00433", "", "433", ""),
    ],
)
def test_targets_and_names(read, packed, readable, target, name) -> None:
    reading = read(line(packed=packed, readable=readable))
    assert (_one(reading, "target"), _one(reading, "name")) == (target, name)
    assert any("no number" in note for note in reading.notes) != target.isdigit()


def test_epochs_are_read_as_tt(read) -> None:
    # TDB - TT is at most 1.7 ms (Explanatory Supplement): a UTC reading would be 69 s off.
    assert abs(_one(read(line()), "epoch_jd_tdb") - 2461000.5) * 86400.0 < 2e-3


@given(text=st.from_regex(r" {0,3}[+-]?([0-9]{1,4}(\.[0-9]{0,3})?|\.[0-9]{1,3}) {0,3}", fullmatch=True))
def test_decimals_are_the_doubles_python_makes_of_them(text: str) -> None:
    cells = np.frombuffer(text.encode(), dtype=np.uint8)[None, :]
    assert mpcorb._decimals(cells).values[0] == float(text)


@given(text=st.text(alphabet="0123456789+-. eE_x", min_size=1, max_size=11))
def test_what_the_format_calls_no_number_is_none(text: str) -> None:
    cells = np.frombuffer(text.encode(), dtype=np.uint8)[None, :]
    found = mpcorb._decimals(cells)
    try:
        value = float(text) if not set("eE_") & set(text) else float("nan")
    except ValueError:
        value = float("nan")
    np.testing.assert_array_equal(found.values[0], value)
    assert found.missing[0] == (text.strip() == "")


# --- size -------------------------------------------------------------------------------------------------------


def _write_many(path: Path, count: int) -> None:
    tail = line(readable="")[7:]
    with path.open("w") as file:
        file.write(HEADER)
        file.writelines(f"{mpc_packing.pack_number(k):<7}{tail}\n" for k in range(1, count + 1))


@pytest.mark.slow
def test_the_known_population_is_read_whole_in_bounded_memory(tmp_path: Path) -> None:
    """1.4 million lines, 285 MB. The bound is on the whole process, other tests before this one included."""
    _write_many(tmp_path / "many.dat", 1_400_000)
    reading = read_catalogue(SimpleNamespace(format="mpcorb", file="many.dat"), tmp_path)
    assert (len(reading.catalogue), reading.rejects.num_rows) == (1_400_000, 0)
    assert reading.catalogue.target[[0, -1]].tolist() == ["1", "1400000"]
    peak_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert peak_kib < 2.0 * 2**20
