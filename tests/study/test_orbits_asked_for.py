"""Keys of orbits: what is refused, by key, with what was found and expected."""

from pathlib import Path

import pytest

from swarm.study.approach_relations import unsearched
from swarm.study.by_design import takers
from swarm.study.schema import read_study, require_files, study_from
from swarm.study.toml_file import read_toml
from targets.base.errors import InputError
from tests.helpers.places import ROOT

FILE = ROOT / "runs" / "yarrow" / "study.toml"


def asked(approach=0, *, design=None, row=None, **keys):
    data = read_toml(FILE, what="the study")
    data["approach"][approach].update(keys)
    if design is not None:
        data["designs"][0].update(design)
    if row is not None:
        data["science"]["rows"][0]["where"] = row
    return study_from(data)


def test_the_demonstration_is_understood():
    study = read_study(FILE)
    assert list(takers(study, "orbit", study.approach[0].designs)) == ["spiral"]
    assert list(takers(study, "orbit", study.approach[1].designs)) == ["stop"]
    assert study.designs[0].instruments[0].radius_km == 25.0
    assert study.designs[0].duty == 0.9


@pytest.mark.parametrize(
    ("change", "key", "expected"),
    [
        ({"periapsis_km": [5]}, "approach[0].periapsis_km[0]", "more than 8 km, the highest ground of Moon"),
        ({"terrain_km": 20.0}, "approach[0].periapsis_km[0]", "more than 20 km"),
        ({"apoapsis_km": [10]}, "approach[0].apoapsis_km", "a height of at least a periapsis, 15"),
        ({"apoapsis_km": [90_000]}, "approach[0].apoapsis_km", "the sphere of influence"),
        ({"altitude_range_km": [100, 20]}, "approach[0].altitude_range_km", "the lower height first"),
        (
            {"altitude_range_km": [200, 300]},
            "approach[0].periapsis_km",
            "one within altitude_range_km, 200 to 300",
        ),
        ({"designs": ["none"]}, "approach[0].designs[0]", "a design: spiral, stop, by"),
        ({"designs": ["by"]}, "approach[0].designs[0]", 'a design that takes "orbit"'),
        ({"designs": ["stop"]}, "approach[0].capture", 'designs with propulsion = "electric"'),
        ({"capture": "impulsive"}, "approach[0].capture", 'designs with propulsion = "chemical"'),
        ({"altitudes_km": [50]}, "approach[0].altitudes_km", 'none with kind = "orbit"'),
        ({"kind": "low-pass"}, "approach[0].periapsis_km", 'none with kind = "low-pass"'),
        ({"design": {"duty": 0.0}}, "designs[0].duty", "greater than 0"),
        (
            {"row": {"hours_below_min": 3}},
            "science.rows[0].where.hours_below_min",
            'no such key with kind = "flyby"',
        ),
        (
            {"row": {"kind": "orbit", "latitude_deg": [10, -10]}},
            "science.rows[0].where.latitude_deg",
            "the southern latitude first",
        ),
    ],
)
def test_what_cannot_be_is_named(change, key, expected):
    with pytest.raises(InputError) as refused:
        asked(**change)
    assert key in str(refused.value)
    assert expected in str(refused.value)


def test_a_periapsis_is_needed_and_an_atmosphere_is_an_entry():
    data = read_toml(FILE, what="the study")
    del data["approach"][0]["periapsis_km"]
    with pytest.raises(InputError, match=r"approach\[0\]\.periapsis_km"):
        study_from(data)
    with pytest.raises(InputError, match="below, that is an entry"):
        asked(body="Titan", terrain_km=4.0, periapsis_km=[900], apoapsis_km=[2000])


def test_the_search_takes_the_demonstration():
    assert list(unsearched(read_study(FILE))) == []


def test_a_table_of_gravity_that_is_not_there_is_missed():
    data = read_toml(FILE, what="the study")
    data["massive"] = {"gravity": {"Moon": "none.tab"}}
    study = study_from(data)
    study._base = Path(FILE.parent)
    with pytest.raises(InputError, match=r"massive\.gravity\.Moon"):
        require_files(study, file=FILE)
