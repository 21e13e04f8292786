"""What judging reads of opportunities and of a study's camera, as records of arrays for compiled code; km, km/s, s."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter.approach import looks_into_sun
from swarm.encounter.propellant import carried_m_s
from swarm.encounter.quality import detection_range_km, pixel_angle_rad
from swarm.reach.arcs.bplane import b_plane_axes
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.knowledge import position_covariance_km2
from targets.catalogue.reading import Catalogue
from targets.catalogue.worth import diameters

if TYPE_CHECKING:
    from swarm.study.schema import Study

Floats = NDArray[np.float64]


class Cases(NamedTuple):
    """What the loop reads of n opportunities; km, km/s, s."""

    state: Floats  # (n, 6) probe at the encounter
    axes: Floats  # (n, 3, 3) S, T, R
    speed_km_s: Floats
    burn_km_s: Floats  # (n, 3)
    encounter_s: Floats
    since_release_s: Floats
    since_burn_s: Floats
    stored_days: Floats
    diameter_km: Floats
    sun_range_au: Floats
    detect_km: Floats  # at which the target is as bright as the camera's limit
    acquire_km: Floats  # at which it is seen on approach: the same, but 0 where the Sun is too near
    target_cov_km2: Floats  # (n, 3, 3) ICRF
    mothership_km: Floats
    spare_km_s: Floats  # left for corrections


def cases_of(study: Study, opportunities: pa.Table, targets: Catalogue) -> Cases:
    """Collect what judging reads of every opportunity (columns: see `judge`)."""
    columns = _Columns(opportunities)
    bodies = targets.take(columns.whole("target_index"))
    encounter_s, release_s, burn_s = (
        tdb_s_from_jd(columns[f"{event}_jd_tdb"]) for event in ("encounter", "release", "burn")
    )
    v_rel = columns.vectors("v_rel_{}_km_s")
    detect_km = detection_range_km(
        bodies.h_mag,
        bodies.g_slope,
        sun_range_au=columns["sun_range_au"],
        phase_in_deg=columns["phase_in_deg"],
        limiting_mag=study.probe.limiting_mag,
    )
    blind = looks_into_sun(columns["phase_in_deg"], exclusion_deg=study.probe.sun_exclusion_deg)
    covariance, _ = position_covariance_km2(
        bodies,
        encounter_s,
        velocity_km_s=columns.vectors("target_v{}_km_s"),
        floor_km=study.knowledge.target_floor_km,
        runoff_fraction=study.knowledge.runoff_fraction,
    )
    return Cases(
        state=np.hstack([columns.vectors("target_{}_km"), columns.vectors("target_v{}_km_s") + v_rel]),
        axes=b_plane_axes(v_rel),
        speed_km_s=np.linalg.norm(v_rel, axis=1),
        burn_km_s=1e-3 * columns.vectors("burn_{}_m_s"),
        encounter_s=encounter_s,
        since_release_s=encounter_s - release_s,
        since_burn_s=encounter_s - burn_s,
        stored_days=columns["release_jd_tdb"] - study.study.start_jd_tdb + study.survival.stored_before_days,
        diameter_km=diameters(bodies)[0],
        sun_range_au=columns["sun_range_au"],
        detect_km=detect_km,
        acquire_km=np.where(blind, 0.0, detect_km),
        target_cov_km2=covariance,
        mothership_km=columns["mothership_range_km"],
        spare_km_s=spare_km_s(study, columns["burn_m_s"]),
    )


def spare_km_s(study: Study, burn_m_s: Floats) -> Floats:
    """(n,) what is left for corrections of full tanks after the main burn, margins and attitude control."""
    margins = study.margins
    spare_m_s = carried_m_s(study) - burn_m_s * (1.0 + margins.deterministic_fraction)
    spare_m_s -= margins.attitude_m_s * (1.0 + margins.attitude_fraction)
    return 1e-3 * np.maximum(spare_m_s, 0.0)


class _Columns:
    """Columns of a table as arrays of their own memory."""

    def __init__(self, table: pa.Table) -> None:
        self._table = table

    def __getitem__(self, name: str) -> Floats:
        return np.array(self._table[name].to_numpy(), dtype=float)

    def whole(self, name: str) -> NDArray[np.int64]:
        return np.array(self._table[name].to_numpy(), dtype=np.int64)

    def vectors(self, pattern: str) -> Floats:
        return np.column_stack([self[pattern.format(axis)] for axis in "xyz"])


class Camera(NamedTuple):
    """What the loop reads of the camera and its use."""

    pixel_rad: float
    pixels: float
    slew_limit_rad_s: float
    keepout_km: float
    smear_1au_s: float
    dwell_s: float
    bits_per_square: float  # of all kept images, per pixel
    window: float
    half_field_rad: float
    autonomous: bool
    acquire_s: float


def camera_of(study: Study) -> Camera:
    probe = study.probe
    return Camera(
        pixel_angle_rad(probe),
        float(probe.camera_pixels),
        math.radians(probe.slew_limit_deg_s),
        probe.keepout_km,
        1e-3 * probe.exposure_ms * probe.tracking_error,
        probe.images_kept * probe.frame_s,
        probe.images_kept * probe.bits_per_pixel,
        probe.image_window,
        0.5e-6 * probe.camera_ifov_urad * probe.camera_pixels,
        probe.autonomous_tracking,
        3600.0 * study.delivery.acquire_hours,
    )
