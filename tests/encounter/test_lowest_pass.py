"""The least height that keeps a limit on impacts: said in the screen, and a pass asked for below is refused with it."""

import re

import numpy as np
import pytest

from swarm.encounter.pass_left_out import none_of_passes
from swarm.study.study_file import read_study
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
