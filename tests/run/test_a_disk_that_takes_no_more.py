"""A disk that takes no more: one sentence, and what was there before is whole."""

import errno
import resource
import signal
import subprocess
import sys

import pytest

from swarm.run.writing import why_not_written, write_bytes_atomically
from tests.helpers.command_line import TINY
from tests.helpers.places import ROOT


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS, errno.EACCES])
def test_each_reason_is_said(number):
    assert "--resume" in why_not_written(OSError(number, "x", "a/b"))
    assert "a/b" in why_not_written(OSError(number, "x", "a/b"))


def test_other_trouble_is_not_taken_for_a_full_disk():
    assert why_not_written(OSError(errno.ECONNRESET, "x")) is None


def test_the_old_file_stays_whole_where_the_new_one_does_not_fit(tmp_path):
    write_bytes_atomically(tmp_path / "a", b"old")
    earlier = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, limits[1]))
    try:
        with pytest.raises(OSError, match="File too large"):
            write_bytes_atomically(tmp_path / "a", b"n" * 5000)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, earlier)
    assert [path.name for path in tmp_path.iterdir()] == ["a"]
    assert (tmp_path / "a").read_bytes() == b"old"


def test_a_run_on_a_full_disk_ends_with_one_sentence(tmp_path):
    """No file of more than 600 bytes can be written: not the study's copy, and no traceback either."""
    (tmp_path / "study.toml").write_text(TINY)
    limited = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (600, 600)); "
        "from swarm.app.cli import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", limited, "run", str(tmp_path / "study.toml"), "--run", str(tmp_path / "out")],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert "stopped: the file is larger than this disk or process may write" in done.stderr
    assert "Traceback" not in done.stderr
    assert list((tmp_path / "out").iterdir()) == []
