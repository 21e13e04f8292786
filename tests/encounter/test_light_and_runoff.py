"""The Sun in the camera's way on approach, and what is said of light and of orbits known by U alone."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from swarm.encounter.approach import light_notes, looks_into_sun, sun_angle_deg
from swarm.encounter.judging import judge
from swarm.encounter.power import power_balance
from swarm.encounter.reasons import INTO_SUN
from swarm.encounter.target_errors import runoff_notes
from targets.base.constants import AU_KM
from tests.helpers.made_encounters import (
    EPOCH_JD_TDB,
    MET_JD_TDB,
    looking,
    make_opportunities,
    make_study,
    make_targets,
)

SAMPLES = {"samples": 500}


@pytest.mark.parametrize("sun_deg", [10.0, 45.0, 100.0, 170.0])
def test_the_line_of_sight_on_approach(sun_deg: float) -> None:
    """A probe looks along its relative velocity; the Sun stands where the target's place points back to."""
    targets = make_targets([13.0])
    table = make_opportunities(
        targets, [0], v_rel=looking(targets, sun_deg), encounter_jd_tdb=np.array([MET_JD_TDB])
    )
    assert sun_angle_deg(table["phase_in_deg"].to_numpy())[0] == pytest.approx(sun_deg, abs=1e-9)


def test_an_approach_into_the_sun_is_not_seen() -> None:
    """A camera for faint bodies, 25 deg from the Sun: it sees with a perfect baffle, not with one of 30 deg.

    35 deg from the Sun it is one of 40 deg that is in the way.
    """
    targets = make_targets([12.0], [1])
    for sun_deg, exclusion, seen in (
        (25.0, 0.0, True),
        (25.0, 30.0, False),
        (35.0, 30.0, True),
        (35.0, 40.0, False),
    ):
        study = make_study(delivery=SAMPLES, probe={"sun_exclusion_deg": exclusion, "limiting_mag": 20.0})
        table = make_opportunities(
            targets,
            [0],
            v_rel=looking(targets, sun_deg),
            encounter_jd_tdb=np.array([MET_JD_TDB]),
            burn=[20.0, 10.0, -15.0],
        )
        found = judge(study, table, targets, qualities=(0.0,))
        assert (found.seen_chance[0] > 0.5) == seen
        assert (found.detect_range_km[0] > 0.0) == seen
        if not seen:
            assert found.reason[0] == INTO_SUN
            assert 2 not in found.correction_kind[0]  # none in sight


def test_what_is_said_of_the_light() -> None:
    targets = make_targets([13.0])
    angles = (10.0, 29.0, 31.0, 59.0, 61.0, 170.0)
    table = make_opportunities(
        targets,
        [0] * 6,
        v_rel=np.array([looking(targets, angle) for angle in angles]),
        encounter_jd_tdb=np.full(6, MET_JD_TDB),
    )
    blind, stretched = light_notes(make_study(), table)
    assert blind.startswith("2 of 6 approaches look within 30 deg of the Sun")
    assert stretched.startswith("2 of 6 approaches see their targets at phase angles above 120 deg")
    assert looks_into_sun([149.0, 151.0], exclusion_deg=30.0).tolist() == [False, True]


def test_what_is_said_of_orbits_known_by_u() -> None:
    """U = 0: an arcsecond a decade, times the distance from the Sun on a nearly circular orbit."""
    targets = make_targets([13.0], [0], e=np.array([1e-6]))
    table = make_opportunities(targets, [0], encounter_jd_tdb=np.array([EPOCH_JD_TDB + 3652.5]))
    (said,) = runoff_notes(make_study(), table, targets)
    whole = math.radians(1.0 / 3600.0) * 2.3 * AU_KM  # 1 668 km
    numbers = [float(number) for number in re.findall(r"median (\d+)", said)]
    assert numbers == pytest.approx([whole, whole / 3.0], abs=1.0)
    sigma = np.array([[1e-9, 1e-9, 1e-7, 1e-7, 1e-7, 1e-7]])
    assert runoff_notes(make_study(), table, make_targets([13.0], [0], element_sigma=sigma)) == ()


def test_power_at_the_encounter() -> None:
    """A 6U at 2 au: 1361 W/m^2 x 0.12 m^2 x 0.28 x 0.75 / 4 = 8.57 W, 5 W of them idle, a radio of 30 W."""
    balance = power_balance(2.0, make_study().probe)
    assert balance.panel_w == pytest.approx(8.574, abs=1e-3)
    assert balance.radio_w == pytest.approx(3.574, abs=1e-3)
    assert balance.hours_per_day == pytest.approx(24.0 * 3.574 / 30.0, abs=1e-3)
    assert power_balance(4.0, make_study().probe).hours_per_day == 0.0
