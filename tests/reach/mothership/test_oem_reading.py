"""Orbit ephemeris messages: written from known states, read back, and compared with another reader."""

from pathlib import Path

import numpy as np
import pytest
import spiceypy

from swarm.reach.mothership.from_oem import ICRF_FROM_EME2000, read_oem
from swarm.reach.mothership.sources import mothership_of
from targets.base.constants import AU_KM, DAY_S
from tests.helpers.mothership_files import Block, write_oem
from tests.helpers.quiet_motherships import END_TDB_S, START_TDB_S, daily, orbit, study_of

MIDDLES = daily()[:-1] + 0.41 * DAY_S


def block(epochs=None, **meta):
    epochs = daily() if epochs is None else epochs
    return Block(epochs, orbit(epochs), meta)


def followed(folder: Path, blocks, planet_table, *, system="TDB"):
    write_oem(folder, blocks, system=system)
    return mothership_of(study_of({"kind": "oem", "file": "mothership.oem"}, base=folder), planet_table)


def largest_km(path, epochs, truth=orbit):
    return np.linalg.norm((path.at(epochs) - truth(epochs))[:, :3], axis=1).max()


@pytest.mark.parametrize("system", ["TDB", "TT", "UTC"])
def test_what_was_written_is_read_in_each_time_system(tmp_path, planet_table, system):
    ship = followed(tmp_path, [block()], planet_table, system=system)
    (path,) = ship.legs
    assert path.start_tdb_s == pytest.approx(START_TDB_S, abs=1e-5)
    assert path.epochs_tdb_s[-1] == pytest.approx(END_TDB_S, abs=1e-5)
    # dates are written to the microsecond and SPICE's TDB - TT differs by 14 us: half a metre at 25 km/s
    assert largest_km(path, MIDDLES) < 1e-3
    # 12 mm of rounded date over the two days between states, several times that towards the table's ends
    assert np.abs(path.at(MIDDLES) - orbit(MIDDLES))[:, 3:].max() < 1e-8


def test_a_wrong_time_system_would_be_seen(tmp_path, planet_table):
    text = write_oem(tmp_path, [block(daily(START_TDB_S - DAY_S, END_TDB_S + DAY_S))], system="UTC")
    text.write_text(text.read_text().replace("TIME_SYSTEM = UTC", "TIME_SYSTEM = TDB"))
    ship = mothership_of(study_of({"kind": "oem", "file": "mothership.oem"}, base=tmp_path), planet_table)
    assert largest_km(ship.legs[0], MIDDLES) > 1000.0


@pytest.mark.parametrize("degree", ["5", "7", "9"])
@pytest.mark.parametrize("method", ["HERMITE", "LAGRANGE"])
def test_both_interpolations(tmp_path, planet_table, method, degree):
    ship = followed(tmp_path, [block(INTERPOLATION=method, INTERPOLATION_DEGREE=degree)], planet_table)
    # degree 5 Lagrange over states two days apart is the coarsest: metres
    assert largest_km(ship.legs[0], MIDDLES) < 0.02


def test_hermite_where_no_method_is_named(tmp_path, planet_table):
    ship = followed(tmp_path, [block(INTERPOLATION=None, INTERPOLATION_DEGREE=None)], planet_table)
    assert largest_km(ship.legs[0], MIDDLES) < 1e-3


def test_a_degree_taken_by_rule_is_said(tmp_path, planet_table):
    ship = followed(tmp_path, [block(INTERPOLATION_DEGREE=None)], planet_table)
    assert any("degree 7 taken" in note for note in ship.notes)


def test_the_barycentre_is_taken_off(tmp_path, planet_table):
    epochs = daily()
    sun = np.array([spiceypy.spkgeo(10, t, "J2000", 0)[0] for t in epochs])
    about_barycentre = Block(epochs, orbit(epochs) + sun, {"CENTER_NAME": "SOLAR SYSTEM BARYCENTER"})
    ship = followed(tmp_path, [about_barycentre], planet_table)
    assert largest_km(ship.legs[0], MIDDLES) < 1e-3
    assert np.linalg.norm(sun[:, :3], axis=1).min() > 1e5  # reading it as the Sun would be far off


