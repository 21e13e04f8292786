"""Whole judgements: hopeless and easy bodies, what a later sighting costs, repeatability, every input."""

from __future__ import annotations

import itertools
from dataclasses import fields
from typing import Any

import numpy as np
import pytest

from swarm.encounter.judging import Judged, judge
from swarm.encounter.policies import LOW_QUALITY
from swarm.encounter.reasons import (
    CAPTURE,
    CONJUNCTION,
    INTO_SUN,
    LIFE,
    LINK,
    MOTION,
    NEVER_SEEN,
    OK,
    PHASE,
    POWER,
    REASONS,
    RESOLUTION,
    SEEN_TOO_LATE,
    STORAGE,
    TOO_DEAR,
)
from swarm.study.schema import Study
from targets.catalogue.reading import Catalogue
from tests.helpers.made_encounters import (
    END_JD_TDB,
    START_JD_TDB,
    make_opportunities,
    make_study,
    make_targets,
)

QUALITIES = (0.0, 0.3, 0.6)
SAMPLES = {"samples": 1000}


def judged(study: Study, targets: Catalogue, index: list[int] | None = None, **opportunities: Any) -> Judged:
    table = make_opportunities(
        targets, list(range(len(targets))) if index is None else index, **opportunities
    )
    return judge(study, table, targets, qualities=QUALITIES)


def test_a_small_lost_body_is_hopeless_and_a_large_known_one_is_not() -> None:
    """Default 6U, ten passes each: H = 24 with U = 5 against H = 14 with U = 0."""
    targets = make_targets([24.0, 14.0], [5, 0])
    found = judged(make_study(delivery=SAMPLES), targets, [0] * 10 + [1] * 10)
    chance = found.chance_quality * found.chance_returned[:, None]
    assert chance[:10].max() < 0.05
    assert chance[10:, 1].min() > 0.8
    assert set(found.reason[:10]) <= {SEEN_TOO_LATE, RESOLUTION, NEVER_SEEN, INTO_SUN}
    assert (found.reason[10:] == OK).all()
    assert found.detect_h_before[:10].max() < 12.0 < found.detect_h_before[10:].min()
    assert np.sqrt(found.before_cov_km2[:10, :2]).max(axis=1).min() > 1e5


def test_a_small_body_is_as_hopeless_with_a_good_orbit_and_a_large_one_with_a_bad_one() -> None:
    """Each of the two alone: the camera sees 56 m too late; 10 km are seen, but may be a million km off."""
    targets = make_targets([24.0, 14.0], [0, 7])
    found = judged(make_study(delivery=SAMPLES), targets, [0] * 10 + [1] * 10)
    assert found.expected_quality.max() < 0.3
    assert np.median(found.expected_quality) < 0.05
    assert set(found.reason[10:]) <= {NEVER_SEEN, TOO_DEAR, SEEN_TOO_LATE}


def larger_sigma_km(cov: np.ndarray) -> np.ndarray:
    middle = 0.5 * (cov[:, 0] + cov[:, 1])
    return np.sqrt(middle + np.sqrt(0.25 * (cov[:, 0] - cov[:, 1]) ** 2 + cov[:, 2] ** 2))


def test_the_delivery_tightens_only_if_a_correction_can_still_be_flown() -> None:
    """H = 14 to 24, U = 1: seen early the miss shrinks to tens of km; seen too late it is what the ground leaves."""
    h_mag = list(np.linspace(14.0, 24.0, 21))
    study = make_study(delivery=SAMPLES)
    found = judged(study, make_targets(h_mag, [1] * 21), burn=[20.0, 10.0, -15.0], v_rel=[5.0, -4.0, 3.0])
    before, after = larger_sigma_km(found.before_cov_km2), larger_sigma_km(found.delivery_cov_km2)
    too_late = found.detect_h_before - study.delivery.turnaround_hours < study.delivery.last_min_hours
    assert too_late.any()
    assert not too_late.all()
    assert np.array_equal(after[too_late], before[too_late])
    assert (found.seen_chance[too_late] == 0.0).all()
    flown = found.seen_chance > 0.5
    assert flown.any()
    assert (after[flown] < 0.1 * before[flown]).all()
    # the same bodies with a turnaround of half an hour: more of them can be corrected for
    quick = judged(
        make_study(delivery={**SAMPLES, "turnaround_hours": 0.5}), make_targets(h_mag, [1] * 21),
        burn=[20.0, 10.0, -15.0], v_rel=[5.0, -4.0, 3.0],
    )  # fmt: skip
    assert (quick.seen_chance > 0.5).sum() > flown.sum()
    assert larger_sigma_km(quick.delivery_cov_km2).sum() < after.sum()


