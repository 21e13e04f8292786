"""Every table is as it is declared: on writing, in what is printed, and in the folder of a real run."""

import pyarrow as pa
import pytest

from swarm.run import tables
from swarm.run.folder import Run, write_parquet
from swarm.run.tables import DECLARED, PARQUET, lines, made_by, parquet_tables, problems_of
from swarm.run.tables.declaration import Table, real, text, whole

TABLE = Table(
    "things",
    "screen",
    "a thing",
    (whole("thing", "number"), real("size_km", "km", "size"), real("chance_*", "-", "a chance", gaps=True)),
)


def things(**changed):
    columns = {"thing": [0, 1], "size_km": [1.0, 2.0], "chance_0": [0.5, None], "chance_1": [0.1, 0.2]}
    return pa.table({name: values for name, values in (columns | changed).items() if values is not None})


def test_a_table_as_declared_has_no_problem():
    assert problems_of(TABLE, things()) == []


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"size_km": None}, "column size_km is missing"),
        ({"chance_0": None, "chance_1": None}, "column chance_* is missing"),
        ({"colour": ["a", "b"]}, "column colour is not declared"),
        ({"size_km": [1, 2]}, "column size_km is int64, declared double"),
        ({"size_km": [1.0, float("nan")]}, "column size_km has 1 missing values"),
        ({"size_km": [1.0, None]}, "column size_km has 1 missing values"),
    ],
)
def test_what_differs_is_said(changed, said):
    assert problems_of(TABLE, things(**changed)) == [said]


def test_a_run_refuses_what_is_not_declared_and_leaves_nothing(tmp_path, monkeypatch):
    run = Run(tmp_path, {})
    with pytest.raises(ValueError, match=r"'things' is not as declared .* it is not declared"):
        run.write_table("things", things())
    monkeypatch.setattr(tables, "DECLARED", (TABLE,))
    run.write_table("things", things())
    assert run.read_table("things").equals(things())
    run.path("things").unlink()
    with pytest.raises(ValueError, match="column size_km is missing"):
        run.write_table("things", things(size_km=None))
    assert list(tmp_path.iterdir()) == []


def test_rows_that_continue_a_table_are_read_with_it(tmp_path, monkeypatch):
    more = Table("more_things", "optimize", "a thing found later", TABLE.columns, extends="things")
    monkeypatch.setattr(tables, "DECLARED", (TABLE, more))
    run = Run(tmp_path, {})
    for name in ("things", "more_things"):
        write_parquet(run.path(name), things())
    assert run.read_table("things").num_rows == 4
    assert run.read_table("things", whole=False).num_rows == 2
    assert run.read_table("more_things").num_rows == 2


def test_every_declaration_says_what_it_is():
    for table in DECLARED:
        assert table.row
        names = [column.name for column in table.columns]
        assert len(set(names)) == len(names), table.name
        assert table.form != PARQUET or names, table.name
        for column in table.columns:
            assert column.says, (table.name, column.name)
            assert column.unit, (table.name, column.name)
            unit_in_name = {
                "_km": "km",
                "_kg": "kg",
                "_m_s": "m/s",
                "_km_s": "km/s",
                "_deg": "deg",
                "_au": "au",
            }
            for ending, unit in unit_in_name.items():
                if column.name.endswith(ending) and not column.name.endswith(f"k{ending[1:]}_s"):
                    assert column.unit == unit or (ending in ("_m_s",) and column.unit == "m/s"), (
                        table.name,
                        column,
                    )
    assert len(parquet_tables()) == sum(table.form == PARQUET for table in DECLARED)


def test_the_printed_schema_names_every_table_and_column():
    said = "\n".join(lines())
    for table in DECLARED:
        assert table.file in said
        assert [column.name for column in table.columns if f"    {column.name} " not in said] == []
    assert [made.name for made in made_by("judge")] == ["judged", "corrections"]
    assert text("a", "b").unit == "-"
