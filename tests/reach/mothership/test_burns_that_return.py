"""A burn that leads back: Lambert's problem beside pykep, the old path afterwards, and a passage flown differently."""

import numpy as np
import pytest

from swarm.reach.arcs.pykep_core import lambert_branches
from swarm.reach.arcs.transition import transition_matrix
from swarm.reach.mothership.flybys import meeting, planet_named
from swarm.reach.mothership.sources import mothership_of
from swarm.reach.opportunities import read_mothership
from swarm.study.schema import study_from
from targets.base.constants import DAY_S, GM_SUN_KM3_S2
from targets.base.errors import InputError
from targets.base.timescale import parse_tdb_jd, tdb_s_from_jd
from targets.ephemeris import spice
from targets.motion.twobody import drift_states
from tests.helpers.belt_study import belt_study
from tests.helpers.quiet_motherships import study_of

DATE, BACK = "2032-03-01 TDB", "2032-12-26 TDB"
# Earth, Venus, Earth: found by a search of this project's own; speeds at Venus within 1 m/s, 2100 km of altitude.
LEGS = [
    {"body": "Earth", "date": "2031-06-01 TDB"},
    {"body": "Venus", "date": "2031-09-17 TDB"},
    {"body": "Earth", "date": "2032-05-30 TDB"},
]


def tdb_s(date):
    return float(tdb_s_from_jd(parse_tdb_jd(date)))


def entry(burn, date=DATE, back=BACK):
    values = dict(zip(("x_m_s", "y_m_s", "z_m_s"), burn, strict=True))
    return {"date": date, **values, **({} if back is None else {"return_by": back})}


def flown(*burns, motion="kepler"):
    data = belt_study(motion).model_dump(mode="json", by_alias=True, exclude_unset=True)
    data["mothership"] |= {"burns": list(burns)}
    return read_mothership(study_from(data))


def by_venus(planet_table, *burns, **more):
    ship = {"kind": "legs", "legs": LEGS, "burns": list(burns), **more}
    return mothership_of(study_of(ship, start="2031-05-01 TDB", end="2032-08-01 TDB"), planet_table)


def test_the_second_burn_solves_lambert_s_problem_as_pykep_does():
    """Two-body: half a revolution at most, so the direct arc of the path's own sense is the one."""
    old, ship = flown().legs[0], flown(entry((30.0, -20.0, 10.0)))
    assert len(ship.legs) == 4
    second, third = ship.legs[2], ship.legs[3]
    assert second.start_tdb_s == pytest.approx(0.5 * (tdb_s(DATE) + tdb_s(BACK)))
    goal = old.at(tdb_s(BACK))[0]
    found = [
        velocity
        for clockwise in (False, True)
        for velocity in zip(
            *lambert_branches(
                second.states[0, :3], goal[:3], tdb_s(BACK) - second.start_tdb_s,
                mu_km3_s2=GM_SUN_KM3_S2, clockwise=clockwise, revolutions_max=0,
            ),
            strict=True,
        )
    ]  # fmt: skip
    leaving, arriving = min(found, key=lambda pair: np.linalg.norm(pair[0] - second.states[0, 3:]))
    np.testing.assert_allclose(second.states[0, 3:], leaving, rtol=0, atol=1e-9)
    np.testing.assert_allclose(ship.burns[2].change_km_s, goal[3:] - arriving, rtol=0, atol=1e-9)
    assert np.array_equal(third.states, old.at(third.epochs_tdb_s))


