"""Sizes, the class-free part of a row, and the chance of a class - never the best case."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from targets.base.errors import InputError
from targets.catalogue.bodies import ASSUMED_H
from targets.catalogue.classes import LABELS, NEAR_EARTH, ZONES, label_of
from targets.catalogue.invented import invented_belt
from targets.catalogue.reading import Catalogue
from targets.catalogue.worth import (
    albedos,
    body_matches,
    class_chances,
    diameters,
    row_labels,
    taxonomy_chances,
)

TWO_BODIES = invented_belt(2, 1)


def _chance(catalogue, label: str) -> np.ndarray:
    labels, chances = class_chances(catalogue)
    return chances[:, labels.index(label)]


def test_a_given_diameter_is_used(bodies) -> None:
    size_km, assumed = diameters(bodies(1, diameter_km=[3.0], albedo=[0.9]))
    assert (size_km[0], assumed[0]) == (3.0, False)


def test_a_diameter_follows_from_h_and_albedo(bodies) -> None:
    size_km, assumed = diameters(bodies(1, albedo=[0.035]))
    assert size_km[0] == pytest.approx(2.0 * 1.0011, abs=2e-4)  # a quarter of 0.14: twice as large
    assert not assumed[0]


def test_an_unknown_albedo_makes_an_assumed_diameter(bodies) -> None:
    size_km, assumed = diameters(bodies(1))
    assert size_km[0] == pytest.approx(
        1.0011, abs=5e-5
    )  # H = 17.75 at 0.14 (Fowler & Chillemi 1992, from memory)
    assert assumed[0]


def test_an_assumed_h_makes_an_assumed_diameter(bodies) -> None:
    assert diameters(bodies(1, albedo=[0.1], assumed=[ASSUMED_H]))[1][0]
    assert not diameters(bodies(1, diameter_km=[1.0], assumed=[ASSUMED_H]))[1][0]


def test_a_given_diameter_tells_the_albedo(bodies) -> None:
    assert albedos(bodies(1, diameter_km=[1.0011]))[0] == pytest.approx(0.14, abs=1e-4)
    assert np.isnan(albedos(bodies(1, diameter_km=[1.0], assumed=[ASSUMED_H]))[0])


@pytest.mark.parametrize(
    ("given_class", "label"),
    [("C", "C"), ("Ch", "C"), ("B", "B"), ("Sq:", "S"), ("S", "S"), ("M", "X"), ("P", "X"), ("Xk", "X"),
     ("V", "V"), ("?", "other"), ("other", "other"), ("d", "D"), ("", "")],
)  # fmt: skip
def test_classes_are_counted_in_their_complex(given_class: str, label: str) -> None:
    assert label_of(given_class) == label


def test_a_given_class_is_certain_even_against_its_albedo(bodies) -> None:
    catalogue = bodies(2, taxonomy=["Ch", "V"], albedo=[0.5, 0.02])
    assert _chance(catalogue, "C").tolist() == [1.0, 0.0]
    assert _chance(catalogue, "V").tolist() == [0.0, 1.0]


@settings(deadline=None)  # the machine may be shared
@given(st.floats(0.3, 60.0), st.floats(0.0, 0.99), st.floats(0.005, 1.0))
def test_chances_of_a_body_sum_to_one(a_au: float, e: float, albedo: float) -> None:
    held = vars(TWO_BODIES) | {
        "a_au": np.full(2, a_au),
        "e": np.full(2, e),
        "albedo": np.array([albedo, np.nan]),
        "diameter_km": np.full(2, np.nan),
        "taxonomy": np.array(["", ""], dtype=object),
    }
    labels, chances = class_chances(Catalogue(**held))
    assert chances.shape == (2, len(labels))
    np.testing.assert_allclose(chances.sum(axis=1), 1.0, rtol=1e-12)
    assert ((chances >= 0) & (chances < 1)).all()


def test_an_unknown_class_is_never_certain_of_anything_a_row_asks_for(bodies) -> None:
    catalogue = bodies(4, a_au=[2.2, 2.7, 3.1, 1.2], e=[0.1, 0.1, 0.1, 0.3])
    for label in LABELS:
        assert (_chance(catalogue, label) < 0.6).all()


def test_the_zones_lead_from_stony_to_dark_outwards(bodies) -> None:
    # DeMeo & Carry 2014 (from memory): S falls and C rises from the inner to the outer belt
    catalogue = bodies(3, a_au=[2.3, 2.7, 3.1], e=[0.1, 0.1, 0.1])
    assert (np.diff(_chance(catalogue, "S")) < 0).all()
    assert (np.diff(_chance(catalogue, "C")) > 0).all()


def test_zone_tables_are_whole() -> None:
    for shares in [shares for _, _, shares in ZONES] + [NEAR_EARTH]:
        assert len(shares) == len(LABELS)
        assert sum(shares) == 100


def test_near_earth_bodies_have_their_own_shares(bodies) -> None:
    catalogue = bodies(2, a_au=[2.3, 2.3], e=[0.1, 0.6])
    assert _chance(catalogue, "Q")[0] < 0.01 < _chance(catalogue, "Q")[1]


def test_a_known_albedo_sharpens_the_chance(bodies) -> None:
    catalogue = bodies(3, a_au=[2.7] * 3, e=[0.1] * 3, albedo=[np.nan, 0.05, 0.25])
    dark, stony = _chance(catalogue, "C"), _chance(catalogue, "S")
    assert dark[1] > dark[0] > dark[2]
    assert stony[2] > stony[0] > stony[1]


def test_bayes_by_hand(bodies) -> None:
    """Ratio of two labels = ratio of shares times ratio of normal densities in log10 albedo."""
    catalogue = bodies(1, a_au=[2.7], e=[0.1], albedo=[0.1])
    d_c = (np.log10(0.1) - np.log10(0.06)) / 0.15
    d_s = (np.log10(0.1) - np.log10(0.23)) / 0.15
    expected = 38 / 32 * np.exp(-0.5 * (d_c**2 - d_s**2))
    assert _chance(catalogue, "C")[0] / _chance(catalogue, "S")[0] == pytest.approx(expected, rel=1e-12)


def test_the_chance_of_a_list_is_the_sum_over_its_labels(bodies) -> None:
    catalogue = bodies(3, taxonomy=["C", "S", ""], a_au=[2.7] * 3, e=[0.1] * 3)
    chances = taxonomy_chances(catalogue, ["C", "B"])
    assert chances[:2].tolist() == [1.0, 0.0]
    assert chances[2] == pytest.approx(0.43, abs=1e-12)
    assert (taxonomy_chances(catalogue, None) == 1.0).all()
    assert (taxonomy_chances(catalogue, LABELS) <= 1.0).all()


def test_a_row_asking_for_a_finer_class_is_an_error() -> None:
    assert row_labels(["C", "B"]) == ("C", "B")
    with pytest.raises(InputError, match=r"found:\s+Ch"):
        row_labels(["C", "Ch"])


@pytest.mark.parametrize(
    ("where", "matches"),
    [
        ({}, [True, True, True]),
        (None, [True, True, True]),
        ({"diameter_km_min": 1.0}, [True, True, False]),
        ({"diameter_km_max": 1.0}, [False, False, True]),
        ({"albedo_min": 0.1}, [True, False, False]),
        ({"albedo_max": 0.9}, [True, False, False]),
        ({"h_mag_min": 17.0}, [False, True, True]),
        ({"h_mag_max": 17.75}, [True, True, False]),
        ({"u_max": 2}, [True, True, False]),
        ({"visited": False}, [True, False, True]),
        ({"visited": True}, [False, True, False]),
        ({"visited": None}, [True, True, True]),
        ({"taxonomy": ["D"], "kind": "flyby"}, [True, True, True]),
        ({"h_mag_max": 18.0, "visited": False}, [True, False, False]),
    ],
)
def test_the_class_free_part_of_a_row(bodies, where, matches) -> None:
    catalogue = bodies(
        3,
        h_mag=[16.0, 17.75, 20.0],
        albedo=[0.14, np.nan, np.nan],
        visited=[False, True, False],
        u_code=[0, 2, 9],
    )
    assert body_matches(catalogue, where).tolist() == matches
    if where is not None:
        assert body_matches(catalogue, SimpleNamespace(**where)).tolist() == matches


def test_a_key_no_body_is_known_by_is_an_error(bodies) -> None:
    with pytest.raises(InputError, match=r"found:\s+diameter_min"):
        body_matches(bodies(1), {"diameter_min": 1.0})