def test_the_frame_bias_is_that_of_the_iers():
    # IERS Conventions (2010), TN 36: offsets of the pole -16.6170 and -6.8192 mas, of the equinox -14.6 mas;
    # first order: r_EME2000 = r_ICRF + d x r, each component an angle
    mas = np.radians(1.0 / 3.6e6)
    small = ICRF_FROM_EME2000.T - np.eye(3)
    assert small[0, 1] == pytest.approx(-14.6 * mas, rel=1e-4)
    assert small[0, 2] == pytest.approx(16.6170 * mas, rel=1e-4)
    assert small[1, 2] == pytest.approx(6.8192 * mas, rel=1e-4)
    turned = 2.5 * AU_KM * np.linalg.norm([14.6, 16.6170, 6.8192]) * mas
    assert turned == pytest.approx(42.0, abs=1.0)


def test_the_frame_bias_is_that_of_erfa():
    import erfa  # comes with astropy, and that with the package oem

    bias, _, _ = erfa.bp00(2451545.0, 0.0)  # r_J2000 = bias @ r_GCRS
    # SOFA multiplies out the offset in longitude, -41.775 mas, that the IERS prints rounded: 0.3 m at 2.5 au
    assert np.abs(ICRF_FROM_EME2000 - bias.T).max() < 1e-12


def test_eme2000_is_rotated(tmp_path, planet_table):
    epochs = daily()
    turned = orbit(epochs)
    turned = np.hstack([turned[:, :3] @ ICRF_FROM_EME2000, turned[:, 3:] @ ICRF_FROM_EME2000])
    ship = followed(tmp_path, [Block(epochs, turned, {"REF_FRAME": "EME2000"})], planet_table)
    assert largest_km(ship.legs[0], MIDDLES) < 1e-3
    assert np.linalg.norm((turned - orbit(epochs))[:, :3], axis=1).max() > 20.0
    assert any("frame bias" in note for note in ship.notes)


def test_segments_that_meet_are_one_leg(tmp_path, planet_table):
    half = 0.5 * (START_TDB_S + END_TDB_S)
    ship = followed(tmp_path, [block(daily(START_TDB_S, half)), block(daily(half, END_TDB_S))], planet_table)
    assert len(ship.legs) == 1
    assert largest_km(ship.legs[0], MIDDLES) < 1e-3


def after_kick(epochs, at, kick_km_s):
    """The orbit with an impulse at `at`."""
    from targets.motion.twobody import drift_states

    state = orbit(np.array([at]))[0]
    state[3:] += kick_km_s
    repeated = np.broadcast_to(state, (len(epochs), 6))
    return np.hstack(drift_states(repeated[:, :3], repeated[:, 3:], epochs - at))


@pytest.mark.parametrize(("kick_m_s", "legs"), [(5.0, 2), (0.001, 2), (0.00002, 1)])
def test_a_velocity_step_ends_a_leg(tmp_path, planet_table, kick_m_s, legs):
    half = 0.5 * (START_TDB_S + END_TDB_S)
    later = daily(half, END_TDB_S)
    kicked = Block(later, after_kick(later, half, np.array([0.0, kick_m_s / 1000.0, 0.0])))
    ship = followed(tmp_path, [block(daily(START_TDB_S, half)), kicked], planet_table)
    assert len(ship.legs) == legs
    assert any("velocity change" in note for note in ship.notes) == (legs == 2)
    if legs == 2:
        assert ship.legs[0].epochs_tdb_s[-1] == pytest.approx(half, abs=1e-5)
        assert ship.legs[1].start_tdb_s == pytest.approx(half, abs=1e-5)
        behind = MIDDLES[half + DAY_S < MIDDLES]
        truth = after_kick(behind, half, np.array([0.0, kick_m_s / 1000.0, 0.0]))
        assert np.linalg.norm((ship.legs[1].at(behind) - truth)[:, :3], axis=1).max() < 1e-3


