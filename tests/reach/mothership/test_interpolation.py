"""Hermite and Lagrange polynomials over a window of a table."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from swarm.reach.mothership.interpolation import HERMITE, LAGRANGE, interpolated, window_size


def polynomial_path(t, degree, rng):
    """Random polynomials of a degree and their derivatives: (n, 6)."""
    coefficients = rng.uniform(-1.0, 1.0, (3, degree + 1))
    positions = [np.polynomial.Polynomial(c) for c in coefficients]
    return np.stack([p(t) for p in positions] + [p.deriv()(t) for p in positions], axis=1)


@pytest.mark.parametrize(
    ("method", "degree", "size"),
    [(HERMITE, 1, 2), (HERMITE, 3, 2), (HERMITE, 5, 3), (HERMITE, 7, 4), (HERMITE, 8, 5), (LAGRANGE, 7, 8)],
)
def test_window_sizes(method, degree, size):
    assert window_size(method, degree) == size


@given(seed=st.integers(0, 1000), method=st.sampled_from([HERMITE, LAGRANGE]), degree=st.integers(2, 9))
def test_polynomials_of_the_degree_are_reproduced(seed, method, degree):
    rng = np.random.default_rng(seed)
    table = np.cumsum(rng.uniform(0.1, 0.3, 14)) - 1.5
    asked = np.concatenate([rng.uniform(table[0], table[-1], 20), table[[0, 5, -1]]])
    carried = degree if method == LAGRANGE else 2 * ((degree + 2) // 2) - 1
    exact = polynomial_path(np.concatenate([table, asked]), carried, rng)
    found = interpolated(table, exact[:14], asked, method=method, degree=degree)
    assert found == pytest.approx(exact[14:], rel=1e-7, abs=1e-7)


def test_one_degree_more_is_not_reproduced():
    table = np.linspace(0.0, 1.0, 12)
    asked = np.array([0.45])
    exact = polynomial_path(np.concatenate([table, asked]), 9, np.random.default_rng(3))
    for method in (HERMITE, LAGRANGE):
        found = interpolated(table, exact[:12], asked, method=method, degree=3)
        assert np.abs(found - exact[12:]).max() > 1e-6


def test_spice_type_13_and_9_give_the_same(tmp_path):
    """SPICE interpolates Hermite states (type 13) and Lagrange states (type 9) over the same windows."""
    import spiceypy

    from tests.helpers.mothership_files import FIREWEED, Block, write_spk
    from tests.helpers.quiet_motherships import daily, orbit

    epochs = daily(step_days=6.0)
    asked = np.random.default_rng(1).uniform(epochs[0], epochs[-1], 50)
    for kind, method in ((13, HERMITE), (9, LAGRANGE)):
        folder = tmp_path / str(kind)
        folder.mkdir()
        file = write_spk(folder, [Block(epochs, orbit(epochs))], kind=kind)
        spiceypy.furnsh(str(file))
        try:
            theirs = np.array([spiceypy.spkgeo(FIREWEED, t, "J2000", 10)[0] for t in asked])
        finally:
            spiceypy.unload(str(file))
        ours = interpolated(epochs, orbit(epochs), asked, method=method, degree=7)
        assert np.abs(ours - theirs)[:, :3].max() < 1e-5
        assert np.abs(ours - theirs)[:, 3:].max() < 1e-11
