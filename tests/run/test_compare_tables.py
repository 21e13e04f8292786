"""The script that tells whether a change changed an answer: it sees one bit, and takes renamed words as named."""

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from tests.helpers.compare_tables import differences, main

TABLE = pa.table({"carrier_km": [1.0, 2.0, float("nan")], "why": ["a carrier", None, "b"]})


@pytest.fixture
def folders(tmp_path):
    for name in ("before", "after"):
        (tmp_path / name).mkdir()
    pq.write_table(TABLE, tmp_path / "before" / "front.parquet")
    return tmp_path / "before", tmp_path / "after"


def test_the_same_values_in_other_words_are_the_same(folders):
    renamed = pa.table({"mothership_km": TABLE["carrier_km"], "why": ["a mothership", None, "b"]})
    pq.write_table(renamed, folders[1] / "front.parquet")
    assert differences(*folders, {"carrier": "mothership"}) == []
    assert main([str(folders[0]), str(folders[1])]) == 1


def test_one_bit_and_one_row_are_seen(folders):
    changed = TABLE.set_column(0, "carrier_km", pa.array([1.0, 2.0 + 2**-51, float("nan")]))
    pq.write_table(changed, folders[1] / "front.parquet")
    assert differences(*folders, {}) == ["front.parquet: column carrier_km differs"]
    pq.write_table(TABLE.slice(1), folders[1] / "front.parquet")
    assert differences(*folders, {}) == ["front.parquet: 3 rows before, 2 after"]


def test_a_table_is_compared_with_the_rows_that_continue_it(folders):
    (folders[0] / "front.parquet").unlink()
    pq.write_table(TABLE, folders[0] / "opportunities.parquet")
    pq.write_table(TABLE.slice(0, 2), folders[1] / "opportunities.parquet")
    pq.write_table(TABLE.slice(2), folders[1] / "polished.parquet")
    assert differences(*folders, {}) == []
