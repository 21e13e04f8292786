"""The tiny study, changed as a test asks."""

import pytest

from tests.helpers.command_line import TINY


@pytest.fixture
def tiny(tmp_path):
    """Writes the tiny study with texts replaced; `tiny(("3000", "10"))`."""

    def write(*replaced, name="study.toml"):
        text = TINY
        for old, new in replaced:
            assert old in text, old
            text = text.replace(old, new)
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return path

    return write
