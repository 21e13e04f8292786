"""The covariance of single bodies: against the database's own sigmas, central differences, and a cloud of orbits."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from targets.catalogue.bodies import ELEMENT_ORDER, Catalogue
from targets.catalogue.readers.sbdb_body import element_jacobian, mean_motion_deg_d
from targets.catalogue.reading import read_catalogue
from tests.helpers.places import AUTHORITIES

TOL_PRINTED = 6e-5  # the database prints a sigma with 5 digits


@pytest.fixture(scope="module")
def answers() -> list[dict[str, Any]]:
    """Ceres, YORP, 2001 VB and Eros as the database answered (tests/authorities/README.md)."""
    return json.loads((AUTHORITIES / "sbdb_objects.json").read_text())


@pytest.fixture
def read(read_bytes):
    def of(*bodies: dict[str, Any], single: bool = False):
        return read_bytes(json.dumps(bodies[0] if single else bodies).encode(), format="sbdb-json")

    return of


def _printed(body: dict[str, Any], key: str) -> np.ndarray:
    entries = {entry["name"]: float(entry[key]) for entry in body["orbit"]["elements"]}
    return np.array([entries[name] for name in ("a", "e", "i", "om", "w", "ma")])


def _elements(catalogue: Catalogue, row: int) -> np.ndarray:
    return np.array([getattr(catalogue, name)[row] for name in ELEMENT_ORDER])


def test_sigmas_of_a_and_m_are_those_the_database_prints(read, answers) -> None:
    """2001 VB: one epoch for elements and covariance, so that both kinds of sigma must agree."""
    body = read(answers[2], single=True).catalogue
    np.testing.assert_allclose(body.element_sigma[0], _printed(answers[2], "sigma"), rtol=TOL_PRINTED)
    np.testing.assert_array_equal(_elements(body, 0), _printed(answers[2], "value"))
    assert body.epoch_jd_tdb[0] == 2452220.5


def test_mean_motion_is_the_database_s(answers) -> None:
    for body in answers:
        entries = {entry["name"]: float(entry["value"]) for entry in body["orbit"]["elements"]}
        assert mean_motion_deg_d(entries["a"]) == pytest.approx(entries["n"], rel=1e-12)


def test_a_body_is_taken_at_the_epoch_of_its_covariance_and_told(read, answers) -> None:
    reading = read(*answers)
    assert reading.catalogue.target.tolist() == ["1", "54509", "2001 VB", "433"]
    assert reading.catalogue.epoch_jd_tdb.tolist() == [2458849.5, 2452655.5, 2452220.5, 2453311.5]
    assert any(note.startswith("3 rows taken: at the epoch of their covariance") for note in reading.notes)
    eros = _elements(reading.catalogue, 3)
    np.testing.assert_allclose(
        eros[1:5], [0.2228078944584026, 10.8291838260782, 304.4010273379536, 178.665326776373]
    )
    assert eros[0] == pytest.approx(1.133355399799004 / (1 - 0.2228078944584026), rel=1e-14)
    days_to_perihelion = 2453371.585994305078 - 2453311.5
    assert eros[5] == pytest.approx(360.0 - days_to_perihelion * mean_motion_deg_d(eros[0]), abs=1e-9)


def test_the_orbit_at_the_epoch_of_the_covariance_is_the_same_orbit(read, answers) -> None:
    """Ceres is carried from 2020 to 2023 by two-body motion and found where its newest elements put it.

    Planets move Ceres by some 0.02 au in three years; a mean anomaly of the wrong sign is off by an au.
    """
    old = read(answers[0]).catalogue
    newest = copy.deepcopy(answers[0])
    del newest["orbit"]["covariance"]
    new = read(newest).catalogue
    days = new.epoch_jd_tdb[0] - old.epoch_jd_tdb[0]
    carried_deg = (
        old.mean_anomaly_deg[0] + mean_motion_deg_d(old.a_au[0]) * days + old.node_deg[0] + old.argp_deg[0]
    ) % 360
    newest_deg = (new.mean_anomaly_deg + new.node_deg + new.argp_deg)[0] % 360
    assert abs(carried_deg - newest_deg) < 0.5


def test_the_jacobian_equals_central_differences() -> None:
    e, q_au, since = 0.35, 0.9, 400.0

    def elements(x: np.ndarray) -> np.ndarray:
        a_au = x[1] / (1 - x[0])
        return np.array([a_au, x[0], x[5], x[3], x[4], mean_motion_deg_d(a_au) * (since - x[2])])

    at, step = np.array([e, q_au, 0.0, 50.0, 60.0, 7.0]), 1e-6
    columns = [(elements(at + step * axis) - elements(at - step * axis)) / (2 * step) for axis in np.eye(6)]
    np.testing.assert_allclose(
        element_jacobian(e, q_au, days_from_perihelion=since), np.transpose(columns), rtol=1e-7, atol=1e-7
    )


def test_a_cloud_of_orbits_spreads_as_the_covariance_says(read, answers) -> None:
    """Draw (e, q, tp) of 2001 VB, turn each draw into (a, e, M), and compare spreads and correlations."""
    block = answers[2]["orbit"]["covariance"]
    given = np.array(block["data"], dtype=float)
    scale = 1e-6  # small enough for first order: a of 2001 VB is uncertain by 6 %
    rng = np.random.default_rng(11)
    e, q_au, tp = rng.multivariate_normal(np.zeros(3), given[:3, :3] * scale, size=200_000).T
    e0, q0, tp0 = 0.9001705334418848, 0.2387878641128072, 2452258.625549284865 - 2452220.5
    a_au = (q0 + q_au) / (1 - e0 - e)
    ma_deg = np.array([mean_motion_deg_d(a) for a in a_au]) * -(tp0 + tp)
    expected = read(answers[2]).catalogue.element_covariance[0][np.ix_([0, 1, 5], [0, 1, 5])] * scale
    found = np.cov([a_au, e, ma_deg])
    sigma = np.sqrt(np.diagonal(expected))
    np.testing.assert_allclose(found / np.outer(sigma, sigma), expected / np.outer(sigma, sigma), atol=0.02)


def test_a_covariance_with_force_model_rows_keeps_the_six_elements(read, answers) -> None:
    """YORP: the seventh row is its transverse acceleration; the sigmas beside the block are the check."""
    body = read(answers[1]).catalogue
    block = {entry["name"]: entry["sigma"] for entry in answers[1]["orbit"]["covariance"]["elements"]}
    found = dict(zip(ELEMENT_ORDER, np.sqrt(np.diagonal(body.element_covariance[0])), strict=True))
    assert found["e"] == pytest.approx(block["e"], rel=1e-12)
    assert found["i_deg"] == pytest.approx(block["i"], rel=1e-12)
    assert found["node_deg"] == pytest.approx(block["om"], rel=1e-12)
    assert found["argp_deg"] == pytest.approx(block["w"], rel=1e-12)


def test_rows_are_found_by_their_labels(read, answers) -> None:
    turned = copy.deepcopy(answers[3])
    block = turned["orbit"]["covariance"]
    order = [5, 0, 3, 1, 4, 2]
    block["labels"] = [block["labels"][k] for k in order]
    block["data"] = [[block["data"][j][k] for k in order] for j in order]
    np.testing.assert_allclose(
        read(turned).catalogue.element_covariance, read(answers[3]).catalogue.element_covariance, rtol=1e-14
    )


def test_physical_values_come_along(read, answers) -> None:
    eros = read(answers[3]).catalogue
    assert (eros.h_mag[0], eros.g_slope[0], eros.diameter_km[0], eros.albedo[0]) == (10.38, 0.46, 16.84, 0.25)
    assert (eros.name[0], eros.taxonomy[0], eros.u_code[0], eros.assumed[0]) == ("Eros", "S", 0, 0)


def test_without_a_covariance_the_newest_elements_and_their_sigmas_are_taken(read, answers) -> None:
    for absent in ("drop", None, {}):
        bare = copy.deepcopy(answers[3])
        bare["orbit"]["covariance"] = absent
        if absent == "drop":
            del bare["orbit"]["covariance"]
        reading = read(bare)
        assert reading.catalogue.element_covariance is None
        assert reading.catalogue.epoch_jd_tdb[0] == 2461000.5
        np.testing.assert_array_equal(reading.catalogue.element_sigma[0], _printed(bare, "sigma"))
        assert not any("covariance" in note for note in reading.notes)


def _set(path: str, value: Any):
    def change(orbit: dict[str, Any]) -> None:
        *way, last = path.split(".")
        for key in way:
            orbit = orbit[key]
        orbit[last] = value

    return change


def _all_elements(value: str) -> list[dict[str, str]]:
    return [{"name": name, "value": value} for name in ("e", "q", "tp", "i", "om", "w")]


BROKEN = {
    "no labels": _set("covariance.labels", None),
    "a label is missing": _set("covariance.labels", ["e", "q", "tp", "node", "peri", "x"]),
    "no data": _set("covariance.data", None),
    "a row too few": _set("covariance.data", [[1.0] * 6] * 5),
    "text": _set("covariance.data", [["x"] * 6] * 6),
    "not finite": _set("covariance.data", [[float("inf")] * 6] * 6),
    "negative variance": _set("covariance.data", (-np.eye(6)).tolist()),
    "not symmetric": _set("covariance.data", np.triu(np.ones((6, 6))).tolist()),
    "no epoch": _set("covariance.epoch", None),
    "no elements for its epoch": _set("covariance.elements", None),
    "elements that are none": _set("covariance.elements", [{"name": "e", "value": ".2"}]),
    "an open orbit": _set("covariance.elements", _all_elements("1.5")),
    "no numbers": _set("covariance.elements", _all_elements("nan")),
    "an orbit without size": _set("covariance.elements", _all_elements("1e-200")),
    "no block": _set("covariance", "yes"),
}  # fmt: skip


@pytest.mark.parametrize("change", BROKEN.values(), ids=BROKEN)
def test_a_covariance_that_cannot_be_used_loses_no_body(read, answers, change) -> None:
    broken = copy.deepcopy(answers[3])
    change(broken["orbit"])
    reading = read(broken, answers[2])
    body = reading.catalogue
    assert body.target.tolist() == ["433", "2001 VB"]
    assert body.epoch_jd_tdb[0] == 2461000.5
    assert np.isnan(body.element_covariance[0]).all()
    assert np.isfinite(body.element_covariance[1]).all()
    np.testing.assert_array_equal(body.element_sigma[0], _printed(broken, "sigma"))
    assert any(note.startswith("1 rows taken: without their covariance") for note in reading.notes)


def test_it_survives_parquet_and_taking(read, answers, tmp_path: Path) -> None:
    body = read(*answers).catalogue.take([3, 1])
    body.write_parquet(tmp_path / "again.parquet")
    ways = [
        Catalogue.read_parquet(tmp_path / "again.parquet"),
        Catalogue.from_table(body.to_table()),
        read_catalogue(SimpleNamespace(format="own", file="again.parquet"), tmp_path).catalogue,
    ]
    for again in ways:
        np.testing.assert_array_equal(again.element_covariance, body.element_covariance)
        np.testing.assert_array_equal(again.element_sigma, body.element_sigma)
