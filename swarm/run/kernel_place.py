"""Where numba keeps the kernels of one source: under the source's place in the package, not in the file system.

By itself numba names the folder after the path of the source's folder. A checkout and the installed package, or two
environments of one version, then compile the same kernels twice, a minute on two cores each. What is kept is found by
the content of all sources (`kernel_cache.py`), so that the same sources may share it wherever they lie.

Named to numba by NUMBA_CACHE_LOCATOR_CLASSES (numba 0.62 and later); imports numba.
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from numba.core.caching import UserProvidedCacheLocator

PACKAGES = Path(__file__).resolve().parents[2]
"""The folder that holds `swarm` and `targets`."""


class KernelPlace(UserProvidedCacheLocator):
    """As numba's own locator of a given folder, for sources of this project by their place in it."""

    @classmethod
    def get_suitable_cache_subpath(cls, py_file: str) -> str:
        """Folder, below the one of the cache, for the kernels of `py_file`."""
        source = Path(py_file).resolve()
        for name in ("swarm", "targets"):
            if source.is_relative_to(PACKAGES / name):
                return str(source.parent.relative_to(PACKAGES))
        return str(super().get_suitable_cache_subpath(py_file))

    def get_source_stamp(self) -> str:
        """By content: numba before 0.68 takes the date, which differs between two copies of one source."""
        return hashlib.sha256(Path(os.fspath(self._py_file)).read_bytes()).hexdigest()
