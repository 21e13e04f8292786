"""Size and brightness of a body from its absolute magnitude."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

# Diameter of a perfectly white (albedo 1) body of H = 0: Fowler & Chillemi 1992 (from memory).
DIAMETER_KM_OF_H0_ALBEDO1 = 1329.0
# Simple exponential form of the IAU 1985 H,G system: Bowell et al. 1989, Asteroids II.
_A = (3.33, 1.87)
_B = (0.63, 1.22)


def diameter_km(h_mag: ArrayLike, albedo: ArrayLike) -> NDArray[np.float64]:
    """Return the diameter in km of bodies of absolute magnitude `h_mag` and geometric albedo `albedo`."""
    h, p = np.asarray(h_mag, dtype=float), np.asarray(albedo, dtype=float)
    return np.asarray(DIAMETER_KM_OF_H0_ALBEDO1 / np.sqrt(p) * 10.0 ** (-h / 5.0))


def albedo_of(h_mag: ArrayLike, diameter: ArrayLike) -> NDArray[np.float64]:
    """Return the geometric albedo of bodies of absolute magnitude `h_mag` and `diameter` in km."""
    h, d = np.asarray(h_mag, dtype=float), np.asarray(diameter, dtype=float)
    return np.asarray((DIAMETER_KM_OF_H0_ALBEDO1 / d) ** 2 * 10.0 ** (-0.4 * h))


def absolute_magnitude(diameter: ArrayLike, albedo: ArrayLike) -> NDArray[np.float64]:
    """Return H of bodies of `diameter` in km and geometric albedo `albedo`."""
    d, p = np.asarray(diameter, dtype=float), np.asarray(albedo, dtype=float)
    return np.asarray(5.0 * np.log10(DIAMETER_KM_OF_H0_ALBEDO1 / (d * np.sqrt(p))))


def phase_term_mag(g_slope: ArrayLike, phase_deg: ArrayLike) -> NDArray[np.float64]:
    """Return the dimming at `phase_deg` (0..180) for slope `g_slope`, in magnitudes; infinite at 180 deg."""
    g = np.asarray(g_slope, dtype=float)
    tangent = np.tan(np.radians(np.asarray(phase_deg, dtype=float)) / 2.0)
    phi = [np.exp(-a * tangent**b) for a, b in zip(_A, _B, strict=True)]
    with np.errstate(divide="ignore", under="ignore"):  # a body against the Sun is not lit at all
        return np.asarray(-2.5 * np.log10((1.0 - g) * phi[0] + g * phi[1]))


def apparent_magnitude(
    h: ArrayLike, g: ArrayLike, r_au: ArrayLike, delta_au: ArrayLike, phase_deg: ArrayLike
) -> NDArray[np.float64]:
    """Return the visual magnitude of bodies `r_au` from the Sun and `delta_au` from the observer.

    Parameters
    ----------
    h, g      : absolute magnitude and slope of the IAU 1985 system
    r_au, delta_au : distances in au, > 0
    phase_deg : angle at the body between Sun and observer, 0..180; above 120 deg the system is an
                extrapolation (no fit behind it)

    References
    ----------
    Bowell et al. 1989, in Asteroids II: the simple exponential form, which JPL Horizons uses.
    """
    distance_modulus = 5.0 * np.log10(np.asarray(r_au, dtype=float) * np.asarray(delta_au, dtype=float))
    return np.asarray(np.asarray(h, dtype=float) + distance_modulus + phase_term_mag(g, phase_deg))
