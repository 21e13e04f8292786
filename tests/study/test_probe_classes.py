"""Built-in classes: what a study gets from one, what it overrides, and what `swarm check` says about it."""

from __future__ import annotations

import copy
import pickle
import tomllib
from typing import Any

import pytest

from swarm.study.probe_classes import CLASSES
from swarm.study.schema import ProbeSettings, study_from, study_rows
from targets.base.errors import InputError
from tests.helpers.places import FIREWEED

DATA = tomllib.loads(FIREWEED.read_text(encoding="utf-8"))


def study(**keys: Any):
    data = copy.deepcopy(DATA)
    data["probe"] = {"count": 2, **keys}
    return study_from(data)


@pytest.mark.parametrize("name", list(CLASSES))
def test_a_class_alone_is_enough(name: str) -> None:
    probe = study(**{"class": name}).probe
    assert probe.wet_mass_kg == CLASSES[name]["wet_mass_kg"].value
    for key, entry in CLASSES[name].items():
        assert getattr(probe, key) == entry.value
        assert entry.low <= entry.value <= entry.high
        assert entry.source


def test_a_given_key_wins_and_check_says_where_each_value_is_from() -> None:
    rows = {
        key: (value, source)
        for key, value, _, source in study_rows(study(**{"class": "3U", "transmit_w": 3.5}))
    }
    assert rows["probe.transmit_w"] == ("3.5", "study file")
    assert rows["probe.class"] == ("3U", "study file")
    value, source = rows["probe.limiting_mag"]
    assert value == "7"
    assert source.startswith("class 3U (6-9): ")
    # a key the class does not know keeps the schema's default and its source
    assert rows["probe.line_loss_db"][1].startswith("from memory")


def test_without_a_class_mass_and_burn_limit_must_be_given() -> None:
    with pytest.raises(InputError, match="wet_mass_kg"):
        study(burn_limit_m_s=100.0)
    assert study(wet_mass_kg=12.0, burn_limit_m_s=150.0).probe.class_ is None


def test_the_6u_is_the_schema_s_default() -> None:
    """A study without a class and one of class 6U are the same probe."""
    plain, named = study(wet_mass_kg=12.0, burn_limit_m_s=150.0).probe, study(**{"class": "6U"}).probe
    assert plain.model_dump(exclude={"class_"}) == named.model_dump(exclude={"class_"})


def test_class_values_keep_the_limits_of_the_keys() -> None:
    for name in CLASSES:
        assert set(CLASSES[name]) <= set(ProbeSettings.model_fields)
    with pytest.raises(InputError, match=r"probe\.class"):
        study(**{"class": "5U"})
    with pytest.raises(InputError, match="greater than 0"):
        study(**{"class": "6U", "transmit_w": -1.0})


def test_a_study_with_a_class_travels_to_a_worker() -> None:
    before = study(**{"class": "12U"})
    after = pickle.loads(pickle.dumps(before))
    assert study_rows(after) == study_rows(before)


def test_storage_is_short_without_care() -> None:
    assert study(**{"class": "6U"}).probe.storage_limit_days == 2190.0
    assert study(**{"class": "6U", "keepalive_w": 0.0}).probe.storage_limit_days == 365.0
