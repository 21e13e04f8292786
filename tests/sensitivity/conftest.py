"""The helper modules of the optimiser's and the mothership's tests serve here too."""

import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from swarm.app.cli import app

for folder in ("optimize", "mothership", "sensitivity"):
    sys.path.insert(0, str(Path(__file__).parents[1] / folder))


@pytest.fixture
def swarm():
    """Calls the command line; the result has exit_code, stdout, stderr."""

    def call(*arguments):
        return CliRunner().invoke(app, [str(argument) for argument in arguments])

    return call