def test_what_is_not_carried_is_not_delivered() -> None:
    """A burn at the limit leaves the allowance only; a small burn leaves the whole tank for corrections."""
    targets = make_targets([15.5], [2])
    direction = np.array([0.6, -0.64, 0.48])
    both = judged(
        make_study(delivery=SAMPLES),
        targets,
        [0, 0],
        burn=np.outer([149.0, 30.0], direction),
        v_rel=[5.0, -4.0, 3.0],
    )
    assert both.delivered_chance[0] < both.delivered_chance[1] or both.seen_chance[0] < both.seen_chance[1]
    assert both.expected_quality[0] < both.expected_quality[1]
    assert (both.dv99_m_s <= both.dv99_needed_m_s).all()
    assert both.dv99_m_s[0] < 10.0
    rich = judged(
        make_study(delivery={**SAMPLES, "correction_budget_m_s": 300.0}), targets, [0, 0],
        burn=np.outer([149.0, 30.0], direction), v_rel=[5.0, -4.0, 3.0],
    )  # fmt: skip
    assert rich.expected_quality[0] > both.expected_quality[0] + 0.1


BUDGETS_M_S = (5.0, 20.0, 60.0, 160.0)


@pytest.mark.parametrize(
    ("bodies", "samples"),
    [(60, 500), pytest.param(1000, 2000, marks=pytest.mark.slow)],
)
@pytest.mark.parametrize("asked", [(0.0,), (0.2,), (0.0, 0.2, 0.5, 0.8)])
def test_no_chance_falls_as_the_budget_grows(asked: tuple[float, ...], bodies: int, samples: int) -> None:
    """At every asked quality, for every body, whether the allowance for corrections or the tank grows."""
    rng = np.random.default_rng(7)
    targets = make_targets(list(rng.uniform(13.0, 19.0, bodies)), list(rng.integers(1, 7, bodies)))
    table = make_opportunities(targets, list(range(bodies)))
    few = {"samples": samples}
    studies = [
        [make_study(delivery={**few, "correction_budget_m_s": budget}) for budget in BUDGETS_M_S],
        [make_study(delivery=few, probe={"burn_limit_m_s": limit}) for limit in (110.0, 150.0, 180.0, 250.0)],
    ]
    for grown in studies:
        chances = [judge(study, table, targets, qualities=asked).chance_quality for study in grown]
        for less, more in itertools.pairwise(chances):
            assert (more >= less - 1e-12).all()
    assert chances[-1].sum() > 0.1 * bodies


def test_what_the_camera_only_sees_as_a_point_of_light_is_no_image() -> None:
    """A camera too coarse for ten pixels across at any allowed distance: not even quality 0 is had."""
    found = judged(make_study(delivery=SAMPLES), make_targets([16.0], [0]), **EASY)
    assert found.chance_quality[0, 0] > 0.5
    coarse = make_study(delivery=SAMPLES, probe={"camera_ifov_urad": 5e4})
    found = judged(coarse, make_targets([16.0], [0]), **EASY)
    assert found.best_quality[0] == 0.0
    assert found.chance_quality[0].tolist() == [0.0, 0.0, 0.0]


def test_the_share_of_hardly_any_quality_is_told() -> None:
    """P(seen) = P(seen, below a tenth) + P(a tenth or more)."""
    rng = np.random.default_rng(5)
    targets = make_targets(list(rng.uniform(14.0, 19.0, 40)), list(rng.integers(0, 6, 40)))
    table = make_opportunities(targets, list(range(40)))
    found = judge(make_study(delivery=SAMPLES), table, targets, qualities=(0.0, LOW_QUALITY))
    np.testing.assert_allclose(
        found.chance_low_quality, found.chance_quality[:, 0] - found.chance_quality[:, 1], atol=1e-12
    )
    assert found.chance_low_quality.max() > 0.0


