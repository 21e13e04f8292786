"""From a state to the mean orbit it belongs to, and back: what averages over one revolution take away is put aside.

To first order the short waves of an element are its rate less the mean, summed along the unperturbed revolution and
counted from their own mean (any text on averaging; Kozai 1959, AJ 64:367 for J2).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from swarm.encounter.orbit.mean_life import MeanOrbit
from swarm.encounter.orbit.surroundings import Surroundings, fill_axes, fill_others, pull_at

Floats = NDArray[np.float64]

_NODES = 512
_PASSES = 3


def osculating_orbit(state: ArrayLike, mu_km3_s2: float) -> MeanOrbit:
    """The two-body orbit of a state (6,)."""
    r, v = np.asarray(state, float)[:3], np.asarray(state, float)[3:]
    h = np.cross(r, v)
    e = np.cross(v, h) / mu_km3_s2 - r / np.linalg.norm(r)
    a = 1.0 / (2.0 / np.linalg.norm(r) - v @ v / mu_km3_s2)
    return MeanOrbit(float(a), h / math.sqrt(mu_km3_s2 * a), e)


def state_of(orbit: MeanOrbit, true_anomaly_rad: float, mu_km3_s2: float) -> Floats:
    """State (6,) of a two-body orbit; from the ascending direction of x where it is round."""
    p_hat, q_hat = _frame(orbit)
    e = orbit.eccentricity
    p = orbit.a_km * (1.0 - e * e)
    c, s = math.cos(true_anomaly_rad), math.sin(true_anomaly_rad)
    r = p / (1.0 + e * c) * (c * p_hat + s * q_hat)
    return np.concatenate([r, math.sqrt(mu_km3_s2 / p) * (-s * p_hat + (e + c) * q_hat)])


def mean_orbit(state: ArrayLike, tdb_s: float, around: Surroundings) -> MeanOrbit:
    """The mean orbit of a state (6,), to first order in the field."""
    return _moved(state, tdb_s, around, -1.0)


def osculating_state(orbit: MeanOrbit, true_anomaly_rad: float, tdb_s: float, around: Surroundings) -> Floats:
    """The state (6,) near a true anomaly whose mean orbit is the one given."""
    mu = around.field.gm_km3_s2
    start = state_of(orbit, true_anomaly_rad, mu)
    moved = start
    for _ in range(_PASSES):
        off = mean_orbit(moved, tdb_s, around)
        now = osculating_orbit(moved, mu)
        wanted = MeanOrbit(
            now.a_km + orbit.a_km - off.a_km, now.j + orbit.j - off.j, now.e + orbit.e - off.e
        )  # fmt: skip
        moved = _at_direction(wanted, start[:3], mu)
    return moved


def _frame(orbit: MeanOrbit) -> tuple[Floats, Floats]:
    pole = orbit.j / np.linalg.norm(orbit.j)
    along = orbit.e if orbit.eccentricity > 1e-9 else np.eye(3)[int(np.argmin(np.abs(pole)))]
    p_hat = along - (along @ pole) * pole
    p_hat = p_hat / np.linalg.norm(p_hat)
    return p_hat, np.cross(pole, p_hat)


def _at_direction(orbit: MeanOrbit, r_km: Floats, mu: float) -> Floats:
    """State of a two-body orbit in the direction of a place."""
    p_hat, q_hat = _frame(orbit)
    return state_of(orbit, math.atan2(float(r_km @ q_hat), float(r_km @ p_hat)), mu)


def _moved(state: ArrayLike, tdb_s: float, around: Surroundings, sign: float) -> MeanOrbit:
    """The orbit of a state with its short waves added (1) or taken off (-1)."""
    mu = around.field.gm_km3_s2
    orbit = osculating_orbit(state, mu)
    p_hat, q_hat = _frame(orbit)
    r = np.asarray(state, float)[:3]
    here = math.atan2(float(r @ q_hat), float(r @ p_hat))
    f = here + 2.0 * np.pi * np.arange(_NODES) / _NODES
    rates, seconds = _rates_along(orbit, f, tdb_s, around)
    step = 2.0 * np.pi / _NODES
    period = step * float(seconds.sum())
    mean = (rates * seconds[:, None]).sum(axis=0) * step / period
    # of the wave: the integral from here on, less its mean over time
    pieces = (rates - mean) * seconds[:, None] * step
    sums = np.cumsum(pieces, axis=0) - 0.5 * pieces - 0.5 * pieces[:1]
    wave = -(sums * seconds[:, None]).sum(axis=0) * step / period
    return MeanOrbit(
        orbit.a_km + sign * float(wave[0]), orbit.j + sign * wave[1:4], orbit.e + sign * wave[4:]
    )  # fmt: skip


def _rates_along(orbit: MeanOrbit, f: Floats, tdb_s: float, around: Surroundings) -> tuple[Floats, Floats]:
    """Rates (n, 7) of a, j and e at true anomalies, and dt/df there; the body as it is turned at the date."""
    mu, n = around.field.gm_km3_s2, len(f)
    states = np.array([state_of(orbit, float(angle), mu) for angle in f])
    r, v = states[:, :3], states[:, 3:]
    pull = _pulls(r, tdb_s, around)
    h = np.cross(r, v)
    torque = np.cross(r, pull)
    rates = np.empty((n, 7))
    rates[:, 0] = 2.0 * orbit.a_km**2 / mu * np.einsum("ij,ij->i", v, pull)
    big = math.sqrt(mu * orbit.a_km)
    # j = h/L, and L goes with the root of a
    rates[:, 1:4] = torque / big - 0.5 * (h / big) * (rates[:, :1] / orbit.a_km)
    rates[:, 4:] = (np.cross(pull, h) + np.cross(v, torque)) / mu
    return rates, np.einsum("ij,ij->i", r, r) / np.linalg.norm(h, axis=1)


def _pulls(r: Floats, tdb_s: float, around: Surroundings) -> Floats:
    axes, places = np.empty((3, 3)), np.empty((len(around.other_gm), 3))
    fill_axes(tdb_s, around, axes)
    fill_others(tdb_s, around, places)
    columns = around.field.c.shape[1] + 2
    v, w = np.empty((3, columns)), np.empty((3, columns))
    out = np.empty_like(r)
    for k in range(len(r)):
        pull_at(r[k], around, axes, places, v, w, False, out[k])
    return out
