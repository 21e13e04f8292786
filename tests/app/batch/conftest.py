"""A batch that ran through."""

import pytest

from tests.helpers.batch_of_four import FOUR, write
from tests.helpers.command_line import call


@pytest.fixture(scope="session")
def undisturbed(tmp_path_factory):
    """A batch of four that ran through, and its folder."""
    folder = tmp_path_factory.mktemp("undisturbed")
    path = write(folder, FOUR)
    result = call("batch", path, "--into", folder / "out", "--workers", 1)
    assert result.exit_code == 0, result.stdout + result.stderr
    return folder, result
