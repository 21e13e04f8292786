"""Bad input of [[approach]] and [protection]: key, found, expected; what the search does not take is said."""

import pytest

from swarm.study.approach_relations import impact_limit
from swarm.study.lowest import lowest_km
from swarm.study.schema import require_searched, require_supported, study_from, study_rows
from targets.base.errors import InputError


def study(approach, **more):
    given = (
        {
            "study": {"name": "pass", "start": "2031-03-01 TDB", "end": "2034-03-01 TDB"},
            "catalogue": {"format": "invented", "bodies": 10},
            "mothership": {
                "kind": "elements", "epoch": "2031-03-01 TDB", "a_au": 2.3, "e": 0.15, "i_deg": 4.0, "node_deg": 40.0,
                "argp_deg": 120.0, "mean_anomaly_deg": 15.0,
            },
            "probe": {"count": 4, "wet_mass_kg": 12.0, "burn_limit_m_s": 150.0},
            "science": {"rows": [{"name": "any"}]},
            "approach": [{"name": "skim", "body": "Europa"} | each for each in approach],
            **more,
        }
    )  # fmt: skip
    return study_from({key: value for key, value in given.items() if value is not None})


@pytest.mark.parametrize(
    ("approach", "key", "found", "expected"),
    [
        ({"body": "Europe"}, "approach[0].body", "Europe", "Europa? One of: Mercury"),
        (
            {"altitudes_km": [100, 1.5]},
            "approach[0].altitudes_km[1]",
            "1.5",
            "more than 2 km, the highest ground",
        ),
        ({"altitudes_km": [30], "terrain_km": 40.0}, "approach[0].altitudes_km[0]", "30", "more than 40 km"),
        ({"body": "Venus", "altitudes_km": [150]}, "approach[0].altitudes_km[0]", "150", "that is an entry"),
        (
            {"body": "Titan", "altitudes_km": [1000]},
            "approach[0].altitudes_km[0]",
            "1000",
            "more than 1270 km",
        ),
        ({"release_days_before": [3.0]}, "approach[0].release_days_before[0]", "3", "at least 3.16667"),
        ({"passages": [0]}, "approach[0].passages", "0", "numbers from 1 on"),
        ({"impact_chance_max": -0.1}, "approach[0].impact_chance_max", "-0.1", "greater than or equal to 0"),
        ({"altitude_km": [50]}, "approach[0].altitude_km", "not known", "altitudes_km?"),
    ],
)
def test_what_cannot_be_asked(approach, key, found, expected):
    with pytest.raises(InputError) as refusal:
        study([approach])
    assert refusal.value.place == key
    assert found in str(refusal.value.found)
    assert expected in refusal.value.expected


def test_a_height_that_is_no_number():
    """Said once: that the list is too short without it is no second fault."""
    with pytest.raises(InputError) as refusal:
        study([{"altitudes_km": [float("nan")]}])
    assert refusal.value.place == "approach[0].altitudes_km[0]"
    assert (refusal.value.found, refusal.value.expected) == ("nan", "a finite number")


def test_two_approaches_have_two_names():
    with pytest.raises(InputError, match="no other approach has"):
        study([{}, {}])
    assert len(study([{}, {"name": "again"}]).approach) == 2


def test_a_limit_for_a_body_that_is_none():
    with pytest.raises(InputError, match="One of: Mercury"):
        study([{}], protection={"impact_chance_max": {"Vulcan": 1e-4}})


def test_who_may_steer_is_said_by_kind():
    require_supported(study([{"steer": "carrier"}]))
    design = {
        "name": "stays", "count": 1, "wet_mass_kg": 12.0, "burn_limit_m_s": 150.0, "takes": ["orbit", "flyby"],
    }  # fmt: skip
    asked = {"kind": "orbit", "periapsis_km": [100.0], "steer": "carrier"}
    with pytest.raises(InputError, match="not computed by this version") as refusal:
        require_supported(study([asked], probe=None, designs=[design]))
    assert refusal.value.place == "approach[0].steer"
    assert refusal.value.expected == '"probe"'


def test_approaches_and_rows_of_their_kind_belong_together():
    asked = study([{}])
    require_supported(asked)
    with pytest.raises(InputError, match="what no row asks for is not searched") as refusal:
        require_searched(asked)
    assert refusal.value.place == "approach[0].kind"
    low = {"rows": [{"name": "low", "where": {"kind": "low-pass", "body": "Europa", "altitude_km_max": 100}}]}
    require_searched(study([{}], science=low))
    without = {"rows": [{"name": "low", "where": {"kind": "low-pass"}}]}
    with pytest.raises(InputError, match="which says where, how low and when"):
        require_searched(study([], science=without))
    with pytest.raises(InputError, match="flybys have nothing to do with it"):
        require_searched(study([], massive={"spk": []}))
    # the plan's own rule, whatever kind of encounter has an impact chance
    require_searched(study([], protection={"impact_chance_max": {"Europa": 1e-4}}))
    require_searched(study([]))


@pytest.mark.parametrize(
    ("where", "key"),
    [
        ({"altitude_km_max": 100}, "altitude_km_max"),
        ({"kind": "low-pass", "diameter_km_min": 1.0}, "diameter_km_min"),
        ({"kind": "low-pass", "taxonomy": ["C"]}, "taxonomy"),
        ({"kind": "low-pass", "hours_below_min": 3.0}, "hours_below_min"),
        ({"kind": "low-pass", "body": "Io"}, "body"),
        ({"kind": "low-pass", "latitude_deg": [10, -10]}, "latitude_deg"),
    ],
)
def test_a_row_asks_an_encounter_for_what_it_is_known_by(where, key):
    with pytest.raises(InputError) as refusal:
        study([{}], science={"rows": [{"name": "row", "where": where}]})
    assert refusal.value.place == f"science.rows[0].where.{key}"


def test_an_approach_is_for_designs_that_take_it():
    probe = {"name": "eye", "count": 1, "wet_mass_kg": 12.0, "burn_limit_m_s": 150.0}
    with pytest.raises(InputError, match='a design that takes "low-pass": none') as refusal:
        study([{"designs": ["eye"]}], probe=None, designs=[probe])
    assert refusal.value.place == "approach[0].designs[0]"


def test_the_tighter_limit_holds():
    asked = study([{"impact_chance_max": 1e-3}], protection={"impact_chance_max": {"Europa": 1e-4}})
    assert impact_limit(asked, asked.approach[0]) == 1e-4
    assert impact_limit(study([{}]), study([{}]).approach[0]) is None
    assert lowest_km(asked.approach[0]) == 2.0


def test_an_approach_is_shown_as_understood():
    rows = {key: value for key, value, *_ in study_rows(study([{}]))}
    assert rows["approach[0].altitudes_km"] == "[200, 100, 50, 25]"
    assert rows["approach[0].steer"] == "probe"
