"""One refined arc of an invented mothership and target; tests/helpers/refined_arc.py says which."""

import pytest

from swarm.refine.correct import refine_arc
from tests.helpers import refined_arc


@pytest.fixture(scope="session")
def field():
    return refined_arc.make_forces()


@pytest.fixture(scope="session")
def arc(field):
    return refined_arc.make_arc(field)


@pytest.fixture(scope="session")
def known(made):
    return refined_arc.make_known(made)


@pytest.fixture(scope="session")
def made(field, arc):
    return refine_arc(refined_arc.make_study(), field, arc)
