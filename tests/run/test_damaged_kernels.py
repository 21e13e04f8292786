"""Files of compiled kernels that are damaged are dropped before numba believes them."""

import os
import pickle
import subprocess
import sys

import pytest

from swarm.run.kernel_seal import SEAL, drop_damaged, seal
from tests.helpers.places import ROOT

KERNEL = """
import os, sys
from pathlib import Path
from swarm.run.kernel_cache import claim_kernel_cache
claim_kernel_cache()
sys.path.insert(0, sys.argv[1])
from kernel import twice
print(twice(21), os.environ["NUMBA_CACHE_DIR"])
"""


@pytest.fixture
def compiled(tmp_path):
    """Calls a compiled kernel in a process of its own, that claims a cache; gives what it printed."""
    (tmp_path / "kernel.py").write_text(
        "from numba import njit\n@njit(cache=True)\ndef twice(x):\n    return 2 * x\n"
    )
    free = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}

    def call():
        done = subprocess.run(
            [sys.executable, "-c", KERNEL, str(tmp_path)], cwd=ROOT, capture_output=True, text=True, timeout=200,
            env=free | {"SWARM_CACHE_DIR": str(tmp_path / "cache"), "PYTHONPATH": str(ROOT)}, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout.split()

    return call


@pytest.mark.parametrize("sealed", [True, False])
@pytest.mark.parametrize("ending", ["nbi", "nbc"])
def test_a_kernel_that_was_cut_off_is_compiled_again(compiled, tmp_path, ending, sealed):
    compiled()
    (kept,) = (path for path in (tmp_path / "cache").glob("kernels-*") if path.is_dir())
    (file,) = kept.rglob(f"*.{ending}")
    whole = file.read_bytes()
    file.write_bytes(whole[: len(whole) // 2])
    if not sealed:  # as after a run that was killed
        (kept / SEAL).unlink()
    assert compiled()[0] == "42"
    assert len(file.read_bytes()) > len(whole) // 2


def test_a_flipped_byte_in_a_sealed_kernel_is_seen(tmp_path):
    file = tmp_path / "a" / "k.1.nbc"
    file.parent.mkdir()
    file.write_bytes(pickle.dumps(("key", b"x" * 1000)))
    seal(tmp_path)
    assert drop_damaged(tmp_path) == []
    content = bytearray(file.read_bytes())
    content[500] ^= 1
    file.write_bytes(content)
    assert drop_damaged(tmp_path) == ["a/k.1.nbc"]
    assert not file.exists()


@pytest.mark.parametrize("content", [b"", b"x", pickle.dumps(1)[:-1], pickle.dumps(1) + b"more"])
def test_a_file_without_a_seal_must_be_whole(tmp_path, content):
    (tmp_path / "k.1.nbc").write_bytes(content)
    (tmp_path / "good.1.nbc").write_bytes(pickle.dumps(1))
    assert drop_damaged(tmp_path) == ["k.1.nbc"]
    (tmp_path / SEAL).write_text("[")
    assert drop_damaged(tmp_path) == []