def test_expected_quality_lies_among_the_chances() -> None:
    """E[q] <= P(q > 0) and >= 0.6 P(q >= 0.6); chances fall with the quality asked for."""
    rng = np.random.default_rng(2)
    targets = make_targets(list(rng.uniform(12.0, 22.0, 60)), list(rng.integers(0, 5, 60)))
    found = judged(make_study(delivery=SAMPLES), targets)
    chance = found.chance_quality
    assert (np.diff(chance, axis=1) <= 0.0).all()
    slack = 3.29 * np.sqrt(0.25 / 1000) + 0.02  # sampled, and the average good to a percent or so
    assert (found.expected_quality >= 0.6 * chance[:, 2] - slack).all()
    assert (found.expected_quality <= chance[:, 0] + slack).all()
    assert (found.expected_quality <= found.best_quality + 1e-9).all()
    for field in fields(Judged):
        assert np.isfinite(getattr(found, field.name).astype(float)).all(), field.name


def test_the_answer_does_not_depend_on_the_other_rows() -> None:
    """The table whole, in pieces, and turned round gives the same bytes."""
    targets = make_targets([13.0, 16.0, 18.0, 20.0, 23.0], [0, 1, 2, 0, 4])
    study = make_study(delivery=SAMPLES)
    table = make_opportunities(targets, [0, 1, 2, 3, 4] * 3)
    whole = judge(study, table, targets, qualities=QUALITIES)
    parts = [judge(study, table.slice(start, 4), targets, qualities=QUALITIES) for start in range(0, 15, 4)]
    turned = judge(study, table.take(list(range(14, -1, -1))), targets, qualities=QUALITIES)
    for field in fields(Judged):
        values = getattr(whole, field.name)
        joined = np.concatenate([getattr(part, field.name) for part in parts])
        assert values.tobytes() == joined.tobytes(), field.name
        assert values.tobytes() == getattr(turned, field.name)[::-1].tobytes(), field.name


def test_an_empty_table_and_an_unknown_number() -> None:
    targets = make_targets([14.0])
    assert judged(make_study(delivery=SAMPLES), targets, []).chance_quality.shape == (0, 3)
    broken = judged(
        make_study(delivery=SAMPLES, probe={"idle_w": 2.0}),
        targets,
        [0, 0],
        mothership_range_km=np.array([np.nan, 1e7]),
    )
    assert broken.chance_returned[1] == 1.0
    lost = judged(
        make_study(delivery=SAMPLES), targets, [0, 0], v_rel=np.array([[np.nan, 1.0, 1.0], [5.0, 1.0, 1.0]])
    )
    assert lost.chance_quality[0].tolist() == [0.0, 0.0, 0.0]
    assert lost.chance_quality[1, 0] == 1.0


EASY = {"burn": [20.0, 10.0, -15.0], "v_rel": [5.0, -4.0, 3.0]}


@pytest.mark.parametrize(
    ("reason", "sections", "h_mag", "columns"),
    [
        (OK, {}, 13.0, {}),
        (STORAGE, {"probe": {"keepalive_w": 0.0}}, 13.0, {}),
        (LIFE, {"probe": {"cruise_life_days": 150.0}}, 13.0, {}),
        (POWER, {"probe": {"idle_w": 50.0, "battery_wh": 0.1}}, 13.0, {}),
        (CONJUNCTION, {"constraints": {"sun_earth_probe_min_deg": 179.9}}, 13.0, {}),
        (LINK, {"probe": {"transmit_gain_dbi": -10.0}}, 13.0, {}),
        (RESOLUTION, {}, 24.0, {"v_rel": [9.0, -7.0, 5.0]}),
        (MOTION, {"probe": {"exposure_ms": 1e4}}, 14.0, {}),
        (NEVER_SEEN, {}, 12.5, {}),
        (SEEN_TOO_LATE, {}, 20.0, {}),
        (TOO_DEAR, {"delivery": {"correction_budget_m_s": 0.0}}, 15.0, {"burn": [88.0, 88.0, 80.0]}),
        (CAPTURE, {"probe": {"autonomous_tracking": False}}, 14.0, {}),
    ],
)
def test_why_it_is_worth_little(reason: int, sections: dict, h_mag: float, columns: dict) -> None:
    sections = {**sections, "delivery": {**SAMPLES, **sections.get("delivery", {})}}
    targets = make_targets([h_mag], [9 if reason == NEVER_SEEN else 1])
    found = judged(make_study(**sections), targets, **{**EASY, **columns})
    assert REASONS[found.reason[0]] == REASONS[reason]


