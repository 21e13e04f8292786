"""Geometry and measurement quality of a flyby. Pure functions of a miss vector; km, km/s, degrees.

Quality, 0 to 1, is a product of scores of the miss vector (b long, at closest approach b to the target):

    resolution   pixels across, D / (w b): 0 at 10, 1 at 100, even steps per factor between
    phase        Sun-target-probe angle at closest approach: 0 at 0, 1 from 10 to 110 deg, 0 from 120 deg on
    lit          lit fraction of the disc, (1 + cos phase) / 2: full score from one half on
    slew         turn rate v / b: 1 up to the limit, 0 at 1.25 of it
    smear        blur in one exposure by what tracking misses of the turn: 1 up to half a pixel, 0 at 1.5
    keep-out     0 nearer to the surface than the keep-out distance, 1 from 1.1 of it on
    dwell        time with 10 pixels or more across, over the time all kept images take

w is the pixel's angle or the diffraction limit, whichever is larger. Data that cannot be sent cut the pixels across
(coarser images). Whether the camera looks at the target at all is a chance beside the quality: `capture_chance`.

`flyby_quality` is the plain form for a probe that arrives exactly where it is aimed: resolution times phase.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from targets.base.constants import AU_KM
from targets.catalogue.physical import apparent_magnitude

if TYPE_CHECKING:
    from swarm.study.schema import ProbeSettings

Floats = NDArray[np.float64]

# Pixels across at which a body is a first shape (score 0) and is mapped well (score 1): own choice, a
# decade apart.
PIXELS_MIN, PIXELS_FULL = 10.0, 100.0
# Phase angles at closest approach (deg): no score, full score, full score, no score. Imaging is good from
# 10 to 110 deg (usual practice, from memory); below, shadows vanish, above, the lit part does: shoulders
# of 10 deg, own choice.
PHASE_WINDOW_DEG = (0.0, 10.0, 110.0, 120.0)
# Own choices: where a soft limit ends, as a multiple of the limit.
SLEW_END, KEEPOUT_END = 1.25, 1.1
# Blur in pixels that is not seen (usual limit 0.3-1, from memory), and that spoils an image (own choice).
SMEAR_GOOD_PX, SMEAR_BAD_PX = 0.5, 1.5
LIT_FULL = 0.5
# Mean wavelength of the detector, for the diffraction limit 1.22 lambda / aperture.
WAVELENGTH_NM = 550.0


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


# --- the whole quality, compiled ----------------------------------------------------------------------------


class Optics(NamedTuple):
    """What the quality of one encounter depends on besides the miss vector."""

    v_rel_km_s: float
    diameter_km: float
    pixel_rad: float  # the larger of pixel angle and diffraction limit
    pixels_most: float  # pixels across that detector and returned data allow
    slew_limit_rad_s: float
    keepout_km: float
    smear_s: float  # exposure times the part of the turn rate that tracking misses
    dwell_s: float  # time that all kept images take


_DECADE = math.log(PIXELS_FULL / PIXELS_MIN)
_COS_FULL_NEAR, _COS_FULL_FAR = (math.cos(math.radians(edge)) for edge in PHASE_WINDOW_DEG[1:3])

FACTORS = ("resolution", "phase", "lit", "slew", "smear", "keepout", "dwell")


@njit(cache=True)
def _ramp(x, zero, one):
    """0 at `zero`, 1 at `one`, straight between; `zero` may be the larger."""
    return min(max((x - zero) / (one - zero), 0.0), 1.0)


@njit(cache=True)
def _resolution(pixels):
    # most passes that matter are beyond one end or the other: no logarithm there
    if pixels <= PIXELS_MIN:
        return 0.0
    if pixels >= PIXELS_FULL:
        return 1.0
    return math.log(pixels / PIXELS_MIN) / _DECADE


@njit(cache=True)
def _phase(cos_phase):
    if _COS_FULL_FAR <= cos_phase <= _COS_FULL_NEAR:
        return 1.0
    phase_deg = math.degrees(math.acos(min(max(cos_phase, -1.0), 1.0)))
    return min(
        _ramp(phase_deg, PHASE_WINDOW_DEG[0], PHASE_WINDOW_DEG[1]),
        _ramp(phase_deg, PHASE_WINDOW_DEG[3], PHASE_WINDOW_DEG[2]),
    )


@njit(cache=True)
def factors_at(b_km, cos_phase, optics):
    """The seven scores, in the order of FACTORS, at miss distance b and cosine of the phase at closest approach."""
    v, size, pixel = optics.v_rel_km_s, optics.diameter_km, optics.pixel_rad
    resolution = _resolution(min(size / (pixel * b_km), optics.pixels_most))
    lit = min(0.5 * (1.0 + cos_phase) / LIT_FULL, 1.0)
    rate = v / b_km
    slew = _ramp(rate / optics.slew_limit_rad_s, SLEW_END, 1.0)
    smear = _ramp(rate * optics.smear_s / pixel, SMEAR_BAD_PX, SMEAR_GOOD_PX)
    height = b_km - 0.5 * size
    keepout = 1.0 if height >= 0.0 else 0.0
    if optics.keepout_km > 0.0:
        keepout = _ramp(height / optics.keepout_km, 1.0, KEEPOUT_END)
    near_km = size / (PIXELS_MIN * pixel)
    dwell = 0.0
    if near_km > b_km:
        dwell = min(2.0 * math.sqrt(near_km * near_km - b_km * b_km) / (v * optics.dwell_s), 1.0)
    return resolution, _phase(cos_phase), lit, slew, smear, keepout, dwell


@njit(cache=True)
def side_at(cos_phase):
    """Product of the two scores that depend on the side of the target alone: phase and lit."""
    return _phase(cos_phase) * min(0.5 * (1.0 + cos_phase) / LIT_FULL, 1.0)


@njit(cache=True)
def quality_at(b_km, cos_phase, optics):
    """Product of `factors_at`."""
    if b_km * PIXELS_MIN * optics.pixel_rad >= optics.diameter_km or b_km <= 0.0:
        return 0.0
    resolution, phase, lit, slew, smear, keepout, dwell = factors_at(b_km, cos_phase, optics)
    return resolution * phase * lit * slew * smear * keepout * dwell


@njit(cache=True)
def is_shown(b_km, cos_phase, optics):
    """Whether images at closest approach show the target: PIXELS_MIN across at least, and phase score above 0."""
    pixels = min(optics.diameter_km / (optics.pixel_rad * b_km), optics.pixels_most)
    return pixels >= PIXELS_MIN and _phase(cos_phase) > 0.0


@njit(cache=True)
def capture_at(b_km, sigma_along_km, half_field_rad):
    """P(target in the field at closest approach) where the camera points by the clock: |error along| < b tan(half)."""
    if sigma_along_km <= 0.0:
        return 1.0
    return math.erf(b_km * math.tan(half_field_rad) / (math.sqrt(2.0) * sigma_along_km))


def optics_of(
    probe: ProbeSettings,
    *,
    v_rel_km_s: float,
    diameter_km: float,
    sun_range_au: float,
    pixels_most: float = math.inf,
) -> Optics:
    """Return what `quality_at` reads, for one encounter of a study's probe."""
    return Optics(
        float(v_rel_km_s),
        float(diameter_km),
        pixel_angle_rad(probe),
        min(float(pixels_most), float(probe.camera_pixels)),
        math.radians(probe.slew_limit_deg_s),
        float(probe.keepout_km),
        1e-3 * probe.exposure_ms * float(sun_range_au) ** 2 * probe.tracking_error,
        probe.images_kept * probe.frame_s,
    )


