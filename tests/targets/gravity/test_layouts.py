"""Tables of gravity: the one that ships, the two layouts, and files that are refused with what is wrong."""

import numpy as np
import pytest

from targets.base.errors import InputError
from targets.gravity.acceleration import accelerations_km_s2
from targets.gravity.harmonic_field import SHIPPED, gravity_of
from targets.gravity.layouts import read_gravity
from targets.masses.massive import mass_named

MOON = mass_named("Moon")
SHADR = """ 1738.0, 4902.79980693169, 0.0, 2, 2, 1, 0.0, 0.0
 2, 0, -9.0882923650771E-05, 0.0, 1E-10, 0.0
 2, 1, 8.4954064857652E-11, 9.7726994478963E-10, 1E-12, 1E-12
 2, 2, 3.4670944268756E-05, -2.4064244523445E-10, 1E-12, 1E-12
"""


def written(tmp_path, text):
    file = tmp_path / "field.tab"
    file.write_text(text, encoding="utf-8")
    return file


def test_the_field_that_ships_holds_zonals_to_50_and_all_to_10():
    field = gravity_of(MOON)
    assert (field.degree, field.full_degree) == (50, 10)
    assert list(field.top) == [50] + 10 * [10]
    # J2 and C22 of the paper on the ephemeris of the same flight (Williams et al. 2014, JGR Planets 119:1546, table 5:
    # J2 203.21e-6, C22 22.38e-6, from memory), four digits
    assert -np.sqrt(5.0) * field.c[0, 2] == pytest.approx(2.032e-4, rel=1e-3)
    assert np.sqrt(10.0 / 24.0) * field.c[2, 2] == pytest.approx(2.238e-5, rel=1e-3)


def test_both_layouts_are_one_field(tmp_path):
    ours = gravity_of(MOON, written(tmp_path, SHADR))
    shipped = gravity_of(MOON).cut(2)
    places = [[1000.0, 1200.0, 900.0], [0.0, 0.0, 1800.0]]
    a, b = (accelerations_km_s2(places, field.compiled()) for field in (ours, shipped))
    np.testing.assert_allclose(a, b, rtol=1e-13)
    assert ours.source == "field.tab to degree 2"


@pytest.mark.parametrize(
    ("was", "now", "said"),
    [
        ("4902.79980693169", "22032.08", "this is not the gravity of Moon"),
        ("1738.0", "2440.0", "massive.gravity.Moon, radius"),
        (", 1, 0.0, 0.0\n", ", 0, 0.0, 0.0\n", "not normalised"),
        ("-9.0882923650771E-05", "lots", "line 2"),
        (" 2, 2, 3.46", " 2, 3, 3.46", "degree 2, order 3"),
        (" 1738.0, 4902", "1738.0 4902", "line 1"),
    ],
)
def test_what_is_refused_is_named(tmp_path, was, now, said):
    assert was in SHADR
    with pytest.raises(InputError, match=said):
        gravity_of(MOON, written(tmp_path, SHADR.replace(was, now, 1)))


def test_a_file_that_is_not_there_and_an_empty_one(tmp_path):
    with pytest.raises(InputError, match="cannot be read"):
        read_gravity(tmp_path / "none.gfc")
    with pytest.raises(InputError, match="no table of gravity"):
        read_gravity(written(tmp_path, ""))


def test_a_head_without_its_radius(tmp_path):
    text = SHIPPED["Moon"].read_text(encoding="utf-8").replace("radius   ", "radios   ")
    with pytest.raises(InputError, match="radius"):
        read_gravity(written(tmp_path, text))


def test_other_bodies_have_the_terms_of_their_table():
    europa = gravity_of(mass_named("Europa"))
    # hydrostatic: J2/C22 = 10/3
    assert -europa.c[0, 2] * np.sqrt(5.0) / (europa.c[2, 2] * np.sqrt(10.0 / 24.0)) == pytest.approx(
        10 / 3, rel=0.01
    )
    assert gravity_of(mass_named("Triton")).source.startswith("a point")
    assert gravity_of(mass_named("Saturn")).c[0, 4] == pytest.approx(9.35314e-4 / 3.0)
