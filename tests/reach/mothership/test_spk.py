"""SPK files written by SPICE's own writers, read back; bad ones refused."""

import itertools

import numpy as np
import pytest
import spiceypy

from swarm.reach.mothership.sources import mothership_of
from targets.base.constants import DAY_S
from targets.base.errors import InputError
from targets.base.frames import ecliptic_from_icrf
from targets.motion.twobody import drift_states
from tests.helpers.mothership_files import FIREWEED, Block, write_spk
from tests.helpers.quiet_motherships import END_TDB_S, START_TDB_S, daily, orbit, study_of

HALF = 0.5 * (START_TDB_S + END_TDB_S)
MIDDLES = daily()[:-1] + 0.41 * DAY_S


def block(first=START_TDB_S, last=END_TDB_S):
    epochs = daily(first, last)
    return Block(epochs, orbit(epochs))


def followed(folder, planet_table, spk_id=FIREWEED):
    return mothership_of(
        study_of({"kind": "spk", "file": "mothership.bsp", "spk_id": spk_id}, base=folder), planet_table
    )


def largest_km(path, epochs):
    return np.linalg.norm((path.at(epochs) - orbit(epochs))[:, :3], axis=1).max()


@pytest.mark.parametrize("kind", [5, 9, 13])
def test_types_written_by_spice_are_read(tmp_path, planet_table, kind):
    write_spk(tmp_path, [block()], kind=kind)
    ship = followed(tmp_path, planet_table)
    (path,) = ship.legs
    assert (path.start_tdb_s, path.epochs_tdb_s[-1]) == pytest.approx((START_TDB_S, END_TDB_S), abs=1e-5)
    assert largest_km(path, MIDDLES) < 1e-3


def test_chebyshev_segments_are_read(tmp_path, planet_table):
    """Type 3, three intervals of a 24th-degree fit."""
    edges = np.linspace(START_TDB_S, END_TDB_S, 13)
    records = []
    for first, last in itertools.pairwise(edges):
        x = np.cos(np.pi * (np.arange(40) + 0.5) / 40)
        states = orbit(0.5 * (first + last) + 0.5 * (last - first) * x)
        records.append(np.polynomial.chebyshev.chebfit(x, states, 16).T)
    handle = spiceypy.spkopn(str(tmp_path / "mothership.bsp"), "FIREWEED", 0)
    spiceypy.spkw03(
        handle, FIREWEED, 10, "J2000", START_TDB_S, END_TDB_S, "test", float(edges[1] - edges[0]), len(records), 16,
        np.ascontiguousarray(np.array(records)).ravel(), START_TDB_S,
    )  # fmt: skip
    spiceypy.spkcls(handle)
    assert largest_km(followed(tmp_path, planet_table).legs[0], MIDDLES) < 1e-2


def test_another_centre_and_frame(tmp_path, planet_table):
    epochs = daily()
    earth = np.array([spiceypy.spkgeo(399, t, "J2000", 10)[0] for t in epochs])
    relative = orbit(epochs) - earth
    ecliptic = np.hstack([ecliptic_from_icrf(relative[:, :3]), ecliptic_from_icrf(relative[:, 3:])])
    write_spk(tmp_path, [Block(epochs, ecliptic)], center=399, frame="ECLIPJ2000")
    # relative to the Earth the Moon's month is in the states, which are two days apart
    assert largest_km(followed(tmp_path, planet_table).legs[0], MIDDLES) < 5.0


def kicked(first, last, kick_km_s):
    epochs = daily(first, last)
    state = orbit(np.array([first]))[0]
    state[3:] += kick_km_s
    repeated = np.broadcast_to(state, (len(epochs), 6))
    return Block(epochs, np.hstack(drift_states(repeated[:, :3], repeated[:, 3:], epochs - first)))


