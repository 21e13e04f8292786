"""The mothership's running mass and the recoil of its releases: force-free, momentum kept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True, eq=False)
class Releases:
    """n releases in order.

    mass_before_kg, mass_after_kg : (n,) of the mothership with what it still holds
    recoil_m_s                    : (n, 3) velocity change of the mothership, in the frame of the separation
    probe_change_m_s              : (n, 3) velocity change of the probe
    """

    mass_before_kg: np.ndarray
    mass_after_kg: np.ndarray
    recoil_m_s: np.ndarray
    probe_change_m_s: np.ndarray


def releases(mothership_mass_kg: float, probe_mass_kg: ArrayLike, separation_m_s: ArrayLike) -> Releases:
    """Mass and velocity changes of releases in the order given.

    mothership_mass_kg : with every probe aboard
    probe_mass_kg   : (n,)
    separation_m_s  : (n, 3) velocity of each probe relative to the mothership after the spring has pushed

    The spring's push is internal: m_probe dv_probe + m_after dv_mothership = 0 and dv_probe - dv_mothership is the
    separation, so dv_mothership = -(m_probe / m_before) separation. Raises ValueError where the probes weigh more
    than the mothership holds.
    """
    probe = np.asarray(probe_mass_kg, dtype=float)
    separation = np.asarray(separation_m_s, dtype=float).reshape(len(probe), 3)
    after = mothership_mass_kg - np.cumsum(probe)
    if np.any(probe <= 0.0) or np.any(after <= 0.0):
        raise ValueError("every probe needs a mass, and the mothership more than all of them")
    before = np.concatenate([[mothership_mass_kg], after])[:-1]
    return Releases(
        mass_before_kg=before,
        mass_after_kg=after,
        recoil_m_s=-(probe / before)[:, None] * separation,
        probe_change_m_s=(after / before)[:, None] * separation,
    )


def mothership_displacement_km(
    recoil_m_s: np.ndarray, release_tdb_s: ArrayLike, at_tdb_s: ArrayLike
) -> np.ndarray:
    """(k, 3) km by which the releases before each of (k,) epochs have moved the mothership off its path.

    Straight-line: the pull of the Sun on the difference (a share of the arc's own 5 % curvature) is left to
    the full-force refinement.
    """
    elapsed_s = np.asarray(at_tdb_s, dtype=float).reshape(-1, 1) - np.asarray(release_tdb_s, dtype=float)
    return np.maximum(elapsed_s, 0.0) @ recoil_m_s / 1000.0
