"""Every default is either moved within a range or not moved for a reason that is said."""

from __future__ import annotations

import pytest

from swarm.study.fields import unit_of
from swarm.study.probe_classes import CLASSES
from swarm.study.ranges import NOT_MOVED, RANGES, SECTIONS, defaults_of, with_value
from swarm.study.whole_study import Study
from tests.helpers.small_cases import make_study


def numbers_with_a_default() -> set[str]:
    found = set()
    for section in SECTIONS:
        for name, field in Study.model_fields[section].annotation.model_fields.items():
            if isinstance(field.default, int | float) and not isinstance(field.default, bool):
                found.add(f"{section}.{name}")
    return found


def test_each_has_a_range_or_a_reason() -> None:
    known = numbers_with_a_default()
    assert known == {key for key in RANGES if key.split(".")[0] in SECTIONS} | set(NOT_MOVED)
    assert not set(RANGES) & set(NOT_MOVED)
    assert all(NOT_MOVED.values())


@pytest.mark.parametrize("key", sorted(RANGES))
def test_a_range_holds_its_default_has_a_source_and_can_be_given(key: str) -> None:
    section, name = key.split(".")
    field = Study.model_fields[section].annotation.model_fields[name]
    low, high, source = RANGES[key]
    assert low <= field.default <= high
    assert low < high
    assert source
    for value in (low, high):
        number = int(value) if isinstance(field.default, int) else value
        # validated as a value of a study file is
        # the phases of a probe's life are told apart by one of the models only
        model = (
            {"model": "weibull"}
            if section == "survival" and name not in ("success", "shared_fraction")
            else {}
        )
        assert getattr(make_study(**{section: {**model, name: number}}), section).__dict__[name] == number


def test_what_the_study_sets_is_not_moved_and_a_class_has_its_own_ranges() -> None:
    study = make_study(probe={"class": "3U", "idle_w": 4.0}, survival={"model": "weibull"})
    left = {default.key: default for default in defaults_of(study)}
    assert not {"probe.idle_w", "probe.wet_mass_kg", "probe.burn_limit_m_s"} & set(left)
    # the weibull model does not read the one chance of the simple one
    assert "survival.success" not in left
    assert "survival.dormancy" in left
    ifov = left["probe.camera_ifov_urad"]
    assert (ifov.value, ifov.range.low, ifov.range.high) == CLASSES["3U"]["camera_ifov_urad"][:3]
    assert ifov.range.source.startswith("class 3U: ")
    assert ifov.unit == unit_of(Study.model_fields["probe"].annotation.model_fields["camera_ifov_urad"])
    moved = with_value(study, left["probe.camera_pixels"], 1024.0)
    assert (moved.probe.camera_pixels, study.probe.camera_pixels) == (1024, 2048)


def test_the_quality_of_a_row_is_moved_where_the_row_leaves_it() -> None:
    study = make_study([{"name": "a"}, {"name": "b", "quality_min": 0.3}])
    (row,) = [default for default in defaults_of(study) if "quality_min" in default.key]
    assert row.key == "science.rows[0].quality_min"
    moved = with_value(study, row, 0.2)
    assert [one.quality_min for one in moved.science.rows] == [0.2, 0.3]