def test_a_body_lit_from_behind_all_the_way() -> None:
    """Along the Sun's direction every side of the pass is seen at 90 deg at closest approach: well lit."""
    targets = make_targets([13.0])
    place = np.array([make_opportunities(targets, [0])[f"target_{axis}_km"][0].as_py() for axis in "xyz"])
    away = 8.0 * place / np.linalg.norm(place)
    for v_rel in (away, -away):
        found = judged(make_study(delivery=SAMPLES), targets, v_rel=v_rel)
        assert found.best_quality[0] > 0.9
        assert found.reason[0] != PHASE


@pytest.mark.parametrize(
    ("section", "keys", "field", "grows"),
    [
        ("probe", {"limiting_mag": 8.0}, "detect_range_km", False),
        ("probe", {"execution_proportional": 0.05, "execution_pointing_mrad": 60.0}, "dv99_needed_m_s", True),
        ("probe", {"spring_m_s": 5.0}, "start_cov_km2", True),
        ("probe", {"transmit_gain_dbi": 29.0}, "downlink_h", False),
        ("probe", {"images_kept": 200}, "data_mbit", True),
        ("knowledge", {"probe_position_km": 300.0}, "before_cov_km2", True),
        ("knowledge", {"target_floor_km": 1000.0}, "before_cov_km2", True),
        ("knowledge", {"runoff_fraction": 1.0 / 3.0}, "sigma_time_s", False),
        ("delivery", {"spring_fraction": 0.5}, "start_cov_km2", True),
        (
            "delivery",
            {"corrections_before_days": [], "corrections_after_burn_days": []},
            "before_cov_km2",
            True,
        ),
    ],
)
def test_every_error_matters(section: str, keys: dict, field: str, grows: bool) -> None:
    """Each changed key moves its figure by a tenth at least, in the direction it must."""
    # a smaller body for the data: those of a large one are limited by the link
    targets = make_targets([16.0 if field in ("downlink_h", "data_mbit") else 13.0], [0])
    plain = judged(make_study(delivery=SAMPLES), targets, **EASY)
    sections: dict[str, Any] = {"delivery": SAMPLES}
    sections[section] = {**sections.get(section, {}), **keys}
    changed = judged(make_study(**sections), targets, **EASY)
    before, after = (float(getattr(found, field).reshape(1, -1)[0, 0]) for found in (plain, changed))
    assert after > 1.1 * before if grows else after < before / 1.1


def test_orbits_known_by_covariance_are_used() -> None:
    """The same body with a covariance of a well-observed orbit is delivered better than with U = 4."""
    sigma = np.array([[1e-9, 1e-9, 1e-7, 1e-7, 1e-7, 1e-7]])
    study = make_study(delivery=SAMPLES)
    by_u = judged(study, make_targets([18.0], [4]), **EASY)
    by_covariance = judged(study, make_targets([18.0], [4], element_sigma=sigma), **EASY)
    assert larger_sigma_km(by_covariance.before_cov_km2) < 0.01 * larger_sigma_km(by_u.before_cov_km2)
    assert by_covariance.expected_quality[0] > by_u.expected_quality[0] + 0.1


def test_later_releases_and_the_life_in_store() -> None:
    """Releases beyond the life in store return nothing; the last days of the study are within it by default."""
    targets = make_targets([13.0])
    early, late = START_JD_TDB + 300.0, END_JD_TDB - 5.0
    found = judged(
        make_study(probe={"storage_life_days": 1000.0, "idle_w": 2.0}, delivery=SAMPLES), targets, [0, 0],
        arc_days=100.0, encounter_jd_tdb=np.array([early, late]), **EASY,
    )  # fmt: skip
    assert found.chance_returned.tolist() == [1.0, 0.0]
    assert found.reason[1] == STORAGE
