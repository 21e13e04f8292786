"""Where the mothership is while a probe goes down: its path as given, or the hyperbola that joins two legs."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from swarm.reach.approach.passage import Passage, States
from swarm.reach.arcs.bplane import axes_of
from swarm.reach.mothership.flybys import Flyby, impact_parameter_km
from targets.masses.massive import Mass
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]
# Epochs (n,) -> positions (n, 3) from the body's centre, ICRF.
Places = Callable[[Floats], Floats]
# Between samples a cubic errs by (v/r)^4 r h^4/384: 3 m at 12 km/s low over Venus.
SAMPLE_S = 60.0


def carrier_about(
    passage: Passage, states: States, ephemeris: Ephemeris, flyby: Flyby | None
) -> Places | None:
    """The mothership's places about the body it passes.

    flyby : of two-body legs, which meet the planet's centre: the hyperbola of their excess velocities

    None where legs end at the body, or turn so little that no hyperbola joins them: its way past is not known.
    """
    body = passage.body
    if math.isfinite(passage.distance_km):
        return lambda epochs: (states(epochs) - ephemeris.about_sun(body, epochs))[:, :3]
    if flyby is None or not math.isfinite(flyby.altitude_km):
        return None
    periapsis = body.radius_km + flyby.altitude_km

    def on_hyperbola(epochs: Floats) -> Floats:
        return hyperbola_km(
            flyby.v_inf_in_km_s,
            flyby.v_inf_out_km_s,
            periapsis,
            body.gm_km3_s2,
            epochs - passage.closest_tdb_s,
        )

    return on_hyperbola


@dataclass(frozen=True, eq=False)
class SampledPlaces:
    """Places at even epochs and between them by a cubic, which can be sent to workers; NaN where none was known."""

    first_tdb_s: float
    km: Floats

    def __call__(self, tdb_s: Floats) -> Floats:
        since = np.asarray(tdb_s, dtype=float) - self.first_tdb_s
        out = np.full((len(since), 3), np.nan)
        if self._curve is not None:
            within = (since >= self._curve.x[0]) & (since <= self._curve.x[-1])
            out[within] = self._curve(since[within])
        return out

    @cached_property
    def _curve(self) -> CubicSpline | None:
        known = np.isfinite(self.km[:, 0])
        since = SAMPLE_S * np.arange(len(self.km))
        return CubicSpline(since[known], self.km[known]) if known.sum() >= 4 else None


def sampled(places: Places, first_tdb_s: float, last_tdb_s: float, *, until_tdb_s: float) -> SampledPlaces:
    """Places over a span; nothing is known after `until_tdb_s`, where the mothership's path ends."""
    count = math.ceil((last_tdb_s - first_tdb_s) / SAMPLE_S) + 1
    epochs: Floats = first_tdb_s + SAMPLE_S * np.arange(count, dtype=np.float64)
    known = epochs <= until_tdb_s
    km = np.full((len(epochs), 3), np.nan)
    if known.any():
        km[known] = places(epochs[known])
    return SampledPlaces(first_tdb_s, km)


def aim_of_flyby_km(flyby: Flyby | None, body: Mass) -> Floats:
    """(2,) T, R of the aim point of a flyby of legs; NaN where there is none."""
    if flyby is None or not math.isfinite(flyby.altitude_km):
        return np.full(2, np.nan)
    speed = float(np.linalg.norm(flyby.v_inf_in_km_s))
    s = flyby.v_inf_in_km_s / speed
    to_periapsis = s - flyby.v_inf_out_km_s / np.linalg.norm(flyby.v_inf_out_km_s)
    b = to_periapsis - (to_periapsis @ s) * s
    size = impact_parameter_km(body.radius_km + flyby.altitude_km, speed, body.gm_km3_s2)
    axes = np.array(axes_of(*(float(part) for part in s))).reshape(2, 3)
    return size * axes @ (b / np.linalg.norm(b))


def hyperbola_km(
    v_in_km_s: Floats, v_out_km_s: Floats, periapsis_km: float, mu_km3_s2: float, since_s: Floats
) -> Floats:
    """(n, 3) places so long after periapsis on the hyperbola between two asymptotes of nearly one speed.

    M = sqrt(mu/a^3) t = e sinh H - H; periapsis lies against the change of velocity.
    """
    speed = 0.5 * float(np.linalg.norm(v_in_km_s) + np.linalg.norm(v_out_km_s))
    before, after = v_in_km_s / np.linalg.norm(v_in_km_s), v_out_km_s / np.linalg.norm(v_out_km_s)
    p, q = before - after, before + after
    p, q = p / np.linalg.norm(p), q / np.linalg.norm(q)
    a = mu_km3_s2 / speed**2
    e = 1.0 + periapsis_km / a
    mean = math.sqrt(mu_km3_s2 / a**3) * np.asarray(since_s, dtype=float)
    h = np.arcsinh(mean / e)
    for _ in range(50):  # Newton on a function without inflection on either side of 0
        step = (e * np.sinh(h) - h - mean) / (e * np.cosh(h) - 1.0)
        h = h - step
        if np.abs(step).max(initial=0.0) < 1e-13:
            break
    return a * ((e - np.cosh(h))[:, None] * p + (math.sqrt(e * e - 1.0) * np.sinh(h))[:, None] * q)
