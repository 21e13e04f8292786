"""Slips that are no errors, files that are not there, and rows that nothing can serve: each said where it is met."""

import time

import pytest

from swarm.study.plausible import study_notes
from swarm.study.probe_classes import CLASSES
from swarm.study.schema import read_study
from tests.helpers.places import ROOT

BELT = 'format = "invented"\nbodies = 3000'
BURN = "burn_limit_m_s = 1200.0"
LARGE = "where = { diameter_km_min = 1.0 }\nthreshold = 1"
OEM = """CCSDS_OEM_VERS = 2.0
CREATION_DATE = 2031-01-01T00:00:00
ORIGINATOR = TEST
META_START
OBJECT_NAME = MOTHERSHIP
OBJECT_ID = 2031-001A
CENTER_NAME = SUN
REF_FRAME = ICRF
TIME_SYSTEM = TDB
START_TIME = 2031-03-01T00:00:00
STOP_TIME = 2032-09-01T00:00:00
META_STOP
2031-03-01T00:00:00 {first}
2032-09-01T00:00:00 {last}
"""


def elements_replaced(tiny, text):
    """The tiny study with another mothership in place of its elements."""
    path = tiny()
    study = path.read_text(encoding="utf-8")
    begin, end = study.index('kind = "elements"'), study.index("[probe]")
    path.write_text(f"{study[:begin]}{text}\n{study[end:]}", encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "study", ["runs/fireweed/study.toml", "runs/reference/study.toml", "notebooks/small.toml"]
)
def test_the_studies_that_come_with_the_tool_hold_nothing_odd(study):
    assert study_notes(read_study(ROOT / study)) == []


@pytest.mark.parametrize("name", CLASSES)
def test_the_classes_of_probes_are_plausible(name, tiny):
    said = study_notes(read_study(tiny(("wet_mass_kg = 12.0", f'class = "{name}"'), (BURN, ""))))
    assert [note for note in said if "quality_min" not in note] == []


@pytest.mark.parametrize(
    ("old", "new", "note"),
    [
        (BURN, "burn_limit_m_s = 0.12", "0.12 m/s is less than 5 m/s, which is hardly ever meant; were km/s meant?"),
        (BURN, f"{BURN}\nisp_s = 30000.0", "30000 s is more than 5000 s, which is hardly ever meant"),
        (BURN, f"{BURN}\ncamera_ifov_urad = 25e-6", "2.5e-05 urad is less than 1 urad, which is hardly ever meant; "
         "were rad meant?"),
        (BURN, f"{BURN}\ntransmit_w = 4000.0", "4000 W is more than 200 W, which is hardly ever meant; were mW meant?"),
        (BURN, f"{BURN}\npanel_area_m2 = 900.0", "were cm^2 meant?"),
        ("baseline = 2", "baseline = 2\nquality_min = 0.0", "science.rows[1].quality_min = 0: an encounter whose"),
    ],
)  # fmt: skip
def test_check_says_what_is_odd_and_refuses_nothing(swarm, tiny, old, new, note):
    result = swarm("check", tiny((old, new)))
    assert result.exit_code == 0
    assert note in result.stderr
    assert "note:" not in result.stdout


def test_a_quality_that_is_left_out_asks_for_something(swarm, tiny):
    result = swarm("check", tiny(), "--all")
    assert "science.rows[0].quality_min\t0.1\t-\town choice" in result.stdout
    assert result.stderr == ""


def test_nothing_feasible_says_a_slip_before_what_follows_from_it(swarm, tiny, tmp_path):
    result = swarm("screen", tiny((BURN, "burn_limit_m_s = 0.12")), "--run", tmp_path / "out", "--workers", 1)
    assert result.exit_code == 3, result.stderr
    assert result.stderr.index("were km/s meant?") < result.stderr.index("so ")
    assert "limit: probe.burn_limit_m_s = 0.12" in result.stderr


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        (BELT, 'format = "own"\nfile = "none.csv"', "catalogue.file"),
        (BELT, f'{BELT}\nvisited = "none.txt"', "catalogue.visited"),
    ],
)
def test_check_refuses_a_file_that_is_not_there(swarm, tiny, old, new, key):
    result = swarm("check", tiny((old, new)))
    assert result.exit_code == 2
    assert key in result.stderr
    assert "none." in result.stderr
    assert result.stdout == ""


def test_check_refuses_a_mothership_that_is_not_there(swarm, tiny):
    result = swarm("check", elements_replaced(tiny, 'kind = "oem"\nfile = "none.oem"'))
    assert result.exit_code == 2
    assert "mothership.file" in result.stderr


@pytest.mark.parametrize(
    ("first", "line"),
    [
        ("2.5e11 1e10 2e9 -1.0e3 2.0e4 3.0e2", "line 13"),
        ("2.5e8 1e7 2e6 -1.0e3 2.0e4 3.0e2", "line 13"),
    ],
)
def test_a_mothership_in_metres_is_refused_with_its_line(swarm, tiny, tmp_path, first, line):
    (tmp_path / "ship.oem").write_text(OEM.format(first=first, last=first), encoding="ascii")
    study = elements_replaced(tiny, 'kind = "oem"\nfile = "ship.oem"')
    result = swarm("screen", study, "--run", tmp_path / "out", "--workers", 1)
    assert result.exit_code == 2, result.stderr
    assert line in result.stderr
    assert "are these metres?" in result.stderr


def test_a_scheduler_that_is_not_there_is_said_before_anything_is_read(swarm, tiny, tmp_path):
    begun = time.monotonic()
    # port 9 of this machine: nobody listens
    result = swarm("run", tiny(), "--run", tmp_path / "out", "--scheduler", "tcp://127.0.0.1:9")
    assert result.exit_code == 2
    assert "no scheduler answers" in result.stderr
    assert "reading the catalogue" not in result.stderr
    assert not (tmp_path / "out").exists()
    # the program's own start included; it was two minutes
    assert time.monotonic() - begun < 60.0


def test_a_row_with_a_threshold_that_nothing_in_reach_can_serve_ends_the_run(swarm, tiny, tmp_path):
    impossible = LARGE.replace("1.0", "900.0")
    result = swarm("screen", tiny((LARGE, impossible)), "--run", tmp_path / "out", "--workers", 1)
    assert result.exit_code == 3, result.stderr
    assert 'science.rows[0] "large": none of the' in result.stderr
    assert "diameter_km_min = 900.0, the body: " in result.stderr
    assert not list((tmp_path / "out").glob("*.parquet"))


def test_a_row_without_a_threshold_that_nothing_in_reach_can_serve_is_a_warning(swarm, tiny, tmp_path):
    impossible = LARGE.replace("1.0", "900.0").replace("threshold = 1", "threshold = 0")
    result = swarm("screen", tiny((LARGE, impossible)), "--run", tmp_path / "out", "--workers", 1)
    assert result.exit_code == 0, result.stderr
    assert 'warning: science.rows[0] "large": none of the' in result.stdout
    assert "diameter_km_min = 900.0" in result.stdout
