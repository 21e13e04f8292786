"""An invented main belt of any size, for the demonstration and for tests of scale. No real body is in it.

The belt looks like the catalogued one in what a screen depends on: where its bodies are, how many of
which size, how well they are known. Body k is the same in a belt of any size with the same seed.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from targets.catalogue.bodies import Catalogue, Floats, object_column
from targets.catalogue.classes import ALBEDO_MEDIAN, ALBEDO_SCATTER_DEX, LABELS, zone_shares
from targets.catalogue.physical import absolute_magnitude

EPOCH_JD_TDB = 2_461_000.5
# Bodies drawn from one random stream; part of what a seed means, so never changed with the machine.
_BLOCK = 65_536

# Semi-major axis: (au, relative number per au), the envelope of the known belt read off by eye (from
# memory), and the gaps at the mean-motion resonances with Jupiter (p:q, depth, half width in au).
_A_MIN_AU, _A_MAX_AU = 2.10, 3.30
_ENVELOPE = ((2.10, 0.30), (2.20, 1.00), (2.40, 1.25), (2.55, 1.10), (2.68, 1.40), (2.80, 1.15),
             (2.90, 0.90), (3.05, 1.60), (3.20, 1.55), (3.30, 0.20))  # fmt: skip
_A_JUPITER_AU = 5.2026
GAPS = ((3, 1, 0.97, 0.022), (5, 2, 0.95, 0.014), (7, 3, 0.85, 0.010), (2, 1, 0.97, 0.030))

# Rayleigh laws cut off at the limits; means 0.14 and 8 deg as in the known belt (from memory).
_E_MODE, _E_MAX = 0.115, 0.35
_I_MODE_DEG, _I_MAX_DEG = 6.5, 33.0

# Main-belt bodies larger than a diameter: the round numbers of the encyclopaedias (from memory). The
# smallest diameter makes a belt of 1.4 million bodies about as numerous as the catalogued one.
SMALLEST_KM = 0.65
_LARGER_THAN = ((900.0, 1.0), (300.0, 5.0), (200.0, 30.0), (100.0, 200.0), (50.0, 600.0), (30.0, 1.1e3),
                (10.0, 1.0e4), (5.0, 9.0e4), (3.0, 2.0e5), (1.0, 7.5e5), (0.5, 2.0e6))  # fmt: skip

# (diameter from km, chance that a class is known, that a diameter is known): the larger the better
# known; surveys have classed some 5 % and measured some 10 % of all (from memory).
_KNOWN = ((20.0, 0.90, 0.95), (5.0, 0.30, 0.60), (2.0, 0.10, 0.20), (0.0, 0.03, 0.06))
# Cumulative chance of U = 0, 1, ... for bodies above and below 2 km (from memory of the known belt).
_U_LARGE = (0.90, 0.97, 0.99, 0.995, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0)
_U_SMALL = (0.68, 0.82, 0.90, 0.93, 0.95, 0.965, 0.98, 0.99, 0.996, 1.0)


def invented_belt(bodies: int, seed: int, *, epoch_jd_tdb: float = EPOCH_JD_TDB) -> Catalogue:
    """Return `bodies` invented bodies, all with elements at `epoch_jd_tdb`; targets are named INV-0000000 on.

    The first n bodies of a larger belt with the same seed are the belt of n bodies.
    """
    blocks = -(-bodies // _BLOCK)
    streams = np.random.SeedSequence(seed).spawn(blocks)
    drawn = [_block(np.random.default_rng(stream)) for stream in streams]
    columns = {name: np.concatenate([part[name] for part in drawn])[:bodies] for name in drawn[0]}
    return Catalogue(
        target=object_column([f"INV-{k:07d}" for k in range(bodies)]),
        name=object_column([""] * bodies),
        epoch_jd_tdb=np.full(bodies, epoch_jd_tdb),
        g_slope=np.full(bodies, 0.15),
        visited=np.zeros(bodies, dtype=bool),
        assumed=np.zeros(bodies, dtype=np.uint16),
        **columns,
    )


def describe_belt(bodies: int, seed: int, epoch_jd_tdb: float) -> str:
    """Return the sentence that defines the belt (its hash stands in for that of a file)."""
    return (
        f"Invented belt, no real body in it: {bodies} bodies, seed {seed}, "
        f"elements at JD TDB {epoch_jd_tdb}, diameters above {SMALLEST_KM} km."
    )


def _block(rng: np.random.Generator) -> dict[str, NDArray[Any]]:
    """Draw _BLOCK bodies; the order of the draws is part of what a seed means."""
    a_au = _semi_major_axes_au(rng.random(_BLOCK))
    e = _rayleigh(rng.random(_BLOCK), _E_MODE, _E_MAX)
    orbit = {
        "a_au": a_au,
        "e": e,
        "i_deg": _rayleigh(rng.random(_BLOCK), _I_MODE_DEG, _I_MAX_DEG),
        "node_deg": 360.0 * rng.random(_BLOCK),
        "argp_deg": 360.0 * rng.random(_BLOCK),
        "mean_anomaly_deg": 360.0 * rng.random(_BLOCK),
    }
    return orbit | _nature(rng, a_au, e)


def _nature(rng: np.random.Generator, a_au: Floats, e: Floats) -> dict[str, NDArray[Any]]:
    """Draw size, class and albedo, then what of it is known."""
    diameter_km = _diameters_km(rng.random(_BLOCK))
    label = _drawn_labels(zone_shares(a_au, e), rng.random(_BLOCK))
    scatter_dex = ALBEDO_SCATTER_DEX[label] * rng.standard_normal(_BLOCK)
    albedo = np.clip(ALBEDO_MEDIAN[label] * 10.0**scatter_dex, 0.01, 0.9)
    class_chance, size_chance = _chances_known(diameter_km)
    class_known = rng.random(_BLOCK) < class_chance
    size_known = rng.random(_BLOCK) < size_chance
    names = object_column(LABELS)
    return {
        "h_mag": np.round(absolute_magnitude(diameter_km, albedo), 2),
        "albedo": np.where(size_known, np.round(albedo, 3), np.nan),
        "diameter_km": np.where(size_known, np.round(diameter_km, 3), np.nan),
        "taxonomy": np.where(class_known, names[label], ""),
        "u_code": _u_codes(diameter_km, rng.random(_BLOCK)),
    }


def _semi_major_axes_au(uniform: Floats) -> Floats:
    grid_au = np.linspace(_A_MIN_AU, _A_MAX_AU, 4801)
    density = np.interp(grid_au, *np.transpose(_ENVELOPE))
    for p, q, depth, width_au in GAPS:
        density *= 1.0 - depth * np.exp(-(((grid_au - gap_centre_au(p, q)) / width_au) ** 2))
    cumulative = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))])
    return np.interp(uniform, cumulative / cumulative[-1], grid_au)


def gap_centre_au(p: int, q: int) -> float:
    """Return where a body makes `p` turns while Jupiter makes `q` (Kepler's third law)."""
    return float(_A_JUPITER_AU * (q / p) ** (2.0 / 3.0))


def _rayleigh(uniform: Floats, mode: float, upper: float) -> Floats:
    """Return values of the Rayleigh law of `mode`, cut off at `upper`."""
    inside = 1.0 - np.exp(-0.5 * (upper / mode) ** 2)
    return np.asarray(mode * np.sqrt(-2.0 * np.log1p(-uniform * inside)))


def _diameters_km(uniform: Floats) -> Floats:
    """Return diameters above SMALLEST_KM; between the points of the law log number is linear in log size."""
    log_km, log_number = np.log(np.array(_LARGER_THAN)).T
    log_all = np.interp(np.log(SMALLEST_KM), log_km[::-1], log_number[::-1])
    rank = np.log(np.maximum(uniform, 1e-12)) + log_all  # 0 for the largest body of a full belt
    return np.asarray(np.exp(np.interp(rank, log_number, log_km)))


def _drawn_labels(shares: Floats, uniform: Floats) -> NDArray[np.intp]:
    return np.minimum((uniform[:, None] > np.cumsum(shares, axis=1)).sum(axis=1), len(LABELS) - 1)


def _chances_known(diameter_km: Floats) -> tuple[Floats, Floats]:
    from_km, class_chance, size_chance = np.array(_KNOWN).T
    step = np.argmax(diameter_km[:, None] >= from_km, axis=1)
    return class_chance[step], size_chance[step]


def _u_codes(diameter_km: Floats, uniform: Floats) -> NDArray[np.int8]:
    large, small = (np.searchsorted(steps, uniform, side="right") for steps in (_U_LARGE, _U_SMALL))
    return np.minimum(np.where(diameter_km >= 2.0, large, small), 9).astype(np.int8)