def quality_factors(optics: Optics, miss_km: float, phase_closest_deg: float) -> dict[str, float]:
    """Return each score of a pass by its name (FACTORS)."""
    scores = factors_at(float(miss_km), math.cos(math.radians(phase_closest_deg)), optics)
    return dict(zip(FACTORS, scores, strict=True))


# --- single figures, for explanations and tests -------------------------------------------------------------


def pixel_angle_rad(probe: ProbeSettings) -> float:
    """Return the angle one pixel resolves: its own, or the diffraction limit 1.22 lambda / aperture."""
    diffraction_rad = 1.22 * WAVELENGTH_NM * 1e-9 / (1e-3 * probe.camera_aperture_mm)
    return max(1e-6 * probe.camera_ifov_urad, diffraction_rad)


def closest_phase_deg(phase_in_deg: ArrayLike, clock_deg: ArrayLike) -> Floats:
    """Return the phase at closest approach for an aim point `clock_deg` away from the Sun's side of the B-plane.

    cos(phase) = sin(phase_in) cos(clock): clock 0 is the Sun's side, 180 the other.
    """
    cosine = np.sin(np.radians(np.asarray(phase_in_deg, float))) * np.cos(
        np.radians(np.asarray(clock_deg, float))
    )
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


def smear_px(rate_missed_rad_s: ArrayLike, exposure_s: ArrayLike, *, ifov_urad: float) -> Floats:
    """Return the blur in pixels, (turn rate not tracked) * exposure / IFOV."""
    return np.asarray(rate_missed_rad_s, float) * np.asarray(exposure_s, float) / (1e-6 * ifov_urad)


def lit_fraction(phase_deg: ArrayLike) -> Floats:
    """Return the lit part of the disc, (1 + cos phase) / 2."""
    return 0.5 * (1.0 + np.cos(np.radians(np.asarray(phase_deg, float))))


def useful_pixels(pixels: ArrayLike, phase_deg: ArrayLike) -> Floats:
    """Return how many pixels show lit surface, pi/4 n^2 times the lit fraction."""
    return 0.25 * np.pi * np.asarray(pixels, float) ** 2 * lit_fraction(phase_deg)


def dwell_s(v_rel_km_s: ArrayLike, miss_km: ArrayLike, *, within_km: ArrayLike) -> Floats:
    """Return the time spent within a range, 2 sqrt(range^2 - b^2) / v; 0 where the pass stays outside."""
    gap = np.maximum(np.asarray(within_km, float) ** 2 - np.asarray(miss_km, float) ** 2, 0.0)
    return 2.0 * np.sqrt(gap) / np.asarray(v_rel_km_s, float)


def capture_chance(miss_km: ArrayLike, sigma_along_km: ArrayLike, *, half_field_rad: float) -> Floats:
    """Return P(target in the field) for a camera pointed by the clock: |error along v_rel| < b tan(half field)."""
    each = np.vectorize(capture_at, otypes=[np.float64])
    return each(np.asarray(miss_km, float), np.asarray(sigma_along_km, float), half_field_rad)


def detection_range_km(
    h_mag: ArrayLike,
    g_slope: ArrayLike,
    *,
    sun_range_au: ArrayLike,
    phase_in_deg: ArrayLike,
    limiting_mag: float,
) -> Floats:
    """Return the distance at which the target is as bright as the camera's limit, at the phase of the approach.

    References
    ----------
    H,G system: Bowell et al. 1989, Asteroids II (`targets.catalogue.physical.apparent_magnitude`).
    """
    at_one_au = apparent_magnitude(h_mag, g_slope, sun_range_au, 1.0, phase_in_deg)
    return AU_KM * 10.0 ** (0.2 * (limiting_mag - at_one_au))
