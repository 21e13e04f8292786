"""Pixels across and images expected, against values by hand and against the judgement's own rule."""

import numpy as np
import pyarrow as pa
import pytest

from swarm.encounter.images import images_of_flybys, pixels_home
from swarm.run.kinds import ENCOUNTERS
from targets.catalogue.invented import invented_belt
from tests.helpers.places import FIREWEED


def camera(study, **keys):
    told = {"camera_ifov_urad": 20.0, "camera_aperture_mm": 60.0, "camera_pixels": 2048, "images_kept": 20,
            "bits_per_pixel": 2.5, "image_window": 2.0, "data_min_mbit": 5.0}  # fmt: skip
    return study.probe.model_copy(update=told | keys)


@pytest.fixture(scope="module")
def study():
    from swarm.study.study_file import read_study

    return read_study(FIREWEED)


def test_pixels_across_by_hand(study):
    """Ground sample = range x pixel angle (Larson, Wertz, 3rd ed., ch. 9): at 500 km and 20 urad 10 m; 2 km are 200."""
    assert pixels_home(camera(study), 2.0, 500.0, 1e4) == pytest.approx(200.0)
    assert pixels_home(camera(study), 2.0, 1000.0, 1e4) == pytest.approx(100.0)
    # an aperture of 20 mm at 550 nm resolves 1.22 x 550e-9 / 0.02 = 33.55 urad (Rayleigh): 16.78 m there
    assert pixels_home(camera(study, camera_aperture_mm=20.0), 2.0, 500.0, 1e4) == pytest.approx(
        119.2, abs=0.1
    )


def test_at_most_the_detector_and_nothing_where_nothing_is_aimed_at(study):
    assert pixels_home(camera(study), 100.0, 500.0, 1e6) == 2048.0
    assert np.isnan(pixels_home(camera(study), 2.0, 0.0, 1e4))
    assert np.isnan(pixels_home(camera(study), 2.0, np.nan, np.nan))


def test_data_that_cannot_be_sent_make_images_coarser(study):
    # 20 images of (2 x 200)^2 px at 2.5 bit: 8 Mbit; a quarter of that pays for half the pixels across
    assert pixels_home(camera(study), 2.0, 500.0, 8.0) == pytest.approx(200.0)
    assert pixels_home(camera(study, data_min_mbit=0.1), 2.0, 500.0, 2.0) == pytest.approx(100.0)
    # smaller sets are filled up to the least that is sent: they are not short
    assert pixels_home(camera(study), 0.2, 500.0, 5.0) == pytest.approx(20.0)


def test_images_expected_are_kept_images_times_three_chances(study):
    belt = invented_belt(2, 1)
    belt.diameter_km[:], belt.albedo[:], belt.h_mag[:] = (2.0, np.nan), (0.1, 0.25), (17.0, 15.0)
    rows = pa.table({"opportunity": [7, 9], "target_index": [0, 1]})
    judged = pa.table({"aim_km": [500.0, 500.0], "data_mbit": [1e4, 1e4], "hardware": [0.8, 0.8],
                       "chance_returned": [0.5, 1.0], "shown_chance": [0.9, 0.0]})  # fmt: skip

    made = images_of_flybys(study, rows, judged, belt)
    kept = study.probe.images_kept
    assert made["images_expected"].to_pylist() == pytest.approx([kept * 0.36, 0.0])
    assert made["opportunity"].to_pylist() == [7, 9]
    # the second has no size of its own: D = 1329 km / sqrt(albedo) 10^(-H/5) (Fowler and Chillemi, 1992)
    size = 1329.0 / 0.5 * 10.0**-3.0
    assert made["diameter_km"].to_pylist() == pytest.approx([2.0, size], rel=1e-3)


def test_only_kinds_whose_targets_are_seen_whole_have_them():
    assert [kind.name for kind in ENCOUNTERS.values() if kind.images] == ["flyby"]