@pytest.mark.parametrize("motion", ["kepler", "perturbed"])
def test_after_the_return_the_path_is_the_old_one(motion):
    old, ship = flown(motion=motion).legs[0], flown(entry((5.0, 5.0, -5.0)), motion=motion)
    back = ship.legs[3]
    assert np.array_equal(back.states, old.at(back.epochs_tdb_s))
    assert np.linalg.norm(ship.legs[2].states[-1, :3] - old.at(tdb_s(BACK))[0, :3]) < 1e-2
    assert np.linalg.norm(ship.legs[1].states[-1, :3] - old.at(ship.legs[1].epochs_tdb_s[-1])[0, :3]) > 1e4
    # velocities join by the burns, and by nothing else
    for before, after, burn in zip(ship.legs, ship.legs[1:], ship.burns, strict=False):
        jump = after.states[0, 3:] - before.states[-1, 3:]
        np.testing.assert_allclose(jump, burn.change_km_s, rtol=0, atol=1e-8)


def test_what_a_return_costs_is_what_the_linear_map_says():
    """1 m/s: with position blocks by velocity M, dv2 = -M(2, 3)^-1 M(1, 3) dv1, to a thousandth."""
    old, ship = flown().legs[0], flown(entry((0.0, 1.0, 0.0)))
    at_s, second_s, back_s = tdb_s(DATE), ship.burns[1].at_tdb_s, tdb_s(BACK)

    def by_velocity(begin, end):
        state = old.at(begin)[0]
        return transition_matrix(state[:3], state[3:], end - begin)[:3, 3:]

    first = ship.burns[0].change_km_s
    said = -np.linalg.solve(by_velocity(second_s, back_s), by_velocity(at_s, back_s) @ first)
    np.testing.assert_allclose(ship.burns[1].change_km_s, said, rtol=0, atol=1e-3 * np.linalg.norm(said))


def test_a_passage_met_on_another_way_is_flown_as_its_rules_say(planet_table):
    """The planet is met at its date, with the speed that the new way brings; what comes after is the old path."""
    quiet = by_venus(planet_table)
    ship = by_venus(planet_table, entry((4.0, -3.0, 2.0), "2031-07-01 TDB", "2031-09-17 TDB"))
    assert len(ship.burns) == 2
    assert len(ship.legs) == 4
    met_s = tdb_s("2031-09-17 TDB")
    last = ship.legs[2]
    end = last.states[-1]
    reached, velocity = drift_states(end[None, :3], end[None, 3:], np.array([met_s - last.epochs_tdb_s[-1]]))
    venus = spice.sample(299, np.array([met_s]))[0]
    assert np.linalg.norm(reached[0] - venus[:3]) < 1.0
    (old,), (new,) = quiet.flybys, ship.flybys
    assert np.linalg.norm(new.v_inf_in_km_s - old.v_inf_in_km_s) > 1e-4
    np.testing.assert_allclose(new.v_inf_in_km_s, velocity[0] - venus[3:], rtol=0, atol=1e-9)
    assert np.array_equal(new.v_inf_out_km_s, old.v_inf_out_km_s)
    again = meeting(
        planet_named("Venus"), velocity[0] - venus[3:], old.v_inf_out_km_s, at_tdb_s=met_s, clear_s=DAY_S,
        altitude_min_km=old.altitude_min_km, mismatch_max_m_s=old.mismatch_max_m_s,
    )  # fmt: skip
    assert new.altitude_km == pytest.approx(again.altitude_km, abs=1e-3)
    assert new.manoeuvre_m_s == pytest.approx(again.manoeuvre_m_s, abs=1e-6)
    assert new.sentence() in ship.notes
    assert old.sentence() not in ship.notes
    assert np.array_equal(ship.legs[3].states, quiet.legs[1].states)


def test_what_cannot_lead_back_is_refused(planet_table):
    with pytest.raises(InputError, match=r"burns\[0\].return_by"):
        flown(entry((1.0, 0.0, 0.0), back="2032-03-03 TDB"))
    with pytest.raises(InputError, match="none before the mothership is back"):
        flown(entry((1.0, 0.0, 0.0)), entry((1.0, 0.0, 0.0), "2032-06-01 TDB", None))
    with pytest.raises(InputError, match="its leg ends before"):
        by_venus(planet_table, entry((1.0, 0.0, 0.0), "2031-07-01 TDB", "2031-12-17 TDB"))
