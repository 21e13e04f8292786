"""Studies in a script: read, changed, and written as the file of a run."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import swarm
from swarm.app.surface import study_text
from swarm.study.schema import study_from
from tests.helpers.places import FIREWEED


def test_changes_are_put_in_place_of_the_files_values():
    changes = {"probe.count": 6, "science.rows[1].weight": 5.0, "compare.counts": [0, 6]}
    study = swarm.read_study(FIREWEED, changes=changes)
    assert (study.probe.count, study.science.rows[1].weight, study.compare.counts) == (6, 5.0, (0, 6))
    plain = swarm.read_study(FIREWEED)
    assert (plain.probe.count, plain.science.rows[1].weight, plain.compare.counts) == (
        12,
        2.0,
        (0, 4, 8, 12, 16),
    )
    assert study.base == plain.base == FIREWEED.parent


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"probe.cuont": 6}, "cuont"),
        ({"science.rows[9].weight": 1.0}, "there is no such key"),
        ({"probe.count": -1}, "probe.count"),
        ({"probe.count": "six"}, "probe.count"),
        ({"": 1}, "not a key"),
    ],
)
def test_changes_that_cannot_be_used_are_said(changes, said):
    with pytest.raises(swarm.InputError, match=said):
        swarm.read_study(FIREWEED, changes=changes)


def test_a_study_is_written_as_a_file_that_is_read_as_the_same_study():
    study = swarm.read_study(FIREWEED)
    again = study_from(tomllib.loads(study_text(study)))
    assert again.model_dump() == study.model_dump()
    assert again.model_fields_set == study.model_fields_set
    assert again.probe.model_fields_set == study.probe.model_fields_set


@settings(max_examples=30, deadline=None)
@given(count=st.integers(1, 30), weight=st.floats(1e-3, 100.0), name=st.text(min_size=1, max_size=40))
def test_any_value_survives_the_file(count, weight, name):
    try:
        changes = {"probe.count": count, "science.rows[0].weight": weight, "science.rows[0].name": name}
        study = swarm.read_study(FIREWEED, changes=changes)
    except swarm.InputError:
        return
    again = study_from(tomllib.loads(study_text(study)))
    assert again.model_dump() == study.model_dump()


def test_a_study_that_no_file_can_hold_is_refused():
    study = swarm.read_study(FIREWEED)
    broken = study.model_copy(update={"probe": study.probe.model_copy(update={"count": -3})})
    with pytest.raises(swarm.InputError, match=r"probe\.count"):
        study_text(broken)
