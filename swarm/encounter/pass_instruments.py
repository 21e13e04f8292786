"""What the instruments of a probe get of a low pass: a score between 0 and 1 for each, and what a counter tells.

    camera  : ground pixel, smear and light, multiplied
    counter : Z = f(h) d sqrt(C t) against what is full; t = 2 h / speed over the ground: so long the disc is within h
              of the point below
    field   : source (depth/(depth + h))^3 over the noise, against what is full
    sampler : n0 exp(-h/H) A L against what is full, nothing above its speed

Along a pass of eccentricity e the height grows as s^2 e / (2 r_p (1 + e)), s the way from closest approach, so that an
exponential atmosphere of scale height H holds as much as L = sqrt(2 pi H r_p (1 + e)/e) of its least height.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.instruments import (
    count_sigma,
    field_share,
    ground_pixel_m,
    ground_smear_px,
    light_score,
    pixel_score,
    sampled,
    smear_score,
)
from swarm.encounter.quality import pixel_angle_rad

if TYPE_CHECKING:
    from swarm.study.schema import Study
    from swarm.study.sections.carried import InstrumentSettings

Floats = NDArray[np.float64]

# A pixel of 1 m on the ground is full quality, one of 100 m none. Own choices.
FULL_M, WORST_M = 1.0, 100.0
_LEAST_KM = 1e-3  # no instrument is nearer


@dataclass(frozen=True)
class PassSeen:
    """What instruments see of a pass whatever its height: km, km/s, deg."""

    radius_km: float
    mu_km3_s2: float
    v_inf_km_s: float
    ground_speed_km_s: float
    sun_elevation_deg: float


@dataclass(frozen=True)
class _Lens:
    """A camera that looks straight down; `followed`: share of the motion over the ground that is compensated."""

    pixel_rad: float
    exposure_s: float
    followed: float


def _lenses(study: Study) -> list[_Lens]:
    """The probe's own camera, and those among its instruments, which are turned with it."""
    followed = 1.0 - study.probe.tracking_error
    own = _Lens(pixel_angle_rad(study.probe), 1e-3 * study.probe.exposure_ms, followed)
    more = [
        _Lens(1e-6 * each.pixel_urad, 1e-3 * each.camera_exposure_ms, followed)
        for each in instruments_of(study)
        if each.kind == "camera"
    ]
    return [own, *more]


def instruments_of(study: Study) -> tuple[InstrumentSettings, ...]:
    """What the only design carries beside its camera; nothing with [probe]."""
    held: tuple[InstrumentSettings, ...] = getattr(study.probe, "instruments", ())
    return held


def finest(study: Study, height_km: Floats, speed_km_s: Floats | float) -> tuple[Floats, Floats]:
    """Ground pixel, m, of the finest camera, and its smear in pixels."""
    lens = min(_lenses(study), key=lambda each: each.pixel_rad)
    pixel = ground_pixel_m(height_km, pixel_rad=lens.pixel_rad)
    return pixel, _smear_px(lens, height_km, speed_km_s)


def _smear_px(lens: _Lens, height_km: Floats, speed_km_s: Floats | float) -> Floats:
    return ground_smear_px(
        height_km, speed_km_s, pixel_rad=lens.pixel_rad, exposure_s=lens.exposure_s, compensated=lens.followed
    )


def best_score(study: Study, seen: PassSeen, height_km: Floats) -> Floats:
    """(n,) score of the best instrument of one design, at each height over the equatorial radius."""
    above = np.maximum(height_km, _LEAST_KM)
    best = np.zeros(len(above))
    for lens in _lenses(study):
        best = np.maximum(best, _of_camera(lens, seen, above))
    for each in instruments_of(study):
        if each.kind != "camera":
            best = np.maximum(best, _SCORES[each.kind](each, seen, above))
    return best


def counter_sigma(study: Study, height_km: Floats, ground_speed_km_s: Floats) -> Floats:
    """(n,) significance of the best counter of one design; NaN where it carries none."""
    own = [each for each in instruments_of(study) if each.kind == "counter"]
    if not own:
        return np.full(len(height_km), np.nan)
    above = np.maximum(height_km, _LEAST_KM)
    return np.max([_z(each, above, ground_speed_km_s) for each in own], axis=0)


def _of_camera(lens: _Lens, seen: PassSeen, height_km: Floats) -> Floats:
    score = pixel_score(ground_pixel_m(height_km, pixel_rad=lens.pixel_rad), full_m=FULL_M, worst_m=WORST_M)
    score = score * smear_score(_smear_px(lens, height_km, seen.ground_speed_km_s))
    return score * light_score(seen.sun_elevation_deg)


def _z(own: InstrumentSettings, height_km: Floats, ground_speed_km_s: Floats | float) -> Floats:
    within_s = 2.0 * height_km / ground_speed_km_s
    return count_sigma(
        height_km, within_s, radius_km=own.radius_km, contrast=own.contrast, counts_per_s=own.counts_per_s
    )


def _of_counter(own: InstrumentSettings, seen: PassSeen, height_km: Floats) -> Floats:
    return np.minimum(_z(own, height_km, seen.ground_speed_km_s) / own.sigma_full, 1.0)


def _of_field(own: InstrumentSettings, seen: PassSeen, height_km: Floats) -> Floats:
    z = own.source_nt * field_share(height_km, own.source_depth_km) / own.noise_nt
    return np.minimum(z / own.sigma_full, 1.0)


def _of_sampler(own: InstrumentSettings, seen: PassSeen, height_km: Floats) -> Floats:
    periapsis = seen.radius_km + height_km
    speed = np.sqrt(seen.v_inf_km_s**2 + 2.0 * seen.mu_km3_s2 / periapsis)
    e = 1.0 + periapsis * seen.v_inf_km_s**2 / seen.mu_km3_s2
    way = np.sqrt(2.0 * np.pi * own.scale_height_km * periapsis * (1.0 + e) / e)
    count = sampled(
        height_km, speed, way / speed, ground_per_m3=own.ground_per_m3,
        scale_height_km=own.scale_height_km, opening_m2=own.opening_m2,
    )  # fmt: skip
    return np.minimum(count / own.counts_full, 1.0) * (speed <= own.speed_max_km_s)


_SCORES = {"counter": _of_counter, "field": _of_field, "sampler": _of_sampler}
