"""The record itself: taking bodies, and refusing columns that do not belong together."""

from __future__ import annotations

import numpy as np
import pytest

from targets.bodies import SCHEMA
from targets.catalogue import Catalogue
from targets.invented import invented_belt


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
