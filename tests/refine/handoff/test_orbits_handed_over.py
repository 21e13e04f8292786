"""The package of an orbit: burns of finite length flown in the full field, messages read again, planted damage."""

import csv
import math

import numpy as np
import pytest

from swarm.encounter.orbit.orbit_asked import surroundings_about
from swarm.reach.approach.scene import ephemeris_of
from swarm.refine.handoff.opm import read_opm
from swarm.refine.handoff.orbit_messages import read_back_orbit, write_orbits
from swarm.refine.handoff.pass_read_back import read_segments
from swarm.refine.handoff.read_back import ReadBackDiffers
from swarm.refine.handoff.spiral_messages import read_back_spiral
from targets.masses.massive import mass_named
from tests.encounter.orbit.test_screened_orbits import SPIRAL, STOP, asked, screened


@pytest.fixture(scope="module")
def handed(tmp_path_factory):
    study = asked(SPIRAL, STOP)
    rows = screened(study).opportunities.to_pylist()
    stop = next(row for row in rows if row["design"] == "stop" and row["apoapsis_km"] == 100.0)
    spiral = next(row for row in rows if row["design"] == "spiral")
    folder = tmp_path_factory.mktemp("package")
    worst = write_orbits(study, [(0, stop), (1, spiral)], folder, ephemeris=ephemeris_of(study))
    return study, folder, (stop, spiral), worst


def around_moon(study, row):
    ask = next(ask for ask in study.approach if ask.name == row["approach"])
    return surroundings_about(
        study, ask, mass_named("Moon"), row["encounter_tdb_s"], ephemeris=ephemeris_of(study)
    )


def test_what_is_written_is_what_flies(handed):
    """Flown again from each first state and each burn, ends are metres apart at most."""
    _, _, _, worst = handed
    assert worst[0] < 0.01
    assert worst[1] < 1e-5


def test_one_burn_leads_to_the_orbit_asked_for(handed):
    """The apoapsis is met by the length of the burn; periapsis and speed are what the law of finite burns leaves."""
    _, folder, (stop, _), _ = handed
    (row, _) = list(csv.DictReader((folder / "orbits.csv").read_text().splitlines()))
    assert float(row["flown_apoapsis_km"]) == pytest.approx(100.0, abs=0.01)
    assert float(row["flown_periapsis_km"]) == pytest.approx(30.0, abs=3.0)
    planned = stop["insertion_m_s"] + stop["finite_loss_m_s"]
    assert float(row["flown_burns_m_s"]) == pytest.approx(planned, rel=0.02)
    # averaged and flown lowest heights are some kilometres apart at most, in ten days
    assert float(row["flown_least_km"]) == pytest.approx(stop["least_km"], abs=5.0)


def test_the_burn_lasts_as_long_as_the_thrust_takes(handed):
    """The rocket equation at 22 N and 230 s, by hand."""
    _, folder, _, _ = handed
    said = read_opm(folder / "probe_00_orbit_burn_1.opm", center="MOON")
    burn = said.manoeuvre
    exhaust = 230.0 * 9.80665
    speed = 1e3 * float(np.linalg.norm(burn.dv_km_s))
    assert burn.delta_mass_kg == pytest.approx(-14.0 * (1.0 - math.exp(-speed / exhaust)), rel=1e-6)
    assert burn.duration_s == pytest.approx(-burn.delta_mass_kg * exhaust / 22.0, rel=1e-5)
    assert burn.duration_s > 300.0


def test_segments_are_about_the_moon_and_begin_where_the_burn_ends(handed):
    _, folder, _, _ = handed
    segments = read_segments(folder / "probe_00_orbit.oem")
    assert {each.center for each in segments} == {"MOON"}
    said = read_opm(folder / "probe_00_orbit_burn_1.opm", center="MOON")
    end = said.epoch_tdb_s + said.manoeuvre.duration_s
    assert segments[0].stretch.epochs_tdb_s[0] == pytest.approx(end, abs=1e-2)
    assert (folder / "probe_00_arrival.oem").exists()
    assert (folder / "probe_00_arrival_after_burn.opm").exists()


def test_a_spiral_begins_with_its_orbit(handed):
    _, folder, (_, spiral), _ = handed
    assert not list(folder.glob("probe_01_orbit_burn_*.opm"))
    segments = read_segments(folder / "probe_01_orbit.oem")
    assert segments[0].stretch.epochs_tdb_s[0] == pytest.approx(spiral["begin_tdb_s"], abs=1e-5)


def test_its_way_down_is_handed_over(handed):
    """One segment about the Moon from 60 000 km until the orbit begins; arcs whose masses are the speed spent."""
    _, folder, (_, spiral), _ = handed
    (segment,) = read_segments(folder / "probe_01_spiral.oem")
    assert segment.center == "MOON"
    assert segment.stretch.epochs_tdb_s[-1] == pytest.approx(spiral["begin_tdb_s"], abs=1e-5)
    assert np.linalg.norm(segment.stretch.states[0, :3]) == pytest.approx(60_000.0, rel=0.1)
    first, *_, last = list(csv.DictReader((folder / "probe_01_spiral.csv").read_text().splitlines()))
    spent = 1600.0 * 9.80665 * math.log(float(first["mass_begin_kg"]) / float(last["mass_end_kg"]))
    row = list(csv.DictReader((folder / "orbits.csv").read_text().splitlines()))[1]
    assert float(row["flown_spiral_m_s"]) == pytest.approx(spent, rel=1e-6)
    assert spent == pytest.approx(spiral["spiral_m_s"] - spiral["excess_m_s"], rel=0.06)
    assert "excess speed is taken off before" in (folder / "probe_01_spiral.oem").read_text()


