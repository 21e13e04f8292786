"""The planet table against SPICE at epochs off its grid."""

from __future__ import annotations

import numpy as np
import pytest

from targets.base.errors import InputError
from targets.ephemeris import spice
from targets.ephemeris.planets import BODIES, sample_planets


def test_interpolated_planets_stay_close_to_the_kernel() -> None:
    table = sample_planets(9.0e8, 9.6e8)
    epochs = np.random.default_rng(2).uniform(9.0e8, 9.6e8, 300)
    for row, (body, name, _) in enumerate(BODIES):
        exact = spice.sample(body, epochs)
        off_km = np.linalg.norm(table.state(row, epochs)[:, :3] - exact[:, :3], axis=1)
        off_m_s = 1e3 * np.linalg.norm(table.state(row, epochs)[:, 3:] - exact[:, 3:], axis=1)
        assert off_km.max() < (25.0 if name == "Mercury" else 5.0), name
        assert off_m_s.max() < 2.0, name


def test_dates_outside_the_kernel_are_refused_with_its_span() -> None:
    with pytest.raises(InputError, match=r"1549.*2650"):
        sample_planets(0.0, 3.0e10)


def test_an_unknown_body_to_switch_off_is_named() -> None:
    with pytest.raises(ValueError, match="Vulcan"):
        sample_planets(0.0, 1e6).without("Vulcan")
