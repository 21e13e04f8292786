"""Where compiled kernels are kept: one folder per process, since numba's cache is not safe to share.

To be called before any kernel is imported: numba chooses the folder when a function is decorated.
"""

from __future__ import annotations

import atexit
import contextlib
import fcntl
import os
import shutil
import tempfile
from pathlib import Path

CACHE_VARIABLE = "NUMBA_CACHE_DIR"


def claim_kernel_cache() -> None:
    """Set the driver's cache folder, to be called before any kernel is imported.

    The folder in the user's cache is kept from run to run; while another run holds it, this one works in a
    copy that is dropped at the end. A folder set by the user is left alone.
    """
    if os.environ.get(CACHE_VARIABLE):
        return
    kept = user_cache() / "kernels"
    try:
        kept.mkdir(parents=True, exist_ok=True)
        lock = (kept.parent / "kernels.lock").open("w")
    except OSError:
        os.environ[CACHE_VARIABLE] = _temporary_cache()
        return
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        lock.close()
        os.environ[CACHE_VARIABLE] = _temporary_cache()
        # Its holder may be writing: what goes missing meanwhile is compiled again.
        with contextlib.suppress(shutil.Error, OSError):
            shutil.copytree(kept, os.environ[CACHE_VARIABLE], dirs_exist_ok=True)
        return
    atexit.register(lock.close)  # held until the process ends
    os.environ[CACHE_VARIABLE] = str(kept)


def _temporary_cache() -> str:
    folder = tempfile.mkdtemp(prefix="swarm-kernels-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def user_cache() -> Path:
    """Folder for what can be made again: SWARM_CACHE_DIR, or the user's cache folder."""
    given = os.environ.get("SWARM_CACHE_DIR")
    if given:
        return Path(given)
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "swarm-flyby"