def test_an_arc_that_is_shorter_in_the_table_is_found(handed, tmp_path):
    study, folder, (_, spiral), _ = handed
    for file in folder.glob("probe_01_spiral*"):
        (tmp_path / file.name).write_text(file.read_text())
    around = around_moon(study, spiral)
    first = read_segments(folder / "probe_01_orbit.oem")[0].stretch
    begin = float(first.epochs_tdb_s[0]), first.states[0]
    assert read_back_spiral(folder, 1, 1600.0, begin, around)[0] < 0.01
    lines = (folder / "probe_01_spiral.csv").read_text().splitlines()
    (tmp_path / "probe_01_spiral.csv").write_text("\n".join(lines[:50] + lines[51:]) + "\n")
    assert read_back_spiral(tmp_path, 1, 1600.0, begin, around)[0] > 1.0
    later = begin[0] + 60.0, begin[1]
    with pytest.raises(ReadBackDiffers, match="does not end when its orbit begins"):
        read_back_spiral(folder, 1, 1600.0, later, around)


def test_a_burn_that_is_shorter_in_the_file_is_found(handed, tmp_path):
    study, folder, (stop, _), _ = handed
    for file in folder.glob("probe_00_orbit*"):
        (tmp_path / file.name).write_text(file.read_text())
    file = tmp_path / "probe_00_orbit_burn_1.opm"
    text = file.read_text()
    (line,) = [line for line in text.splitlines() if line.startswith("MAN_DURATION")]
    seconds = float(line.split("=")[1].split("[")[0])
    file.write_text(text.replace(line, f"MAN_DURATION = {seconds - 1.0:.3f} [s]"))
    around = around_moon(study, stop)
    assert read_back_orbit(study, folder, 0, stop, around)[0] < 0.01
    assert read_back_orbit(study, tmp_path, 0, stop, around)[0] > 0.1


def test_upkeep_of_a_weak_thruster_is_flown(handed):
    """Two upkeeps in 60 d, of many short burns: their speed is v |de|/2 as the averaged life charges it, to a tenth."""
    _, folder, (_, spiral), worst = handed
    row = list(csv.DictReader((folder / "orbits.csv").read_text().splitlines()))[1]
    assert int(row["flown_upkeeps"]) == 2
    assert float(row["flown_upkeep_m_s"]) == pytest.approx(spiral["maintain_m_s"], rel=0.1)
    assert float(row["flown_days"]) == pytest.approx(60.0, abs=1e-3)
    assert float(row["flown_least_km"]) == pytest.approx(spiral["least_km"], abs=2.0)
    said = read_opm(folder / "probe_01_orbit_upkeep.opm", center="MOON")
    assert len(said.manoeuvres) == int(row["flown_upkeep_burns"]) > 100
    speeds = [1e3 * float(np.linalg.norm(burn.dv_km_s)) for burn in said.manoeuvres]
    assert sum(speeds) == pytest.approx(float(row["flown_upkeep_m_s"]), rel=1e-6)
    # 1.2 mN of a probe that has spiralled down: a twelfth of a revolution at most
    period = 3600.0 * spiral["period_h"]
    assert max(burn.duration_s for burn in said.manoeuvres) <= period / 12.0 * 1.01
    exhaust, mass = 1600.0 * 9.80665, said.mass_kg
    for burn, speed in zip(said.manoeuvres, speeds, strict=True):
        assert burn.duration_s == pytest.approx(
            mass * exhaust / 1.2e-3 * -math.expm1(-speed / exhaust), rel=1e-3
        )
        mass *= math.exp(-speed / exhaust)
    assert worst[0] < 0.01


def test_a_message_of_several_burns_is_refused_where_one_is_missing(handed, tmp_path):
    study, folder, (_, spiral), _ = handed
    for file in folder.glob("probe_01_orbit*"):
        (tmp_path / file.name).write_text(file.read_text())
    file = tmp_path / "probe_01_orbit_upkeep.opm"
    *blocks, _ = file.read_text().split("\nMAN_EPOCH_IGNITION")
    file.write_text("\nMAN_EPOCH_IGNITION".join(blocks) + "\n")
    ask = next(ask for ask in study.approach if ask.name == spiral["approach"])
    around = surroundings_about(
        study, ask, mass_named("Moon"), spiral["encounter_tdb_s"], ephemeris=ephemeris_of(study)
    )
    with pytest.raises(ReadBackDiffers, match="one after the other"):
        read_back_orbit(study, tmp_path, 1, spiral, around)
