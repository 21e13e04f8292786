"""A table of planets for the motherships of the tests."""

import pytest

from targets.base.constants import DAY_S
from targets.ephemeris.planets import PlanetTable, sample_planets
from tests.helpers.quiet_motherships import END_TDB_S, START_TDB_S


@pytest.fixture(scope="session")
def planet_table() -> PlanetTable:
    """Planets over every date the tests of this folder use."""
    return sample_planets(START_TDB_S - 100.0 * DAY_S, END_TDB_S + 1200.0 * DAY_S)
