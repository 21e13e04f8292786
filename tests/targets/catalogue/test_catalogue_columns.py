"""The record itself: taking bodies, and refusing columns that do not belong together."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from targets.base.errors import InputError
from targets.catalogue.bodies import SCHEMA
from targets.catalogue.invented import invented_belt
from targets.catalogue.readers.own import write_csv
from targets.catalogue.reading import Catalogue, read_catalogue


@pytest.mark.parametrize(
    ("index", "targets"),
    [
        ([2, 0], ["INV-0000002", "INV-0000000"]),
        (slice(1, 3), ["INV-0000001", "INV-0000002"]),
        (np.array([True, False, False, True]), ["INV-0000000", "INV-0000003"]),
        ([], []),
    ],
)
def test_take_keeps_the_order_asked_for(index, targets) -> None:
    taken = invented_belt(4, 1).take(index)
    assert taken.target.tolist() == targets
    assert all(len(getattr(taken, name)) == len(targets) == len(taken) for name in SCHEMA.names)


def test_columns_of_different_length_are_refused() -> None:
    with pytest.raises(ValueError, match="differ in length"):
        Catalogue(**(vars(invented_belt(4, 1)) | {"e": np.zeros(3)}))


def test_no_body_makes_an_empty_table_and_back() -> None:
    empty = Catalogue.from_table(invented_belt(2, 1).take([]).to_table())
    assert len(empty) == 0
    assert empty.states()[1].shape == (0, 3)


def _uncertain(n: int) -> Catalogue:
    belt = invented_belt(n, 1)
    sigma = np.arange(6.0 * n).reshape(n, 6)
    covariance = np.arange(36.0 * n).reshape(n, 6, 6)
    sigma[0, 2] = covariance[n - 1, 0, 0] = np.nan
    return Catalogue(**(vars(belt) | {"element_sigma": sigma, "element_covariance": covariance}))


def test_a_catalogue_without_uncertainties_carries_none() -> None:
    belt = invented_belt(4, 1)
    assert (belt.element_sigma, belt.element_covariance) == (None, None)
    assert belt.to_table().schema.equals(SCHEMA)
    assert belt.take([1]).element_sigma is None
    assert Catalogue.from_table(belt.to_table()).element_covariance is None


def test_uncertainties_follow_their_bodies() -> None:
    whole = _uncertain(4)
    taken = whole.take([2, 0])
    np.testing.assert_array_equal(taken.element_sigma, whole.element_sigma[[2, 0]])
    np.testing.assert_array_equal(taken.element_covariance, whole.element_covariance[[2, 0]])


@pytest.mark.parametrize("index", [slice(None), [], [3]])
def test_uncertainties_survive_tables_and_parquet(tmp_path: Path, index) -> None:
    whole = _uncertain(4).take(index)
    whole.write_parquet(tmp_path / "a.parquet")
    for again in (Catalogue.from_table(whole.to_table()), Catalogue.read_parquet(tmp_path / "a.parquet")):
        np.testing.assert_array_equal(again.element_sigma, whole.element_sigma)
        np.testing.assert_array_equal(again.element_covariance, whole.element_covariance)


@pytest.mark.parametrize(
    ("column", "what"),
    [
        (pa.array([1.0] * 4), "no column of lists"),
        (pa.array([["a"] * 6] * 4), "no column of lists"),
        (pa.array([[1.0] * 6] * 3 + [[1.0] * 5]), "another length"),
        (pa.array([[1.0] * 6] * 3 + [None]), "another length"),
    ],
)
def test_a_column_that_is_no_uncertainty_is_an_error(tmp_path: Path, column, what) -> None:
    table = invented_belt(4, 1).to_table().append_column("element_sigma", column)
    with pytest.raises(InputError, match=what):
        Catalogue.from_table(table)
    pq.write_table(table, tmp_path / "bad.parquet")
    with pytest.raises(InputError, match=rf"bad\.parquet(.|\n)*{what}"):
        read_catalogue(SimpleNamespace(format="own", file="bad.parquet"), tmp_path)


@pytest.mark.parametrize("wrong", [np.zeros((4, 5)), np.zeros(4), np.zeros((3, 6))])
def test_uncertainties_of_another_shape_are_refused(wrong) -> None:
    with pytest.raises(ValueError, match=r"shape|differ in length"):
        Catalogue(**(vars(invented_belt(4, 1)) | {"element_sigma": wrong}))


def test_csv_leaves_uncertainties_out(tmp_path: Path) -> None:
    whole = _uncertain(4)
    write_csv(whole, tmp_path / "a.csv")
    again = read_catalogue(SimpleNamespace(format="own", file="a.csv"), tmp_path).catalogue
    assert again.element_sigma is None
    assert again.to_table().equals(whole.to_table().select(SCHEMA.names))
