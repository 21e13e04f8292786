"""Elements to states against JPL Horizons (tests/authorities/README.md)."""

from __future__ import annotations

import csv
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.catalogue.readers.own import REQUIRED
from targets.catalogue.reading import read_catalogue
from targets.motion.twobody import states_from_elements

MU_AU3_D2 = 2.9591220828411956e-04  # of the source
TOL_RELATIVE = 1e-12
MJD_ZERO_JD = 2_400_000.5


def _closed_orbits(file: Path) -> list[dict[str, str]]:
    with file.open(newline="") as text:
        return [row for row in csv.DictReader(text) if float(row["e"]) < 1.0]


def _numbers(rows: list[dict[str, str]], *keys: str) -> np.ndarray:
    return np.array([[float(row[key]) for key in keys] for row in rows])


def _relative(found: np.ndarray, expected: np.ndarray) -> float:
    return float((np.linalg.norm(found - expected, axis=1) / np.linalg.norm(expected, axis=1)).max())


def test_horizons_elements_give_horizons_states(authorities: Path) -> None:
    rows = _closed_orbits(authorities / "horizons_elements_sun_ec.csv")
    assert len(rows) == 27
    a_au, e, *angles_deg = _numbers(rows, "a", "e", "incl", "Omega", "w", "M").T
    r_au, v_au_d = states_from_elements(a_au, e, *np.radians(angles_deg), mu_km3_s2=MU_AU3_D2)
    assert _relative(r_au, _numbers(rows, "x", "y", "z")) < TOL_RELATIVE
    assert _relative(v_au_d, _numbers(rows, "vx", "vy", "vz")) < TOL_RELATIVE


def _read_as_own_format(rows: list[dict[str, str]], folder: Path):
    keys = ("mjd_tdb", "a", "e", "incl", "Omega", "w", "M")
    lines = [",".join(REQUIRED)]
    for k, row in enumerate(rows):
        epoch = float(row["mjd_tdb"]) + MJD_ZERO_JD
        lines.append(",".join([f"body {k}", repr(epoch), *(row[key] for key in keys[1:])]))
    (folder / "bodies.csv").write_text("\n".join(lines))
    return read_catalogue(SimpleNamespace(format="own", file="bodies.csv"), folder)


def test_catalogue_states_are_icrf(authorities: Path, tmp_path: Path) -> None:
    """From elements in ecliptic axes to Horizons' own states in ICRF axes, through a file."""
    reading = _read_as_own_format(_closed_orbits(authorities / "horizons_elements_sun_ec.csv"), tmp_path)
    expected = _closed_orbits(authorities / "horizons_elements_sun_eq.csv")
    epoch_tdb_s, r_km, v_km_s = reading.catalogue.states()
    assert _relative(r_km / AU_KM, _numbers(expected, "x", "y", "z")) < TOL_RELATIVE
    assert _relative(v_km_s * DAY_S / AU_KM, _numbers(expected, "vx", "vy", "vz")) < TOL_RELATIVE
    j2000_mjd = 51_544.5
    np.testing.assert_allclose(
        epoch_tdb_s, (_numbers(expected, "mjd_tdb")[:, 0] - j2000_mjd) * DAY_S, rtol=1e-15
    )


def test_without_the_rotation_the_states_are_far_off(authorities: Path, tmp_path: Path) -> None:
    rows = _closed_orbits(authorities / "horizons_elements_sun_ec.csv")
    _, r_km, _ = _read_as_own_format(rows, tmp_path).catalogue.states()
    assert _relative(r_km / AU_KM, _numbers(rows, "x", "y", "z")) > 0.1


def test_gm_of_the_sun_is_that_of_horizons() -> None:
    assert pytest.approx(MU_AU3_D2, rel=1e-12) == GM_SUN_KM3_S2 * DAY_S**2 / AU_KM**3


def test_the_hyperbola_is_not_taken(authorities: Path, tmp_path: Path) -> None:
    with (authorities / "horizons_elements_sun_ec.csv").open(newline="") as text:
        reading = _read_as_own_format(list(csv.DictReader(text)), tmp_path)
    assert len(reading.catalogue) == 27
    assert reading.rejects["line"].to_pylist() == [29]
    assert "unbound" in reading.rejects["reason"][0].as_py()
