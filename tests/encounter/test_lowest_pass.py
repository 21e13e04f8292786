"""The least height that keeps a limit on impacts: said in the screen, and a pass asked for below is refused with it."""

import re

import numpy as np
import pytest

from swarm.encounter.pass_left_out import IMPACT, SHIP, none_of_passes
from swarm.study.study_file import read_study
from tests.helpers.command_line import call
from tests.helpers.skimming import demonstration, screening_of, study_in


def screening(folder, **changes):
    text = demonstration("sorrel", release_days_before="[20]", clock_step_deg="60", **changes)
    study = read_study(study_in(folder, text))
    return study, screening_of(study)


def number_in(text):
    found = re.search(
        r"least height at Europa that keeps it is ([\d.]+) km|that keeps it is ([\d.]+) km", text
    )
    assert found, text
    return float(found[1] or found[2])


@pytest.fixture(scope="module")
def wide(tmp_path_factory):
    return screening(tmp_path_factory.mktemp("wide"), altitudes_km="[300, 50, 100]")


def test_heights_that_no_row_keeps_are_refused_with_the_number(wide):
    _, found = wide
    (said,) = found.cautions
    assert "passes of Europa at 50, 100 km are refused" in said
    assert "a chance of at most 0.0001" in said
    rows = found.opportunities.to_pylist()
    assert {round(row["altitude_km"] / 100.0) for row in rows} == {3}
    # the caution's number is the least over all rows that were flown, kept or not
    assert number_in(said) <= min(row["lowest_altitude_for_limit_km"] for row in rows) + 0.05


def test_a_little_above_is_taken_and_one_below_is_refused(wide, tmp_path):
    """To a tenth of a kilometre, as printed: 0.2 km above keeps the limit, 0.2 km below does not, with one number."""
    least = number_in(wide[1].cautions[0])
    _, above = screening(tmp_path, altitudes_km=f"[{least + 0.2:.1f}]")
    assert above.opportunities.num_rows >= 1
    assert not above.cautions
    assert max(above.opportunities["impact_chance"].to_pylist()) <= 1e-4
    study, below = screening(tmp_path, altitudes_km=f"[{least - 0.2:.1f}]")
    assert below.opportunities.num_rows == 0
    refusal = none_of_passes(study, below.by_kind["low-pass"])
    assert number_in(refusal.limit) == pytest.approx(least, abs=0.1)


def test_where_no_height_keeps_a_limit_that_is_said(tmp_path):
    """Every probe may be dead on the mothership's own path, and the limit is nought: nowhere is far enough."""
    text = demonstration("sorrel", release_days_before="[20]", clock_step_deg="180", altitudes_km="[300]")
    study = read_study(study_in(tmp_path, text.replace("Europa = 1e-4", "Europa = 0.0")))
    found = screening_of(study)
    assert np.isinf(found.by_kind["low-pass"]["lowest_for_limit_km"])
    assert "no height keeps it" in none_of_passes(study, found.by_kind["low-pass"]).limit
    assert "no height at Europa keeps it" in found.cautions[0]


def turning(folder, rpm):
    """A study of a mothership that lets probes go off its rim, its file, and the rows of two heights that are left."""
    text = demonstration("sorrel", release_days_before="[20]", clock_step_deg="45", altitudes_km="[200, 400]")
    text = text.replace('kind    = "oem"', f'kind    = "oem"\nspin_rpm = {rpm}\nspin_radius_m = 1.0')
    file = study_in(folder, text.replace("clock_step_deg = 45", 'clock_step_deg = 45\nsteer = "spin"'))
    study = read_study(file)
    return study, file, screening_of(study)


def test_a_mothership_that_is_aimed_at_the_body_is_said_to_be_what_takes_its_passes(tmp_path):
    """With little turn it is aimed at the body itself: its own chance of not diverting is over the limit."""
    study, _, found = turning(tmp_path, 5.0)
    assert found.opportunities.num_rows == 0
    counts = found.by_kind["low-pass"]
    assert counts[SHIP] > counts[IMPACT] > 0
    assert "with the mothership's (divert_failure = 0.001)" in none_of_passes(study, counts).limit


def test_a_mothership_that_turns_fast_lets_go_probes_that_keep_the_limit(tmp_path):
    """The rim's way throws its own aim wide of the body; the screen and `swarm passages` leave the same rows."""
    _, file, found = turning(tmp_path, 60.0)
    rows = found.opportunities.to_pylist()
    counts = found.by_kind["low-pass"]
    assert len(rows) > 4
    assert all(row["impact_chance"] + row["carrier_impact_chance"] <= 1e-4 for row in rows)
    assert all(row["altitude_km"] >= row["lowest_altitude_for_limit_km"] - 0.05 for row in rows)
    assert counts["passes_met"] == len(rows) + counts.get(IMPACT, 0) + counts.get(SHIP, 0)
    told = call("passages", file)
    assert told.exit_code == 0, told.output
    assert f"{len(rows)} left" in told.output
