"""What a slip of the schedule is: elements moved on the same path, legs solved again, files never shifted."""

import numpy as np
import pyarrow as pa
import pytest

from swarm.decide.grounds import is_shifted, slipped
from swarm.decide.sensitivity import Inputs, sensitivity
from swarm.reach.mothership.from_elements import state_at_epoch
from swarm.reach.opportunities import read_mothership
from swarm.run.workers import Pool
from swarm.study.schema import study_from
from targets.base.constants import DAY_S
from targets.base.errors import InputError
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris.spice import sample
from targets.motion.twobody import drift_states
from tests.helpers.flown_as_aimed import allowed, without_errors
from tests.helpers.mothership_files import Block, write_oem, write_spk
from tests.helpers.small_cases import make_opportunities, make_study, make_targets

pytestmark = pytest.mark.usefixtures("judged_as_aimed")

START = 2463000.5
LEGS = {
    "kind": "legs",
    "legs": [{"body": "Earth", "date": START + 10.0}, {"body": "Mars", "date": START + 260.0}],
}


def with_ship(ship, **asked):
    data = make_study().model_dump(by_alias=True, exclude_unset=True)
    data |= {"mothership": {"mass_kg": 600.0, **ship}, "sensitivity": asked}
    return study_from(data)


def answer(study):
    """The sensitivities of a plan of one probe; what is wrong with a slip is said before anything is computed."""
    table = make_opportunities([0, 1], burn_m_s=[10.0, 20.0], sun_earth_probe_deg=[90.0, 90.0])
    front = pa.table({"plan": [0], "probes": [1], "science": [0.1], "propellant_kg": [0.1], "risk": [0.5]})
    plans = pa.table({"plan": [0], "probe": [0], "opportunity": [100]})
    bodies = make_targets(["C", "S"])
    run = Inputs(table, bodies, without_errors(study, table, bodies), None, front, plans)
    return sensitivity(study, run, plan=0, catalogue=bodies, pool=Pool())


def test_elements_keep_their_path_in_space_and_come_later():
    study = make_study(mothership={"motion": "kepler"})
    late = slipped(study, 40.0)
    before, after = read_mothership(study).legs[0], read_mothership(late).legs[0]
    epochs = before.epochs_tdb_s[5:200]
    apart_km = np.linalg.norm(after.at(epochs + 40.0 * DAY_S)[:, :3] - before.at(epochs)[:, :3], axis=1)
    assert apart_km.max() < 0.01
    assert np.linalg.norm(after.at(epochs)[0, :3] - before.at(epochs)[0, :3]) > 1e7


def test_the_planets_pull_a_late_mothership_where_they_then_are():
    study = make_study()
    before, after = read_mothership(study).legs[0], read_mothership(slipped(study, 40.0)).legs[0]
    end = before.epochs_tdb_s[-100]
    apart_km = np.linalg.norm(
        after.at(np.array([end + 40.0 * DAY_S]))[0, :3] - before.at(np.array([end]))[0, :3]
    )
    assert apart_km > 100.0
    assert not is_shifted(read_mothership(study), read_mothership(slipped(study, 40.0)), 40.0)


def test_nothing_is_released_before_a_late_start():
    release = START + np.array([0.0, 39.0, 40.0, 50.0])
    table = make_opportunities(
        [0, 1, 2, 3], release_jd_tdb=release, burn_jd_tdb=release + 3.0, encounter_jd_tdb=release + 100.0,
        burn_m_s=[10.0] * 4, sun_earth_probe_deg=[90.0] * 4,
    )  # fmt: skip
    study = make_study()
    assert allowed(study, table).mask.tolist() == [True] * 4
    assert allowed(slipped(study, 40.0), table).mask.tolist() == [False, False, True, True]
    assert allowed(slipped(study, -40.0), table).mask.tolist() == [True] * 4