def test_a_step_in_position_ends_a_leg_and_is_said(tmp_path, planet_table):
    half = 0.5 * (START_TDB_S + END_TDB_S)
    stepped = block(daily(half, END_TDB_S))
    stepped.states[:, :3] += [3.0, 0.0, 4.0]
    ship = followed(tmp_path, [block(daily(START_TDB_S, half)), stepped], planet_table)
    assert len(ship.legs) == 2
    assert any("a step of 5.000 km" in note for note in ship.notes)


def test_useable_times_are_kept(tmp_path, planet_table):
    """Overlapping segments whose useable spans meet; the first one is nonsense beyond its own."""
    from tests.helpers.mothership_files import date

    half = 0.5 * (START_TDB_S + END_TDB_S)
    first = block(daily(START_TDB_S, half + 10.0 * DAY_S), USEABLE_STOP_TIME=date(half, "TDB"))
    beyond = first.epochs_tdb_s > half + 6.0 * DAY_S
    first.states[beyond, :3] += 1e6
    second = block(daily(half - 10.0 * DAY_S, END_TDB_S), USEABLE_START_TIME=date(half, "TDB"))
    ship = followed(tmp_path, [first, second], planet_table)
    assert len(ship.legs) == 1
    assert largest_km(ship.legs[0], MIDDLES) < 1e-3


def test_comments_accelerations_covariances_and_days_of_year_are_taken(tmp_path, planet_table):
    rows = "\n".join(" ".join(["0.0"] * k + ["1.0"]) for k in range(6))
    covariance = f"COVARIANCE_START\nEPOCH = 2031-03-01T00:00:00\n{rows}\nCOVARIANCE_STOP"
    file = write_oem(tmp_path, [Block(daily(), orbit(daily()), {}, covariance)])
    lines = file.read_text().splitlines()
    first = next(k for k, line in enumerate(lines) if line == "META_STOP") + 1
    lines[first] += " 0.0 1e-6 0.0"
    assert lines[first].startswith("2031-03-01T")
    lines[first] = lines[first].replace("2031-03-01T", "2031-060T")
    lines.insert(first + 1, "COMMENT half-way")
    file.write_text("\n".join(lines))
    ship = mothership_of(study_of({"kind": "oem", "file": "mothership.oem"}, base=tmp_path), planet_table)
    assert largest_km(ship.legs[0], MIDDLES) < 1e-3


def test_the_source_is_named_by_its_hash(tmp_path, planet_table):
    import hashlib

    ship = followed(tmp_path, [block()], planet_table)
    assert ship.source_sha256 == hashlib.sha256((tmp_path / "mothership.oem").read_bytes()).hexdigest()


@pytest.mark.parametrize("frame", ["ICRF", "EME2000"])
def test_the_oem_package_reads_the_same_states(tmp_path, frame):
    """Against the PyPI package `oem`, an independent reader; it takes states as they stand, so the bias is put back."""
    import oem

    half = 0.5 * (START_TDB_S + END_TDB_S)
    blocks = [
        block(daily(START_TDB_S, half), REF_FRAME=frame),
        block(daily(half, END_TDB_S), REF_FRAME=frame),
    ]
    file = write_oem(tmp_path, blocks)
    theirs = list(oem.OrbitEphemerisMessage.open(file))
    ours = read_oem(file).segments
    assert len(theirs) == len(ours) == 2
    for segment, other in zip(ours, theirs, strict=True):
        states = list(other.states)
        back = ICRF_FROM_EME2000 if frame == "EME2000" else np.eye(3)
        positions = np.array([state.position for state in states]) @ back.T
        velocities = np.array([state.velocity for state in states]) @ back.T
        assert np.abs(segment.states[:, :3] - positions).max() < 1e-6
        assert np.abs(segment.states[:, 3:] - velocities).max() < 1e-13
        jd = np.array([state.epoch.tdb.jd1 - 2451545.0 + state.epoch.tdb.jd2 for state in states])
        assert np.abs(segment.epochs_tdb_s - jd * DAY_S).max() < 1e-4
