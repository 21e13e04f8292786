"""Cells of CSV files: no text becomes a formula (OWASP, "CSV Injection"), numbers stay numbers."""

import csv
import io

import pyarrow as pa
import pytest

from swarm.run.csv_cells import csv_text, plain_columns


@pytest.mark.parametrize("hostile", ["+1+1", "@SUM(1)", "=cmd|' /C calc'!A0", "-2+3", "\t=1", "\r=1"])
def test_a_text_never_begins_as_a_formula_does(hostile):
    table = pa.table({"target": [hostile], "x": [-1.5]})
    (_, row) = csv.reader(io.StringIO(csv_text(table), newline=""))
    shown = "'" + hostile.replace("\r", " ")
    assert row == [shown, "-1.5"]
    assert plain_columns(table)["target"].to_pylist() == [shown]


@pytest.mark.parametrize("plain", ["-1.5e-7", "+3", "433", "1998 SQ108", "", "a=b"])
def test_numbers_and_plain_names_stay_as_they_are(plain):
    table = pa.table({"target": [plain, None]})
    assert list(csv.reader(io.StringIO(csv_text(table))))[1] in ([plain], [])
    assert plain_columns(table).equals(table)
