"""How the place of a body hangs on its elements, along the path that the planets make it take.

Neighbours of the body, one ahead and one behind in each element, are moved like any body (`targets.motion.perturbed`),
and the differences of their places are the partial derivatives. Two-body partial derivatives leave out what planets do
to neighbours unlike what they do to the body: against an outside integrator (DE440), sigmas of belt bodies were up to
2 % too long after ten years and pointed up to 0.7 deg elsewhere; a near-Earth body that had passed a planet was given
twelve times its sigma (tests/targets/catalogue/test_partials.py).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from targets.base.constants import AU_KM, GM_SUN_KM3_S2, JULIAN_YEAR_S
from targets.base.frames import ICRF_FROM_ECLIPTIC
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.bodies import ELEMENT_ORDER, Catalogue
from targets.ephemeris.planets import PlanetTable, sample_planets
from targets.motion.perturbed import DEFAULT_STEP_S, move
from targets.motion.twobody import states_from_elements

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Step of each element, au, 1, deg, in central differences: some hundred km, far above what a march rounds off or gains
# by another step near a planet, and below any curvature.
_STEPS = (1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-4)


def position_partials(catalogue: Catalogue, tdb_s: ArrayLike) -> Floats:
    """Return d position / d elements of n bodies, each at its own `tdb_s`: (n, 3, 6).

    km per au, per 1 and per degree, ICRF; elements are those of the catalogue, at its epoch. A body that stands in
    several rows is moved once, through all its epochs.
    """
    times = np.asarray(tdb_s, dtype=float)
    epochs_s = tdb_s_from_jd(catalogue.epoch_jd_tdb)
    if not len(times):
        return np.empty((0, 3, 6))
    planets = _planets(min(times.min(), epochs_s.min()), max(times.max(), epochs_s.max()))
    neighbours, width = _neighbours(catalogue)
    out = np.empty((len(times), 3, 6))
    for rows in _bodies(catalogue, epochs_s):
        after = times[rows] >= epochs_s[rows[0]]
        # outward from the epoch, on either side of it
        for side in (
            rows[after][np.argsort(times[rows[after]])],
            rows[~after][np.argsort(-times[rows[~after]])],
        ):
            states, epoch = neighbours[rows[0]], float(epochs_s[rows[0]])
            places = _places(states, epoch, times[side], DEFAULT_STEP_S, planets.kernel_table())
            out[side] = ((places[:, 0] - places[:, 1]) / width[rows[0]][:, None]).transpose(0, 2, 1)
    return out


def _planets(first_s: float, last_s: float) -> PlanetTable:
    """Planets over a span, in whole years of it, so that one table serves all tasks of a study."""
    return _planets_of_years(math.floor(first_s / JULIAN_YEAR_S), math.ceil(last_s / JULIAN_YEAR_S))


@lru_cache(maxsize=2)
def _planets_of_years(first: int, last: int) -> PlanetTable:
    return sample_planets(first * JULIAN_YEAR_S, last * JULIAN_YEAR_S)


def _bodies(catalogue: Catalogue, epochs_s: Floats) -> list[Ints]:
    """Rows of one body and one set of elements, together."""
    elements = np.column_stack([np.asarray(getattr(catalogue, name), float) for name in ELEMENT_ORDER])
    _, body = np.unique(np.column_stack([epochs_s, elements]), axis=0, return_inverse=True)
    order = np.argsort(body.ravel(), kind="stable")
    ends = np.flatnonzero(np.diff(body.ravel()[order])) + 1
    return np.split(order, ends)


def _neighbours(catalogue: Catalogue) -> tuple[Floats, Floats]:
    """States of neighbours at the epoch, (n, 2, 6, 6): ahead and behind in each element; how far apart, (n, 6)."""
    base = np.column_stack([np.asarray(getattr(catalogue, name), float) for name in ELEMENT_ORDER])
    states, width = np.empty((len(base), 2, 6, 6)), np.empty_like(base)
    for k, (name, step) in enumerate(zip(ELEMENT_ORDER, _STEPS, strict=True)):
        ahead, behind = base.copy(), base.copy()
        ahead[:, k] += step
        # a nearly circular orbit cannot be stepped below e = 0: one-sided there
        behind[:, k] = np.maximum(base[:, k] - step, 0.0) if name == "e" else base[:, k] - step
        width[:, k] = ahead[:, k] - behind[:, k]
        states[:, 0, k], states[:, 1, k] = _state(ahead), _state(behind)
    return states, width


def _state(elements: Floats) -> Floats:
    """Heliocentric ICRF states (n, 6) of elements in ELEMENT_ORDER."""
    a_au, e, *angles = elements.T
    r_km, v_km_s = states_from_elements(
        a_au * AU_KM, e, *(np.radians(angle) for angle in angles), mu_km3_s2=GM_SUN_KM3_S2
    )
    return np.hstack([r_km @ ICRF_FROM_ECLIPTIC.T, v_km_s @ ICRF_FROM_ECLIPTIC.T])


@njit(cache=True)
def _places(neighbours, epoch_s, times, longest_s, table):
    """Places (m, 2, 6, 3) of neighbours (2, 6, 6) at m times, which lead away from the epoch in order."""
    states, start_s, step_s, gm = table
    out = np.empty((times.size, 2, 6, 3))
    for side in range(2):
        for k in range(6):
            x, y, z, vx, vy, vz = neighbours[side, k]
            t = epoch_s
            for m in range(times.size):
                x, y, z, vx, vy, vz = move(
                    x, y, z, vx, vy, vz, t, times[m] - t, longest_s, states, start_s, step_s, gm
                )
                t = times[m]
                out[m, side, k, 0], out[m, side, k, 1], out[m, side, k, 2] = x, y, z
    return out
