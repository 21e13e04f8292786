"""The one rotation between catalogue elements and stored vectors."""

from __future__ import annotations

import math

import numpy as np

from targets.base.constants import OBLIQUITY_J2000_RAD

_c, _s = math.cos(OBLIQUITY_J2000_RAD), math.sin(OBLIQUITY_J2000_RAD)

# v_icrf = ICRF_FROM_ECLIPTIC @ v_ecliptic; the frame bias between EME2000 and ICRF (0.023 arcsec)
# is left out, as it is in the published elements.
ICRF_FROM_ECLIPTIC = np.array([[1.0, 0.0, 0.0], [0.0, _c, -_s], [0.0, _s, _c]])
ICRF_FROM_ECLIPTIC.setflags(write=False)


def icrf_from_ecliptic(vectors: np.ndarray) -> np.ndarray:
    """Rotate (..., 3) vectors from ecliptic J2000 to ICRF axes."""
    return vectors @ ICRF_FROM_ECLIPTIC.T


def ecliptic_from_icrf(vectors: np.ndarray) -> np.ndarray:
    """Rotate (..., 3) vectors from ICRF to ecliptic J2000 axes."""
    return vectors @ ICRF_FROM_ECLIPTIC
