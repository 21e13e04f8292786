"""Apparent magnitudes against JPL Horizons (tests/authorities/README.md says which rows)."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from targets.catalogue.physical import apparent_magnitude

TOL_MAG = 0.002  # Horizons prints 0.001 mag; near 0.1 deg phase its slope angle is rounded as well


def _rows(authorities: Path) -> dict[str, np.ndarray]:
    with (authorities / "horizons_ephemeris.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    return {
        key: np.array([float(row[key]) for row in rows]) for key in ("H", "G", "r", "delta", "alpha", "V")
    }


def test_horizons_magnitudes_below_120_deg_phase(authorities: Path) -> None:
    sky = _rows(authorities)
    below = sky["alpha"] < 120.0
    assert below.sum() >= 30
    computed = apparent_magnitude(sky["H"], sky["G"], sky["r"], sky["delta"], sky["alpha"])
    assert np.abs(computed - sky["V"])[below].max() < TOL_MAG


def test_the_slope_of_eros_matters(authorities: Path) -> None:
    sky = _rows(authorities)
    eros = sky["G"] == 0.46
    with_default_slope = apparent_magnitude(sky["H"], 0.15, sky["r"], sky["delta"], sky["alpha"])
    assert eros.any()
    assert (np.abs(with_default_slope - sky["V"])[eros] > 0.3).all()
