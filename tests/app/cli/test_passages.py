"""`swarm passages`: what a person reads about where the mothership passes a planet."""

import re

import pytest

from swarm.study.reference import LEGS_EXAMPLE
from tests.helpers.command_line import TINY, call


@pytest.fixture
def legs_study(tmp_path):
    mothership = LEGS_EXAMPLE
    text = re.sub(r"\[mothership\].*?\[probe\]", lambda _: f"{mothership}\n[probe]", TINY, flags=re.S)
    text = text.replace('start = "2031-03-01 TDB"', 'start = "2031-01-25 TDB"').replace(
        'end = "2032-09-01 TDB"', 'end = "2033-11-01 TDB"'
    )
    file = tmp_path / "legs.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_legs_tell_their_planets(legs_study):
    """Mars and then the Earth are met; burns ten days before cost about ten thirds of a burn thirty days before."""
    done = call("passages", str(legs_study))
    assert done.exit_code == 0, done.output
    assert "1. 2031-11-15" in done.output
    assert "meets Mars" in done.output
    assert "2. 2033-11-01" in done.output
    assert "meets Earth" in done.output
    burns = [
        [float(burn) for burn in re.findall(r"d before ([\d.e+]+) m/s", line)]
        for line in done.output.splitlines()
        if "low pass at" in line
    ]
    assert len(burns) == 2
    for thirty, ten, three in burns:
        assert 2.0 < ten / thirty < 4.5
        assert 2.0 < three / ten < 5.0
    # the Earth's atmosphere begins at 122 km: what is asked for lies above
    assert "low pass at 147 km" in done.output


def test_a_path_that_passes_nothing_says_how_near_it_comes(tmp_path):
    file = tmp_path / "tiny.toml"
    file.write_text(TINY, encoding="utf-8")
    done = call("passages", str(file))
    assert done.exit_code == 0
    assert "passes no planet or moon" in done.output
    assert "nearest: " in done.output