def test_legs_are_solved_again_to_where_the_planets_then_are():
    study = with_ship(LEGS)
    late = slipped(study, 30.0)
    before, after = read_mothership(study), read_mothership(late)
    leg = after.legs[0]
    # an hour's flight inside the quarter of a day that legs keep off the planet: within a million km of Mars
    end = leg.epochs_tdb_s[-1]
    mars_km = sample(4, np.array([end]))[0, :3]
    assert np.linalg.norm(leg.at(np.array([end]))[0, :3] - mars_km) < 2e6
    assert not is_shifted(before, after, 30.0)


def block(shift_days=0.0):
    """An invented two-body path over more than the study, and the same so much later."""
    at_start = state_at_epoch(
        a_au=2.3, e=0.1, i_deg=8.0, node_deg=40.0, argp_deg=120.0, mean_anomaly_deg=15.0
    )
    days = np.arange(-60.0, 1900.0, 4.0)
    repeated = np.broadcast_to(at_start, (len(days), 6))
    states = np.hstack(drift_states(repeated[:, :3], repeated[:, 3:], days * DAY_S))
    return Block(tdb_s_from_jd(START) + (days + shift_days) * DAY_S, states)


def file_study(folder, kind, slip_file, *, days=30.0):
    (folder / "own").mkdir()
    if kind == "oem":
        own = {"kind": "oem", "file": str(write_oem(folder / "own", [block()]))}
    else:
        own = {"kind": "spk", "file": str(write_spk(folder / "own", [block()])), "spk_id": -731}
    return with_ship(own, slip_files=[{"days": days, "file": str(slip_file)}], burn_limit_fraction=0.0)


@pytest.mark.parametrize("kind", ["oem", "spk"])
def test_a_file_shifted_in_time_is_refused(tmp_path, kind):
    write = write_oem if kind == "oem" else write_spk
    study = file_study(tmp_path, kind, write(tmp_path, [block(30.0)]))
    with pytest.raises(InputError, match="not shifted in time") as refused:
        answer(study)
    assert "a path computed for the slip" in str(refused.value)


def test_a_path_of_its_own_is_not_taken_for_a_shifted_one(tmp_path):
    study = file_study(tmp_path, "oem", write_oem(tmp_path, [block(30.0)]), days=31.0)
    other = study.model_copy(
        update={
            "mothership": study.mothership.model_copy(update={"file": study.sensitivity.slip_files[0].file})
        }
    )
    assert is_shifted(read_mothership(study), read_mothership(other), 30.0)
    assert not is_shifted(read_mothership(study), read_mothership(other), 31.0)
    assert not is_shifted(read_mothership(study), read_mothership(other), 4000.0)


@pytest.mark.parametrize("kind", ["oem", "spk"])
def test_days_alone_are_refused_for_a_file(kind):
    own = {"kind": kind, "file": "mothership.oem"} | ({"spk_id": -731} if kind == "spk" else {})
    with pytest.raises(InputError) as refused:
        with_ship(own, slips_days=[30.0])
    assert "sensitivity.slips_days" in str(refused.value)
    assert 'slip_files = [{ days = 30, file = "..." }]' in str(refused.value)
    with pytest.raises(InputError, match="the study's own file is not shifted"):
        with_ship(own, slip_files=[{"days": 30.0, "file": "mothership.oem"}])
    with pytest.raises(InputError, match="not shifted in time"):
        slipped(with_ship(own), 30.0)


def test_files_are_refused_for_what_is_solved_again():
    with pytest.raises(InputError, match=r"sensitivity\.slip_files"):
        with_ship(LEGS, slip_files=[{"days": 30.0, "file": "mothership.oem"}])
    for days in ([0.0], [30.0, 30.0]):
        with pytest.raises(InputError, match="days other than 0, each once"):
            with_ship(LEGS, slips_days=days)


def test_a_slip_without_a_path_is_said_with_its_place():
    # both planets long behind the end of the study
    study = with_ship(LEGS, slips_days=[3000.0], burn_limit_fraction=0.0)
    with pytest.raises(InputError, match=r"sensitivity\.slips_days\[0\]"):
        answer(study)