@pytest.mark.parametrize(("kick_m_s", "legs"), [(0.0, 1), (2.0, 2)])
def test_a_velocity_step_between_segments_ends_a_leg(tmp_path, planet_table, kick_m_s, legs):
    later = kicked(HALF, END_TDB_S, np.array([0.0, 0.0, kick_m_s / 1000.0]))
    write_spk(tmp_path, [block(last=HALF), later])
    ship = followed(tmp_path, planet_table)
    assert len(ship.legs) == legs
    assert ship.legs[-1].epochs_tdb_s[-1] == pytest.approx(END_TDB_S, abs=1e-5)
    if legs == 2:
        assert ship.legs[0].epochs_tdb_s[-1] == pytest.approx(HALF, abs=1e-5)
        step = ship.legs[1].states[0] - ship.legs[0].states[-1]
        assert np.linalg.norm(step[:3]) < 1e-3
        assert 1000.0 * np.linalg.norm(step[3:]) == pytest.approx(kick_m_s, rel=1e-6)


def test_the_kernels_of_the_process_are_as_before(tmp_path, planet_table):
    write_spk(tmp_path, [block()])
    before = spiceypy.ktotal("ALL")
    followed(tmp_path, planet_table)
    assert spiceypy.ktotal("ALL") == before
    with pytest.raises(InputError):
        followed(tmp_path, planet_table, spk_id=-5)
    assert spiceypy.ktotal("ALL") == before


def refused(folder, planet_table, spk_id=FIREWEED):
    with pytest.raises(InputError) as caught:
        followed(folder, planet_table, spk_id)
    message = str(caught.value)
    assert "mothership.bsp" in message.splitlines()[0]
    assert "expected:" in message
    return message


def test_a_body_that_is_not_in_the_file(tmp_path, planet_table):
    write_spk(tmp_path, [block()])
    message = refused(tmp_path, planet_table, spk_id=-5)
    assert "-5" in message
    assert str(FIREWEED) in message


def test_a_gap_in_coverage(tmp_path, planet_table):
    write_spk(tmp_path, [block(last=HALF - 100.0), block(first=HALF)])
    message = refused(tmp_path, planet_table)
    assert "a gap" in message
    assert "100.000 s" in message
    assert "stretch 1" in message


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (START_TDB_S + DAY_S, END_TDB_S, "the start of the study"),
        (START_TDB_S, END_TDB_S - DAY_S, "the end of the study"),
        (END_TDB_S + DAY_S, END_TDB_S + 90.0 * DAY_S, "outside the study"),
    ],
)
def test_dates_that_do_not_cover_the_study(tmp_path, planet_table, first, last, words):
    write_spk(tmp_path, [block(first, last)])
    assert words in refused(tmp_path, planet_table)


def test_a_centre_that_nobody_places(tmp_path, planet_table):
    write_spk(tmp_path, [block()], center=-999)
    assert "SPICE" in refused(tmp_path, planet_table)


def test_a_file_cut_off(tmp_path, planet_table):
    file = write_spk(tmp_path, [block()])
    whole = file.read_bytes()
    for part in (0, 300, 2000, len(whole) // 2):
        file.write_bytes(whole[:part])
        refused(tmp_path, planet_table)


def test_another_file(tmp_path, planet_table):
    (tmp_path / "mothership.bsp").write_text("CCSDS_OEM_VERS = 2.0\n" * 100)
    refused(tmp_path, planet_table)


def test_no_file(tmp_path, planet_table):
    assert "not there" in refused(tmp_path, planet_table)


def test_a_file_over_which_spice_aborts_costs_its_own_process_only(tmp_path, planet_table, monkeypatch):
    """As a damaged file does: the process that reads it ends without an answer."""
    write_spk(tmp_path, [block()])
    monkeypatch.setattr("targets.ephemeris.spk_reader.sys.executable", "/bin/false")
    assert "SPICE ends over this file" in refused(tmp_path, planet_table)


def test_a_process_that_never_answers_is_not_waited_for(tmp_path, planet_table, monkeypatch):
    write_spk(tmp_path, [block()])
    sleeping = tmp_path / "sleeping"
    sleeping.write_text("#!/bin/sh\nexec sleep 60\n")
    sleeping.chmod(0o755)
    monkeypatch.setattr("targets.ephemeris.spk_reader.sys.executable", str(sleeping))
    monkeypatch.setattr("targets.ephemeris.spk_reader._PATIENCE_S", 0.3)
    assert "SPICE ends over this file" in refused(tmp_path, planet_table)


def test_states_that_no_mothership_has(tmp_path, planet_table):
    whole = block()
    write_spk(tmp_path, [Block(whole.epochs_tdb_s, 1e4 * whole.states)])
    assert "no mothership is there" in refused(tmp_path, planet_table)
