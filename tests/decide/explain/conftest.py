"""A run with invented tables; tests/helpers/explained_run.py makes it."""

import pytest

from swarm.run.folder import Run
from tests.helpers.explained_run import make_explained_run


@pytest.fixture(scope="session")
def run(tmp_path_factory) -> Run:
    return make_explained_run(tmp_path_factory.mktemp("explained"))
