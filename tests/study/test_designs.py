"""[[designs]] and [protection] in a study file: what is refused, and what stands for [probe]."""

import pyarrow as pa
import pytest

from swarm.encounter.propellant import all_tanks_kg, probe_masses
from swarm.study.by_design import by_design, design_numbers, probe_values
from swarm.study.ranges import defaults_of, with_value
from swarm.study.schema import study_from, study_rows
from targets.base.errors import InputError
from tests.helpers.small_cases import make_study

SMALL = {"name": "small", "count": 2, "wet_mass_kg": 8.0, "burn_limit_m_s": 100.0}
LARGE = {"name": "large", "count": 1, "wet_mass_kg": 20.0, "burn_limit_m_s": 200.0, "idle_w": 9.0}


def data_of(designs=(SMALL, LARGE), **sections):
    data = make_study().model_dump(mode="json", by_alias=True, exclude_unset=True)
    del data["probe"]
    return {**data, "designs": [dict(design) for design in designs], **sections}


def refused(data):
    with pytest.raises(InputError) as told:
        study_from(data)
    return str(told.value)


def test_the_swarm_as_a_whole_has_the_count_of_all_designs():
    study = study_from(data_of())
    assert study.probe.count == 3
    assert {name: own.probe.wet_mass_kg for name, own in study.by_design.items()} == {
        "small": 8.0,
        "large": 20.0,
    }
    keys = {key for key, *_ in study_rows(study)}
    assert "designs[1].idle_w" in keys
    assert not any(key.startswith("probe.") for key in keys)


@pytest.mark.parametrize(
    ("change", "key", "found", "expected"),
    [
        ({"designs": [SMALL, {**LARGE, "name": "small"}]}, "designs[1].name", "small", "no other design has"),
        ({"designs": [SMALL, {**LARGE, "count": 0}]}, "designs[1].count", "0", "at least 1"),
        ({"designs": [SMALL, {**LARGE, "takes": ["entry"]}]}, "designs[1].takes", '"entry"', '"flyby"'),
        ({"designs": [SMALL, {**LARGE, "takes": []}]}, "designs[1].takes", "[]", "at least 1 item"),
        ({"designs": [SMALL, {**LARGE, "wet_mass_kg": -1.0}]}, "designs[1].wet_mass_kg", "-1.0", "greater than 0"),
        ({"probe": {"count": 3, "wet_mass_kg": 8.0, "burn_limit_m_s": 1.0}}, "probe", "beside", "one of both"),
        ({"compare": {"counts": [2, 5]}}, "compare.counts[1]", "5", "at most 3"),
        ({"protection": {"impact_chance_max": {"Europe": 1e-4}}}, "protection.impact_chance_max.Europe",
         "Europe", "Europa?"),
        ({"protection": {"impact_chance_max": {"Europa": 1.5}}}, "protection.impact_chance_max.Europa", "1.5",
         "less than or equal to 1"),
    ],
)  # fmt: skip
def test_bad_input_is_named_by_key_found_and_expected(change, key, found, expected):
    text = refused({**data_of(), **change})
    assert key in text
    assert found in text
    assert expected in text


def test_what_is_wrong_with_the_first_design_is_said_once():
    text = refused(data_of([{**SMALL, "isp_s": -5.0}, LARGE]))
    assert "designs[0].isp_s" in text
    assert "probe.isp_s" not in text


def test_values_are_those_of_the_design_that_flies_in_the_order_of_the_table():
    study, table = study_from(data_of()), pa.table({"design": ["large", "small", "large"], "n": [0, 1, 2]})
    assert probe_values(study, table, "burn_limit_m_s").tolist() == [200.0, 100.0, 200.0]
    assert by_design(study, table, lambda own, rows, part: part["n"].to_numpy()).tolist() == [0, 1, 2]
    with pytest.raises(ValueError, match="medium"):
        design_numbers(study, pa.table({"design": ["medium"]}))
    with pytest.raises(ValueError, match="column design"):
        design_numbers(study, pa.table({"n": [1]}))


def test_a_changed_key_is_changed_in_every_design_but_the_count():
    study = study_from(data_of())
    changed = study.with_keys("probe", checkout_days=0.0, count=2)
    assert [design.checkout_days for design in changed.designs] == [0.0, 0.0]
    assert [design.count for design in changed.designs] == [2, 1]
    scaled = study.with_burn_limits(1.5)
    assert [design.burn_limit_m_s for design in scaled.designs] == [150.0, 300.0]
    assert scaled.probe.burn_limit_m_s == 150.0


def test_a_default_is_moved_where_a_design_leaves_it():
    study = study_from(data_of())
    idle = next(default for default in defaults_of(study) if default.key == "probe.idle_w")
    assert [design.idle_w for design in with_value(study, idle, 3.0).designs] == [3.0, 9.0]


def test_all_tanks_are_those_of_the_fullest():
    study = study_from(data_of())
    small, large = (probe_masses(own).usable_kg for own in study.by_design.values())
    assert all_tanks_kg(study, 2) == pytest.approx(small + large)
    assert all_tanks_kg(study, 3) == pytest.approx(2.0 * small + large)
    assert all_tanks_kg(study.by_design["small"], 2) == pytest.approx(2.0 * small)
