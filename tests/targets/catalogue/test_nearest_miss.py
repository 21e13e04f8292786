"""The body that comes nearest to a row that none can serve."""

from types import SimpleNamespace

import numpy as np

from targets.catalogue.bodies import Catalogue
from targets.catalogue.invented import invented_belt
from targets.catalogue.nearest_miss import can_serve, nearest_miss
from targets.catalogue.worth import BODY_KEYS, diameters


def asking(**asked):
    return SimpleNamespace(**{key: asked.get(key) for key in (*BODY_KEYS, "taxonomy", "kind")})


def belt() -> Catalogue:
    return invented_belt(200, 5)


def test_of_bodies_too_small_it_is_the_largest():
    bodies = belt()
    size_km = diameters(bodies)[0]
    largest = int(size_km.argmax())
    where = asking(diameter_km_min=900.0)
    assert not can_serve(bodies, where).any()
    said = nearest_miss(bodies, where)
    assert said == f"{bodies.target[largest]}: diameter_km_min = 900.0, the body: {size_km[largest]:.3g}"


def test_a_body_that_lacks_one_thing_is_nearer_than_one_that_lacks_two():
    bodies = belt()
    size_km = diameters(bodies)[0]
    where = asking(diameter_km_min=float(np.median(size_km)), h_mag_min=40.0)
    said = nearest_miss(bodies, where)
    assert "h_mag_min = 40.0" in said
    assert "diameter_km_min" not in said


def test_a_class_that_none_has_is_said():
    bodies = belt()
    only = bodies.take(np.flatnonzero(bodies.taxonomy == "S")[:5])
    assert len(only)
    where = asking(taxonomy=("V",))
    assert not can_serve(only, where).any()
    assert nearest_miss(only, where).endswith("taxonomy = V, the body: S")


def test_an_unknown_class_can_serve_any():
    bodies = belt()
    unknown = bodies.take(np.flatnonzero(bodies.taxonomy == "")[:5])
    assert can_serve(unknown, asking(taxonomy=("V",))).all()
