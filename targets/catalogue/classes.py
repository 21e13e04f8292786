"""Taxonomic classes: the labels in use, where each is common, and how dark it is.

One table, read by the invented belt (which draws from it) and by the worth of bodies of unknown
class (which spreads them over it). All shares and albedos are from memory of the papers named and
rounded; they are starting values of a concept study, not results.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

OTHER = "other"
LABELS: tuple[str, ...] = ("C", "B", "X", "D", "S", "Q", "K", "L", "V", "A", OTHER)

# Finer or older letters and the complex they are counted in (after Bus & DeMeo; from memory).
# Every further letter ("Ch", "Sq", "Xk") is settled by its first letter.
_COMPLEX_OF_LETTER = {
    "C": "C", "G": "C", "F": "B", "B": "B",
    "X": "X", "E": "X", "M": "X", "P": "X",
    "D": "D", "T": "D", "Z": "D",
    "S": "S", "Q": "Q", "K": "K", "L": "L", "V": "V", "J": "V", "A": "A",
}  # fmt: skip

# Zones by semi-major axis (upper end, au) of orbits that stay clear of Mars; shares in percent, in
# the order of LABELS. By number among bodies of about 5 km.
# Source: after DeMeo & Carry 2013 (Icarus 226, 723) and 2014 (Nature 505, 629), from memory.
ZONES: tuple[tuple[str, float, tuple[float, ...]], ...] = (
    ("Hungaria",    2.06, ( 8, 1, 58,  0, 24, 0, 1, 3,  0, 2, 3)),
    ("inner belt",  2.50, (22, 3, 10,  1, 43, 0, 1, 3, 13, 1, 3)),
    ("middle belt", 2.82, (38, 5,  9,  2, 32, 0, 3, 6,  1, 1, 3)),
    ("outer belt",  3.30, (48, 8, 11,  4, 15, 0, 6, 4,  1, 0, 3)),
    ("Cybele",      3.70, (38, 3, 30, 18,  6, 0, 1, 1,  0, 0, 3)),
    ("Hilda",       4.20, (10, 0, 32, 54,  1, 0, 0, 0,  0, 0, 3)),
    ("Trojan",      5.50, ( 8, 0, 19, 70,  0, 0, 0, 0,  0, 0, 3)),
    ("beyond",    np.inf, (10, 0, 20, 40,  0, 0, 0, 0,  0, 0, 30)),
)  # fmt: skip
# Bodies that come inside 1.3 au. Source: after Binzel et al. 2019 (Icarus 324, 41), from memory.
NEAR_EARTH_PERIHELION_AU = 1.3
NEAR_EARTH = (14, 4, 13, 3, 38, 14, 2, 4, 4, 1, 3)

# Median albedo and scatter (dex) of each label, in the order of LABELS.
# Source: after Mainzer et al. 2011 (ApJ 741, 90), from memory. X mixes dark, metallic and very
# bright surfaces, hence its width.
ALBEDO_MEDIAN = np.array((0.06, 0.08, 0.12, 0.06, 0.23, 0.25, 0.14, 0.16, 0.36, 0.24, 0.14))
ALBEDO_SCATTER_DEX = np.array((0.15, 0.18, 0.35, 0.15, 0.15, 0.15, 0.15, 0.18, 0.13, 0.18, 0.30))


def label_of(taxonomy: str) -> str:
    """Return the label a published class is counted in: "Sq:" -> "S", "M" -> "X", "" -> "".

    A class of an unknown letter is counted as "other", never as something a study asks for.
    """
    written = taxonomy.strip()
    return _COMPLEX_OF_LETTER.get(written[0].upper(), OTHER) if written else ""


def zone_shares(a_au: NDArray[np.float64], e: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the chance of each label for bodies known only by their orbit, (n, labels), rows sum to 1."""
    table = np.array([shares for _, _, shares in ZONES] + [NEAR_EARTH], dtype=float)
    table /= table.sum(axis=1, keepdims=True)
    upper_ends_au = np.array([upper for _, upper, _ in ZONES[:-1]])
    zone = np.searchsorted(upper_ends_au, a_au, side="right")
    near_earth = np.asarray(a_au) * (1.0 - np.asarray(e)) < NEAR_EARTH_PERIHELION_AU
    return table[np.where(near_earth, len(ZONES), zone)]
