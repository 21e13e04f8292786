"""A mothership that burns before a passage and meets the planet on another way: every rule of flybys is kept."""

import math

import numpy as np
import pytest

from swarm.app.carriers.by_expectation import planets_of
from swarm.app.carriers.listed import Carrier, NoStudy, listed
from swarm.app.carriers.retarget import Offer, Proposing, burning, ship_propellant_kg, spread_burns
from swarm.reach.opportunities import read_mothership
from swarm.study.schema import read_study
from swarm.study.sections.choices import ChoiceSettings
from targets.base.timescale import parse_tdb_jd
from tests.helpers.batch_of_four import BASE
from tests.helpers.command_line import IN_THE_BELT

BUDGET_M_S = 90.0
# Earth, Mars, Jupiter: found by a search of this project's own over dates 20 days apart.
TOUR = """[mothership]
kind = "legs"
flyby_altitude_min_km = {altitude}
flyby_mismatch_max_m_s = {mismatch}
legs = [
    {{ body = "Earth", date = "2031-02-09 TDB" }},
    {{ body = "Mars", date = "2031-05-20 TDB" }},
    {{ body = "Jupiter", date = "2033-06-18 TDB" }},
]
[mothership.retarget]
dates = ["2031-03-01 TDB"]
budget_m_s = 90.0
isp_s = 300.0
return_by = "2031-05-20 TDB"
"""
# From planets' constants as published: GM of Mars (DE440), equatorial radius (IAU 2015).
GM_MARS, R_MARS = 42828.375816, 3396.19


def asked_of(folder, *, altitude=100.0, mismatch=1000.0, limits=None):
    folder.mkdir(exist_ok=True)
    path = folder / "study.toml"
    tour = TOUR.format(altitude=altitude, mismatch=mismatch)
    path.write_text(BASE.replace(IN_THE_BELT, tour).replace("2031-03-01 TDB", "2031-02-10 TDB", 1), "utf-8")
    (carrier, *_), _ = listed(path)
    asked = read_study(path).mothership.retarget
    ship = read_mothership(carrier.study)
    return Proposing(carrier, ship, asked, asked.isp_s, limits, planets_of([carrier.study]))


def answers(ask):
    burns = 0.3 * BUDGET_M_S * spread_burns()[-800::40]
    return [burning(ask, Offer(0.0, parse_tdb_jd("2031-03-01 TDB"), burn)) for burn in burns]


def altitude_km(flyby):
    """Half the turn: sin = 1 / (1 + r v^2 / GM) on each side, the two sides add up to the turn; by bisection."""
    speeds = [float(np.linalg.norm(v)) for v in (flyby.v_inf_in_km_s, flyby.v_inf_out_km_s)]
    turn = math.acos(float(flyby.v_inf_in_km_s @ flyby.v_inf_out_km_s) / (speeds[0] * speeds[1]))
    low, high = 1.0, 1e7
    for _ in range(200):
        r = 0.5 * (low + high)
        if sum(math.asin(1.0 / (1.0 + r * v**2 / GM_MARS)) for v in speeds) > turn:
            low = r
        else:
            high = r
    return low - R_MARS


def test_what_is_proposed_flies_by_high_enough_and_the_rest_is_refused(tmp_path):
    free = asked_of(tmp_path / "free", altitude=0.0)
    (quiet,) = free.ship.flybys
    ask = asked_of(tmp_path / "asked", altitude=quiet.altitude_km - 1.0)
    made = answers(ask)
    flown = [each for each in made if isinstance(each, Carrier)]
    refused = [each for each in made if isinstance(each, NoStudy)]
    assert flown
    assert refused
    for each in flown:
        (flyby,) = read_mothership(each.study).flybys
        assert altitude_km(flyby) == pytest.approx(flyby.altitude_km, abs=0.1)
        assert altitude_km(flyby) >= quiet.altitude_km - 1.0 - 0.1
        assert abs(flyby.altitude_km - quiet.altitude_km) > 1e-3
    assert all("too low" in each.why for each in refused)
    assert all(isinstance(each, Carrier) for each in answers(free))


def test_a_flyby_that_needs_no_manoeuvre_does_not_come_to_need_one(tmp_path):
    (quiet,) = asked_of(tmp_path / "free", altitude=0.0).ship.flybys
    tight = abs(quiet.mismatch_m_s) + 1.0
    made = answers(asked_of(tmp_path / "tight", altitude=0.0, mismatch=tight))
    refused = [each for each in made if isinstance(each, NoStudy)]
    assert refused
    assert len(refused) < len(made)
    assert all("not flyable without a manoeuvre" in each.why for each in refused)
    allowed = ChoiceSettings(grid={}, manoeuvre_max_m_s=quiet.manoeuvre_m_s + 1e4)
    ask = asked_of(tmp_path / "allowed", altitude=0.0, mismatch=tight, limits=allowed)
    assert all(isinstance(each, Carrier) for each in answers(ask))


def test_burns_and_what_flybys_take_more_are_charged_within_the_budget(tmp_path):
    ask = asked_of(tmp_path / "free", altitude=0.0)
    (before,) = ask.ship.flybys
    for each in answers(ask):
        ship = read_mothership(each.study)
        (after,) = ship.flybys
        burnt = sum(1e3 * float(np.linalg.norm(burn.change_km_s)) for burn in ship.burns)
        assert len(ship.burns) == 2
        more = max(after.manoeuvre_m_s - before.manoeuvre_m_s, 0.0)
        assert each.burn_m_s == pytest.approx(burnt + more, abs=1e-9)
        assert each.burn_m_s <= BUDGET_M_S
        kilograms = ship_propellant_kg(each.study.mothership.mass_kg, each.burn_m_s, 300.0)
        assert each.burn_kg == pytest.approx(kilograms, rel=1e-12)
