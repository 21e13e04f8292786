"""A mothership that burns on its way, against a path begun from the burned state and against the linear map."""

import numpy as np
import pytest

from swarm.reach.arcs.transition import transition_matrix
from swarm.reach.opportunities import read_mothership
from swarm.study.schema import study_from
from targets.base.constants import DAY_S
from targets.base.errors import InputError
from targets.base.timescale import parse_tdb_jd, tdb_s_from_jd
from targets.motion.twobody import drift_states
from tests.helpers.belt_study import belt_study

DATE = "2032-03-01 TDB"
AT_S = float(tdb_s_from_jd(parse_tdb_jd(DATE)))


def burned(*burns, motion="kepler", **ship):
    study = belt_study(motion)
    data = study.model_dump(mode="json", by_alias=True, exclude_unset=True)
    data["mothership"] |= {
        "burns": [dict(zip(("date", "x_m_s", "y_m_s", "z_m_s"), b, strict=True)) for b in burns]
    }
    return read_mothership(study_from(data))


def test_a_burn_of_nothing_changes_nothing():
    """Perturbed: beside the path without a burn, between nodes good to metres (own bound 100 m after two years)."""
    as_given, cut = read_mothership(belt_study()), burned((DATE, 0.0, 0.0, 0.0), motion="perturbed")
    assert len(cut.legs) == 2
    last = cut.legs[1].epochs_tdb_s[-1]
    assert last == pytest.approx(as_given.legs[0].epochs_tdb_s[-1], abs=1e-3)
    apart_km = np.linalg.norm((cut.legs[1].at(last) - as_given.legs[0].at(last))[:, :3])
    assert apart_km < 0.1


def test_a_burn_is_the_two_body_path_from_the_burned_state():
    ship = burned((DATE, 30.0, -20.0, 10.0))
    state = burned().legs[0].at(AT_S)[0]
    state[3:] += np.array([0.030, -0.020, 0.010])
    later = AT_S + np.array([1.5, 200.25, 600.0]) * DAY_S
    r, v = drift_states(np.tile(state[:3], (3, 1)), np.tile(state[3:], (3, 1)), later - AT_S)
    np.testing.assert_allclose(ship.legs[1].at(later), np.hstack([r, v]), rtol=0, atol=1e-3)


def test_under_the_planets_a_small_burn_moves_it_as_the_linear_map_says():
    """1 m/s, 300 days on: the two-body map is right to 1 % of some 25 000 km beside the planets' pull on the change."""
    date_s = AT_S + 300.0 * DAY_S
    there = burned((DATE, 0.0, 1.0, 0.0), motion="perturbed").legs[1].at(date_s)[0]
    without = read_mothership(belt_study()).legs[0]
    moved_km = there[:3] - without.at(date_s)[0, :3]
    at = without.at(AT_S)[0]
    said_km = transition_matrix(at[:3], at[3:], 300.0 * DAY_S)[:3, 4] * 1e-3
    assert np.linalg.norm(said_km) > 10_000.0
    assert np.linalg.norm(moved_km - said_km) < 0.01 * np.linalg.norm(said_km)


def test_burns_are_flown_in_order_of_date():
    early, late = (DATE, 5.0, 0.0, 0.0), ("2033-03-01 TDB", 0.0, 5.0, 0.0)
    one, other = burned(early, late), burned(late, early)
    assert len(one.legs) == 3
    assert all(np.array_equal(a.states, b.states) for a, b in zip(one.legs, other.legs, strict=True))


def test_a_burn_outside_the_legs_is_refused():
    """Within a day of the end of the path."""
    with pytest.raises(InputError, match=r"mothership.burns\[0\].date"):
        burned(("2034-02-28T20:00:00 TDB", 1.0, 0.0, 0.0))


def test_a_burn_before_a_passage_is_refused():
    """It would miss the planet: nothing targets it again."""
    data = belt_study().model_dump(mode="json", by_alias=True, exclude_unset=True)
    data["mothership"] = {
        "kind": "legs",
        "legs": [
            {"body": "Earth", "date": "2031-03-01 TDB"},
            {"body": "Mars", "date": "2032-01-15 TDB"},
            {"body": "Earth", "date": "2033-09-01 TDB"},
        ],
        "burns": [{"date": "2031-08-01 TDB", "x_m_s": 1.0, "y_m_s": 0.0, "z_m_s": 0.0}],
    }
    with pytest.raises(InputError, match="the mothership would miss it"):
        read_mothership(study_from(data))
    data["mothership"]["burns"][0]["date"] = "2033-01-01 TDB"
    assert len(read_mothership(study_from(data)).legs) == 3
