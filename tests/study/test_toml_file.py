"""Study files and files of variations that no person wrote: one sentence each, at once."""

import os
import time

import pytest

from swarm.app.batch import read_variations
from swarm.study.schema import read_study
from targets.base.errors import InputError
from targets.base.files import MOST_TEXT_BYTES


@pytest.mark.parametrize("read", [read_study, read_variations])
@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("a = " + "[" * 100_000, "nested too deeply"),
        ("a = " + "{a = " * 40 + "1" + "}" * 40, "nested too deeply"),
        (".".join(["a"] * 100_000) + " = 1", "nested too deeply"),
        ("[" + ".".join(['"a"'] * 40_000) + "]", "nested too deeply"),
        ("seed = " + "9" * 5000, "too large"),
        ("seed = " + "9" * 400, "too large"),
        (f"[study]\nseed = {2**63}", "too large"),
        ("#" * (MOST_TEXT_BYTES + 1), "file is too large"),
        ("a = \udcff", "not UTF-8"),
        ("a = 'b", "not valid TOML"),
    ],
)
def test_a_file_without_bounds_is_refused_at_once(tmp_path, read, content, said):
    path = tmp_path / "file.toml"
    path.write_bytes(content.encode("utf-8", "surrogateescape"))
    begun = time.monotonic()
    with pytest.raises(InputError, match=said):
        read(path)
    assert time.monotonic() - begun < 2.0


@pytest.mark.parametrize("read", [read_study, read_variations])
def test_pipes_devices_folders_and_no_file_are_refused(tmp_path, read):
    os.mkfifo(tmp_path / "pipe")
    for path, said in (
        (tmp_path / "pipe", "not a plain file"),
        ("/dev/zero", "not a plain file"),
        (tmp_path, "cannot be read"),
        (tmp_path / "none", "is not there"),
        ("a\0b", "cannot be read"),
    ):
        with pytest.raises(InputError, match=said):
            read(type(tmp_path)(path))
