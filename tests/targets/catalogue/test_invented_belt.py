"""The invented belt: repeatable, plainly invented, and like the known belt where a screen depends on it."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from targets.base.errors import InputError
from targets.catalogue.invented import GAPS, gap_centre_au, invented_belt
from targets.catalogue.reading import Catalogue, read_catalogue
from tests.helpers.places import ROOT


@pytest.fixture(scope="module")
def belt() -> Catalogue:
    return invented_belt(200_000, 11)


def _same(one: Catalogue, other: Catalogue) -> bool:
    return one.to_table().equals(other.to_table())


def test_the_same_seed_gives_the_same_belt_and_another_seed_another() -> None:
    assert _same(invented_belt(3000, 4), invented_belt(3000, 4))
    assert not _same(invented_belt(3000, 4), invented_belt(3000, 5))


def test_the_same_seed_in_another_process_gives_the_same_bytes(tmp_path: Path) -> None:
    invented_belt(3000, 4).write_parquet(tmp_path / "here.parquet")
    code = (
        "import sys, pathlib; from targets.catalogue.invented import invented_belt; "
        "invented_belt(3000, 4).write_parquet(pathlib.Path(sys.argv[1]))"
    )
    environment = os.environ | {"PYTHONHASHSEED": "7", "PYTHONPATH": str(ROOT)}
    subprocess.run([sys.executable, "-c", code, str(tmp_path / "there.parquet")], check=True, env=environment)
    assert (tmp_path / "here.parquet").read_bytes() == (tmp_path / "there.parquet").read_bytes()


def test_a_smaller_belt_is_the_beginning_of_a_larger_one(belt: Catalogue) -> None:
    assert _same(invented_belt(70_000, 11), belt.take(slice(0, 70_000)))


def test_names_cannot_be_taken_for_designations(belt: Catalogue) -> None:
    assert all(re.fullmatch(r"INV-\d{7}", target) for target in belt.target[:1000])
    assert len(set(belt.target)) == len(belt)
    assert not any(belt.name)


def test_every_column_is_within_its_meaning(belt: Catalogue) -> None:
    assert (np.unique(belt.epoch_jd_tdb) == [2461000.5]).all()
    assert ((belt.a_au >= 2.1) & (belt.a_au <= 3.3)).all()
    assert ((belt.e >= 0) & (belt.e <= 0.35)).all()
    assert ((belt.i_deg >= 0) & (belt.i_deg <= 33)).all()
    assert all(((getattr(belt, f"{angle}_deg") >= 0) & (getattr(belt, f"{angle}_deg") < 360)).all()
               for angle in ("node", "argp", "mean_anomaly"))  # fmt: skip
    assert ((belt.u_code >= 0) & (belt.u_code <= 9)).all()
    assert not belt.assumed.any()


def test_the_belt_lies_where_the_known_one_does(belt: Catalogue) -> None:
    # known belt, from memory: median a 2.65-2.75 au, mean e 0.14, mean i 8 deg
    assert 2.6 < np.median(belt.a_au) < 2.8
    assert 0.12 < belt.e.mean() < 0.16
    assert 7.0 < belt.i_deg.mean() < 9.0


# Kirkwood gaps, textbook values: 3:1 at 2.50, 5:2 at 2.82, 7:3 at 2.96, 2:1 at 3.28 au
@pytest.mark.parametrize(("p", "q", "centre_au"), [(3, 1, 2.50), (5, 2, 2.82), (7, 3, 2.96), (2, 1, 3.28)])
def test_the_gaps_are_deep_and_in_their_place(belt: Catalogue, p: int, q: int, centre_au: float) -> None:
    assert (p, q) in [gap[:2] for gap in GAPS]
    assert gap_centre_au(p, q) == pytest.approx(centre_au, abs=0.006)
    inside = np.abs(belt.a_au - gap_centre_au(p, q)) < 0.003
    beside = np.abs(belt.a_au - gap_centre_au(p, q) + 0.05) < 0.003
    assert inside.sum() < 0.35 * beside.sum()


def test_numbers_grow_with_h_as_in_the_known_belt(belt: Catalogue) -> None:
    # Ivezic et al. 2001 (AJ 122, 2749; from memory): log N(<H) grows by 0.61 per mag in the bright part and
    # 0.25 in the faint part, the turn near H = 15.5. The scatter of albedo smooths the turn.
    bright = np.log10((belt.h_mag < 13.5).sum() / (belt.h_mag < 12.5).sum())
    faint = np.log10((belt.h_mag < 17.0).sum() / (belt.h_mag < 16.0).sum())
    assert 0.45 < bright < 0.65
    assert 0.20 < faint < 0.32


def test_a_realistic_minority_is_known(belt: Catalogue) -> None:
    small, large = belt.h_mag > 17, belt.h_mag < 12
    assert 0.02 < (belt.taxonomy[small] != "").mean() < 0.08
    assert (belt.taxonomy[large] != "").mean() > 0.2
    assert 0.03 < np.isfinite(belt.diameter_km[small]).mean() < 0.15
    assert np.isfinite(belt.diameter_km[large]).mean() > 0.5
    assert (np.isfinite(belt.diameter_km) == np.isfinite(belt.albedo)).all()


def test_known_sizes_agree_with_brightness(belt: Catalogue) -> None:
    known = np.isfinite(belt.diameter_km) & (belt.diameter_km > 1)
    h_mag = 5 * np.log10(1329 / np.sqrt(belt.albedo[known]) / belt.diameter_km[known])
    assert np.abs(h_mag - belt.h_mag[known]).max() < 0.1  # albedos are given to 0.001


def test_a_belt_is_read_like_any_catalogue(tmp_path: Path) -> None:
    settings = SimpleNamespace(format="invented", bodies=10, seed=2, epoch=2462000.5)
    reading = read_catalogue(settings, tmp_path)
    assert (len(reading.catalogue), reading.rejects.num_rows) == (10, 0)
    assert (reading.catalogue.epoch_jd_tdb == 2462000.5).all()
    assert reading.notes[0].startswith("Invented belt, no real body in it: 10 bodies, seed 2")
    settings.seed = 3
    assert read_catalogue(settings, tmp_path).source_sha256 != reading.source_sha256


@pytest.mark.parametrize("wrong", [{"bodies": 0}, {"bodies": None}, {"seed": None}, {"seed": -1}])
def test_a_belt_of_nothing_is_refused(tmp_path: Path, wrong: dict) -> None:
    settings = SimpleNamespace(**({"format": "invented", "bodies": 10, "seed": 2} | wrong))
    with pytest.raises(InputError, match="an invented belt needs"):
        read_catalogue(settings, tmp_path)
