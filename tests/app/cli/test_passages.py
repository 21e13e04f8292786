"""`swarm passages`: what a person reads about where the mothership passes a planet."""

import re

import numpy as np
import pytest

from swarm.study.reference import LEGS_EXAMPLE
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris import spice
from tests.helpers.command_line import TINY, call
from tests.helpers.places import ROOT


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


SORREL = (ROOT / "runs" / "sorrel" / "study.toml").read_text(encoding="utf-8")


def sorrel(tmp_path, *changes):
    text = SORREL.replace('"sorrel.oem"', f'"{ROOT / "runs" / "sorrel" / "sorrel.oem"}"')
    text = text.replace("clock_step_deg      = 30", "clock_step_deg      = 90")
    text = text.replace("[60, 30, 20, 10]", "[30, 10]")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    file = tmp_path / "sorrel.toml"
    file.write_text(text, encoding="utf-8")
    return file


def table_of(output):
    lines = output.splitlines()
    start = next(k for k, line in enumerate(lines) if "burn m/s" in line)
    names = (
        "days",
        "km",
        "burn",
        "dv99",
        "lat",
        "long",
        "sun",
        "pixel",
        "low",
        "sigma",
        "quality",
        "impact",
        "later",
        "least",
    )
    rows = []
    for line in lines[start + 1 :]:
        if "caution" in line:
            break
        rows.append(dict(zip(names, (float(word) for word in line.split()), strict=True)))
    return rows


def test_sorrel_keeps_its_limit_and_says_how_low_it_could_go(tmp_path):
    done = call("passages", sorrel(tmp_path))
    assert done.exit_code == 0, done.output
    assert "passes Europa at 6000 km" in done.output
    rows = table_of(done.output)
    assert len(rows) >= 3
    for row in rows:
        assert row["impact"] <= 1e-4
        # rows as low as that, or lower, were left out
        assert row["km"] >= row["least"] - 0.1
        assert row["burn"] <= 60.0
    # a release ten days before asks for more than one thirty days before, at one height
    burns = {(row["days"], row["km"]): row["burn"] for row in rows}
    assert burns[10.0, 400.0] > 2.0 * burns[30.0, 400.0]
    assert "over the limit on impacts" in done.output
    assert "may harbour life" in done.output
    assert done.output == call("passages", sorrel(tmp_path)).output


def test_sorrel_cannot_promise_not_to_hit_at_all(tmp_path):
    done = call("passages", sorrel(tmp_path, ("Europa = 1e-4", "Europa = 0.0")))
    assert done.exit_code == 3
    assert "the least impact chance found is" in done.output


def test_a_body_that_is_never_passed(tmp_path):
    rows = ('body = "Europa"', 'body = "Enceladus"')
    done = call("passages", sorrel(tmp_path, ('body                = "Europa"', 'body = "Enceladus"'), rows))
    assert done.exit_code == 3
    assert "never passes Enceladus" in done.output
    assert re.search(r"no nearer to Saturn than \d+ km, on 2036", done.output)


def test_a_passage_that_is_not_there(tmp_path):
    done = call(
        "passages", sorrel(tmp_path, ('name                = "skim"', 'name = "skim"\npassages = [2]'))
    )
    assert done.exit_code == 2
    assert "1 to 1: so often Europa is passed" in done.output


def test_a_file_of_moons_that_ends_too_early(tmp_path):
    epochs = float(tdb_s_from_jd(2_464_900.5)) + 3600.0 * np.arange(48.0)
    states = np.hstack([np.full((48, 3), 1.0e6), np.zeros((48, 3))])
    spice.write_spk(tmp_path / "moons.bsp", [spice.SpkSegment(502, "europa", epochs, states)], window=4)
    done = call(
        "passages", sorrel(tmp_path, ("[[approach]]", '[massive]\nspk = ["moons.bsp"]\n[[approach]]'))
    )
    assert done.exit_code == 2
    assert "does not place Europa at all dates" in done.output
    missing = call(
        "passages", sorrel(tmp_path, ("[[approach]]", '[massive]\nspk = ["none.bsp"]\n[[approach]]'))
    )
    assert missing.exit_code == 2
    assert "massive.spk[0]" in missing.output


def test_the_search_wants_a_row_that_asks_for_passes(tmp_path):
    flybys = ('kind = "low-pass", body = "Europa", latitude_deg', "diameter_km_min = 1.0 } # ")
    done = call("screen", sorrel(tmp_path, flybys), "--run", tmp_path / "out")
    assert done.exit_code == 2
    assert "what no row asks for is not searched" in done.output
    assert not (tmp_path / "out").exists()
    assert call("check", sorrel(tmp_path)).exit_code == 0


def test_heights_below_the_least_are_refused_with_it(tmp_path):
    """A caution where others are left, exit 3 with the number where none is."""
    done = call("passages", sorrel(tmp_path))
    said = next(line for line in done.output.splitlines() if "are refused" in line)
    assert "passes of Europa at 25, 50" in said
    least = float(re.search(r"that keeps it is ([\d.]+) km", said)[1])
    heights = (
        "altitudes_km        = [400, 200, 150, 100, 50, 25]",
        f"altitudes_km = [{least - 1.0:.1f}]",
    )
    refused = call("passages", sorrel(tmp_path, heights))
    assert refused.exit_code == 3
    number = re.search(r"the least height at Europa that keeps it is ([\d.]+) km", refused.stderr)
    assert float(number[1]) == pytest.approx(least, abs=0.15)
