"""Geometry and measurement quality of a flyby. Pure functions of arrays; km, km/s, degrees.

The model is the simple one: the probe is aimed on the side with the best phase, as near as its slew rate
and keep-out distance allow, and arrives there. Quality is resolution times phase, 0 to 1.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from swarm.study import ProbeSettings

Floats = NDArray[np.float64]

# Pixels across at which a body is a first shape (score 0) and is mapped well (score 1): own choice, a
# decade apart.
PIXELS_MIN, PIXELS_FULL = 10.0, 100.0
# Phase angles at closest approach (deg): no score, full score, full score, no score. Imaging is good from
# 10 to 110 deg (usual practice, from memory); below, shadows vanish, above, the lit part does: shoulders
# of 10 deg, own choice.
PHASE_WINDOW_DEG = (0.0, 10.0, 110.0, 120.0)


def slew_rate_deg_s(v_rel_km_s: ArrayLike, miss_km: ArrayLike) -> Floats:
    """Return the largest turn rate of the line of sight of a straight pass, v/b, in deg/s."""
    return np.degrees(np.asarray(v_rel_km_s, float) / np.asarray(miss_km, float))


def slew_acceleration_deg_s2(v_rel_km_s: ArrayLike, miss_km: ArrayLike) -> Floats:
    """Return the largest angular acceleration of the line of sight, (3 sqrt 3 / 8)(v/b)^2, in deg/s^2.

    The line of sight turns as atan(v t / b); its second derivative is largest at v t / b = 1/sqrt 3.
    """
    rate_rad_s = np.asarray(v_rel_km_s, float) / np.asarray(miss_km, float)
    return np.degrees(0.375 * np.sqrt(3.0) * rate_rad_s**2)


def aim_distance_km(
    v_rel_km_s: ArrayLike, diameter_km: ArrayLike, *, slew_limit_deg_s: float, keepout_km: float
) -> Floats:
    """Return the nearest useful miss distance from the centre: slew-limited, and never nearer to the surface
    than the keep-out distance."""
    slew_limited_km = np.asarray(v_rel_km_s, float) / np.radians(slew_limit_deg_s)
    return np.maximum(slew_limited_km, keepout_km + 0.5 * np.asarray(diameter_km, float))


def pixels_across(diameter_km: ArrayLike, miss_km: ArrayLike, *, ifov_urad: float) -> Floats:
    """Return the diameter in pixels at closest approach, D / (ifov * b)."""
    return np.asarray(diameter_km, float) / (1e-6 * ifov_urad * np.asarray(miss_km, float))


def resolution_score(pixels: ArrayLike) -> Floats:
    """Return 0 at 10 pixels or fewer, 1 at 100 or more, even steps per factor between."""
    ratio = np.maximum(np.asarray(pixels, float), PIXELS_MIN) / PIXELS_MIN
    return np.clip(np.log(ratio) / np.log(PIXELS_FULL / PIXELS_MIN), 0.0, 1.0)


def closest_phase_range_deg(phase_in_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Return the phase at closest approach on the sunlit side, |90 - phase_in|, and on the other, 180 - that.

    Every value between is had by turning the aim point around the target.
    """
    lit = np.abs(90.0 - np.asarray(phase_in_deg, float))
    return lit, 180.0 - lit


def phase_score(phase_deg: ArrayLike) -> Floats:
    """Return the trapezoid of `PHASE_WINDOW_DEG`: 1 from 10 to 110 deg, 0 at 0 and from 120 deg on."""
    return np.interp(np.asarray(phase_deg, float), PHASE_WINDOW_DEG, (0.0, 1.0, 1.0, 0.0))


def best_phase_score(phase_in_deg: ArrayLike) -> Floats:
    """Return the phase score for the best aim side: any phase of `closest_phase_range_deg` can be had."""
    least_deg, most_deg = closest_phase_range_deg(phase_in_deg)
    return phase_score(np.clip(PHASE_WINDOW_DEG[1], least_deg, most_deg))


def flyby_quality(
    probe: ProbeSettings, v_rel_km_s: ArrayLike, phase_in_deg: ArrayLike, *, diameter_km: ArrayLike
) -> Floats:
    """Return the quality, 0 to 1, of an encounter flown at the aim distance on the best side.

    Parameters
    ----------
    probe : camera_ifov_urad, slew_limit_deg_s, keepout_km are read
    v_rel_km_s, phase_in_deg, diameter_km : (n,)   relative speed, Sun-target-incoming probe angle, size
    """
    aim_km = aim_distance_km(
        v_rel_km_s, diameter_km, slew_limit_deg_s=probe.slew_limit_deg_s, keepout_km=probe.keepout_km
    )
    pixels = pixels_across(diameter_km, aim_km, ifov_urad=probe.camera_ifov_urad)
    return resolution_score(pixels) * best_phase_score(phase_in_deg)


def data_return_chances(sun_earth_probe_deg: ArrayLike, *, minimum_deg: float) -> Floats:
    """Return 1 where the probe at encounter stands clear of the Sun as seen from Earth, else 0 (no link)."""
    return (np.asarray(sun_earth_probe_deg, float) >= minimum_deg).astype(np.float64)
