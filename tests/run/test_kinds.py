"""The table of kinds of encounter: every function it names is there, and who is asked for what."""

from dataclasses import fields

import pytest

from swarm.run.kinds import ENCOUNTERS, FLYBY, LOW_PASS, kinds_of
from swarm.run.tables import parquet_tables
from swarm.study.kind_names import SEARCHED
from swarm.study.schema import study_from
from tests.helpers.small_cases import make_study


@pytest.mark.parametrize("kind", ENCOUNTERS.values(), ids=list(ENCOUNTERS))
def test_every_function_is_there(kind):
    for field in fields(kind):
        if field.name not in ("name", "place", "tables") and getattr(kind, field.name):
            assert callable(kind.function(field.name))
    assert all(name in parquet_tables() for name in kind.tables)


def test_the_table_has_the_kinds_that_are_searched():
    assert tuple(ENCOUNTERS) == SEARCHED


def test_a_kind_is_screened_where_a_row_asks_for_it_and_a_design_takes_it():
    plain = make_study()
    assert [kind.name for kind in kinds_of(plain)] == [FLYBY]
    data = plain.model_dump(mode="json", by_alias=True, exclude_unset=True)
    probe = data.pop("probe")
    rows = [*data["science"]["rows"], {"name": "low", "where": {"kind": "low-pass"}}]
    designs = [{**probe, "name": "low", "takes": ["low-pass"]}]
    study = study_from({**data, "science": {"rows": rows}, "designs": designs})
    assert [kind.name for kind in kinds_of(study)] == [LOW_PASS]
