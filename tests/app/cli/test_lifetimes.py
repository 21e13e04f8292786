"""`swarm lifetime`: what a person reads about orbits, what is refused with which status."""

import re

import pytest

from tests.helpers.command_line import TINY, call
from tests.helpers.places import ROOT

YARROW = (ROOT / "runs" / "yarrow" / "study.toml").read_text(encoding="utf-8")


def yarrow(tmp_path, *changes):
    """The demonstration with few rows."""
    text = YARROW.replace('"yarrow.oem"', f'"{ROOT / "runs" / "yarrow" / "yarrow.oem"}"')
    small = (
        ("release_days_before = [20, 10]", "release_days_before = [10]"),
        ("clock_step_deg      = 30", "clock_step_deg      = 90"),
        ("inclination_deg     = [76, 90]", "inclination_deg     = [76]"),
        ("science_days        = 60.0", "science_days        = 20.0"),
    )
    for old, new in (*small, *changes):
        assert old in text, old
        text = text.replace(old, new)
    file = tmp_path / "yarrow.toml"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    done = call("lifetime", str(yarrow(tmp_path_factory.mktemp("yarrow"))))
    assert done.exit_code == 0, done.output
    return done.output


def test_both_ways_in_are_told(told):
    assert "spiral down: orbits about Moon, passage 1, 2032-06-16" in told
    assert "stop at once: orbits about Moon, passage 1" in told
    lines = [line.split() for line in told.splitlines()]
    spirals = [line for line in lines if line[:1] == ["spiral"] and len(line) == 19]
    stops = [line for line in lines if line[:1] == ["stop"] and len(line) == 19]
    assert spirals
    assert stops
    # a spiral takes most of a year and twice the speed, which is marked as a bound; impulses lose a little
    assert all(line[6].startswith("<") and 1900.0 < float(line[6][1:]) < 2300.0 for line in spirals)
    assert all(250.0 < float(line[9]) < 450.0 for line in spirals)
    # 22 N stop 35 kg in one burn: the law of its loss has 6.2 % for 830 m/s at 50 km (tests/encounter/orbit), and less
    # for what is asked of these
    assert all(700.0 < float(line[6]) < 830.0 and 3.0 < float(line[7]) <= 6.2 for line in stops)
    assert all(float(line[9]) < 2.0 for line in stops)


def test_life_end_and_cautions_are_told(told):
    assert re.search(r"the best of them, lowest km: 0 d [\d.]+", told)
    assert re.search(r"flown in the field for [\d.]+ d, not averaged: lowest [\d.]+ km", told)
    assert "it meets the ground" in told or "it still flies 365 d later" in told
    assert "nothing takes a probe away from Moon when its work ends" in told
    assert "zonals to degree 50, all terms to degree 10" in told
    assert "that of Moon is full to 10" in told


def test_the_price_of_a_sigma_is_there(told):
    head = next(line for line in told.splitlines() if "kg/sigma" in line).split()
    row = next(line.split() for line in told.splitlines() if re.match(r"\s+spiral +10 ", line))
    # "in m/s" and "all m/s", "way d" and "life d" are two words of the head each
    sigma, dear = float(row[14]), float(row[15])
    assert head[-4] == "kg/sigma"
    assert dear == pytest.approx(14.0 / sigma, rel=0.05)


def test_too_little_thrust_ends_with_what_would_do(tmp_path):
    text = ("thrust_n       = 22.0", "thrust_n       = 0.5")
    file = yarrow(tmp_path, text)
    kept = file.read_text(encoding="utf-8")
    cut = re.sub(r'\[\[approach\]\]\nname +=  ?"spiral down".*?(?=\[\[approach\]\])', "", kept, flags=re.S)
    file.write_text(cut, encoding="utf-8")
    done = call("lifetime", str(file))
    assert done.exit_code == 3
    assert "no orbit about Moon is left" in done.output
    assert re.search(r"[\d.]+ N would do in 1 burn", done.output)


def test_a_tank_that_does_not_hold_the_excess_speed(tmp_path):
    """Exit 3 where that is all that is asked for; beside what can be flown the others are told, and this is said."""
    file = yarrow(tmp_path, ("burn_limit_m_s = 2800.0", "burn_limit_m_s = 700.0"))
    done = call("lifetime", str(file))
    assert done.exit_code == 0
    said = r"arrives with \d+ m/s of excess speed, the tank then holds \d+"
    assert re.search(
        rf"spiral down: no orbit about Moon is left: this approach leaves nothing; {said}", done.output
    )
    kept = file.read_text(encoding="utf-8")
    cut = re.sub(r'\[\[approach\]\]\nname +=  ?"stop at once".*?(?=\[\[approach\]\])', "", kept, flags=re.S)
    assert cut != kept
    file.write_text(cut, encoding="utf-8")
    alone = call("lifetime", str(file))
    assert alone.exit_code == 3
    assert re.search(said, alone.output)


def test_the_gravity_of_another_body_is_refused(tmp_path):
    table = tmp_path / "mars.tab"
    table.write_text(
        "3396.0, 42828.37, 0.0, 2, 2, 1, 0.0, 0.0\n2, 0, -8.75e-4, 0.0, 0.0, 0.0\n", encoding="utf-8"
    )
    changed = ("[survival]", f'[massive]\ngravity = {{ Moon = "{table}" }}\n\n[survival]')
    done = call("lifetime", str(yarrow(tmp_path, changed)))
    assert done.exit_code == 2
    assert "this is not the gravity of Moon" in done.output
    assert "4902.8" in done.output


def test_ground_above_the_periapsis_is_refused(tmp_path):
    done = call(
        "lifetime", str(yarrow(tmp_path, ("terrain_km          = 8.0", "terrain_km          = 16.0")))
    )
    assert done.exit_code == 2
    assert "more than 16 km, the highest ground of Moon" in done.output


def test_a_body_that_nothing_may_hit_has_no_orbits(tmp_path):
    changed = ("[survival]", "[protection]\nimpact_chance_max = { Moon = 0.01 }\n\n[survival]")
    done = call("lifetime", str(yarrow(tmp_path, changed)))
    assert done.exit_code == 3
    assert "it comes down there, and disposal is not computed" in done.output


def test_a_study_without_orbits_is_told_what_to_ask(tmp_path):
    file = tmp_path / "tiny.toml"
    file.write_text(TINY, encoding="utf-8")
    done = call("lifetime", str(file))
    assert done.exit_code == 2
    assert 'an [[approach]] with kind = "orbit"' in done.output


def test_passages_point_to_lifetimes(tmp_path):
    done = call("passages", str(yarrow(tmp_path)))
    assert done.exit_code == 0
    assert "stop at once: an orbit about Moon; swarm lifetime STUDY says what it comes to" in done.output
