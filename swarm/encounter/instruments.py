"""What a low pass is worth to an instrument: counter, magnetometer, sampler, camera. Arrays of km, s and plain numbers.

    counter : share of the counts from a disc of radius a below, 1 - (1 + (a/h)^2)^(-1/2); contrast d of the disc shows
              with Z = f d sqrt(C t), C counts/s
    field   : a dipole at depth d below the ground shows as (d/(d + h))^3 of what it is at the ground
    sampler : what flows into an opening, n0 exp(-h/H) A v t; grains and molecules break above a speed
    camera  : ground pixel = ifov * range, smear = ground speed not compensated * exposure / pixel

Sources: the kernel of an isotropic detector over a plane whose leakage goes with the cosine, (1 + (r/h)^2)^(-3/2),
integrated over a disc (Lawrence et al. 2003, "Theoretical count rates for neutron spectrometers in orbit", Icarus
164:404: from memory); the fall of a dipole's field with the cube of the distance (any text on potentials).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# Half width at half maximum of the counter's kernel, in heights: (1 + x^2)^(-3/2) = 1/2.
HALF_WIDTH_HEIGHTS = float(np.sqrt(2.0 ** (2.0 / 3.0) - 1.0))
SMEAR_GOOD_PX, SMEAR_BAD_PX = 1.0, 5.0  # own choices, as for flybys


def share_from_disc(radius_km: ArrayLike, height_km: ArrayLike) -> Floats:
    """Share of a counter's counts that come from a disc of the ground straight below."""
    ratio = np.asarray(radius_km, float) / np.asarray(height_km, float)
    return 1.0 - 1.0 / np.sqrt(1.0 + ratio**2)


def count_sigma(
    height_km: ArrayLike, dwell_s: ArrayLike, *, radius_km: float, contrast: float, counts_per_s: float
) -> Floats:
    """Significance with which a disc of the ground stands out by a contrast."""
    counts = counts_per_s * np.asarray(dwell_s, float)
    return share_from_disc(radius_km, height_km) * contrast * np.sqrt(counts)


def field_share(height_km: ArrayLike, depth_km: float) -> Floats:
    """Share of a buried dipole's field that is left at a height, of that at the ground."""
    return (depth_km / (depth_km + np.asarray(height_km, float))) ** 3


def sampled(
    height_km: ArrayLike, speed_km_s: ArrayLike, dwell_s: ArrayLike, *,
    ground_per_m3: float, scale_height_km: float, opening_m2: float,
) -> Floats:  # fmt: skip
    """How many grains or molecules flow into an opening."""
    density = ground_per_m3 * np.exp(-np.asarray(height_km, float) / scale_height_km)
    return density * opening_m2 * 1e3 * np.asarray(speed_km_s, float) * np.asarray(dwell_s, float)


def ground_pixel_m(height_km: ArrayLike, *, pixel_rad: float) -> Floats:
    """Size of a pixel on the ground straight below."""
    return 1e3 * pixel_rad * np.asarray(height_km, float)


def ground_smear_px(
    height_km: ArrayLike,
    ground_speed_km_s: ArrayLike,
    *,
    pixel_rad: float,
    exposure_s: float,
    compensated: float,
) -> Floats:
    """Blur in pixels by the motion over the ground that is not compensated."""
    missed_km = (1.0 - compensated) * np.asarray(ground_speed_km_s, float) * exposure_s
    return missed_km / (pixel_rad * np.asarray(height_km, float))


def pixel_score(pixel_m: ArrayLike, *, full_m: float, worst_m: float) -> Floats:
    """1 at the ground pixel asked for or finer, 0 at the worst, straight in the logarithm between."""
    ratio = np.log(np.asarray(pixel_m, float) / worst_m) / np.log(full_m / worst_m)
    return np.clip(ratio, 0.0, 1.0)


def smear_score(smear_px: ArrayLike) -> Floats:
    """1 up to a pixel of smear, 0 from five on."""
    return np.clip((SMEAR_BAD_PX - np.asarray(smear_px, float)) / (SMEAR_BAD_PX - SMEAR_GOOD_PX), 0.0, 1.0)


def light_score(sun_elevation_deg: ArrayLike) -> Floats:
    """1 with the Sun 10 deg over the horizon or higher, 0 where it has set (own choice of the 10)."""
    return np.clip(np.asarray(sun_elevation_deg, float) / 10.0, 0.0, 1.0)
