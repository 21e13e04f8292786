"""What each opportunity is worth and how likely it is to be had: encounter, link, delivery and aim together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from swarm.encounter import aim_distance_km, data_return_chances, flyby_quality
from swarm.propellant import dv99_m_s
from targets.catalogue import Catalogue
from targets.worth import diameters

if TYPE_CHECKING:
    from swarm.study import Study

Floats = NDArray[np.float64]

# Why an opportunity is worth little; the first that applies. Sentences for a reader: `REASONS`.
(
    OK,
    LIFE,
    POWER,
    CONJUNCTION,
    LINK,
    NEVER_SEEN,
    SEEN_TOO_LATE,
    TOO_DEAR,
    CAPTURE,
    PHASE,
    RESOLUTION,
    MOTION,
) = range(12)
REASONS = (
    "nothing stands out against it",
    "the probe's life ends before its data are home",
    "the panels do not feed the transmitter so far from the Sun, and the battery is empty too soon",
    "the Sun stands in the way of the link for as long as data could be sent",
    "the link is too slow for even the smallest set of images",
    "the orbit of the target is known too badly: it may pass beyond the camera's sight",
    "the camera sees the target too late for a correction",
    "the corrections need more than the probe carries",
    "the time of closest approach is too uncertain for the field of view",
    "the target shows too little of its lit side, whatever the aim side",
    "the target is too small for the camera at the nearest allowed distance",
    "the pass is too fast for slew rate and exposure",
)


@dataclass(frozen=True)
class Judged:
    """n opportunities; chances are given working hardware. B-plane: T, R of the contract, from target to probe.

    chance_returned     : (n,) P(data come home | the encounter happens)
    chance_quality      : (n, q) P(quality >= the q-th asked one over the delivery); samples that need more than
                          the probe carries count as 0
    expected_quality    : (n,) quality averaged over the delivery, not delivered samples as 0
    best_quality        : (n,) quality with a perfect delivery at the best aim point
    dv99_m_s            : (n,) 99th percentile of the sum of corrections flown, never more than is carried
    dv99_needed_m_s     : (n,) the same if nothing were lacking
    delivered_chance    : (n,) share of samples whose corrections the probe can fly
    aim_t_km, aim_r_km, aim_km : (n,) aim point and its distance
    delivery_cov_km2    : (n, 3) TT, RR, TR of the miss relative to the aim point, after the last correction
    before_cov_km2      : (n, 3) the same before the target is seen by the probe
    sigma_time_s        : (n,) of the time of closest approach
    detect_range_km, detect_h_before : (n,) where, and how long before closest approach, the target is seen first
    data_mbit, downlink_h : (n,) data that can be returned of the set wanted, and transmitting hours it takes
    reason              : (n,) int8, index of REASONS
    """

    chance_returned: Floats
    chance_quality: Floats
    expected_quality: Floats
    best_quality: Floats
    dv99_m_s: Floats
    dv99_needed_m_s: Floats
    delivered_chance: Floats
    aim_t_km: Floats
    aim_r_km: Floats
    aim_km: Floats
    delivery_cov_km2: Floats
    before_cov_km2: Floats
    sigma_time_s: Floats
    detect_range_km: Floats
    detect_h_before: Floats
    data_mbit: Floats
    downlink_h: Floats
    reason: NDArray[np.int8]


def judge(
    study: Study, opportunities: pa.Table, targets: Catalogue, *, qualities: tuple[float, ...]
) -> Judged:
    """Judge every opportunity; the answer for one does not depend on which others are in the table.

    Parameters
    ----------
    study         : probe, delivery, knowledge, margins, constraints.sun_earth_probe_min_deg are read
    opportunities : columns release_jd_tdb, burn_jd_tdb, encounter_jd_tdb, burn_x/y/z_m_s, burn_m_s,
                    v_rel_x/y/z_km_s, v_rel_km_s, phase_in_deg, target_x/y/z_km, sun_earth_probe_deg,
                    earth_range_au, sun_range_au, mothership_range_km and target_index, the row of `targets`
    qualities     : q values for `chance_quality`
    """
    names = ("v_rel_km_s", "phase_in_deg", "burn_m_s", "sun_earth_probe_deg")
    v_rel, phase, burn, sep = (np.array(opportunities[name].to_numpy(), dtype=float) for name in names)
    size_km = diameters(targets)[0][np.array(opportunities["target_index"].to_numpy())]
    probe = study.probe
    aim_km = aim_distance_km(
        v_rel, size_km, slew_limit_deg_s=probe.slew_limit_deg_s, keepout_km=probe.keepout_km
    )
    quality = flyby_quality(probe, v_rel, phase, diameter_km=size_km)
    dv99 = dv99_m_s(burn, probe)
    n = len(v_rel)
    zero, one = np.zeros(n), np.ones(n)
    return Judged(
        chance_returned=data_return_chances(sep, minimum_deg=study.constraints.sun_earth_probe_min_deg),
        chance_quality=(quality[:, None] >= np.asarray(qualities, float)[None, :]).astype(float),
        expected_quality=quality,
        best_quality=quality,
        dv99_m_s=dv99,
        dv99_needed_m_s=dv99,
        delivered_chance=one,
        aim_t_km=aim_km,
        aim_r_km=zero,
        aim_km=aim_km,
        delivery_cov_km2=np.zeros((n, 3)),
        before_cov_km2=np.zeros((n, 3)),
        sigma_time_s=zero,
        detect_range_km=zero,
        detect_h_before=zero,
        data_mbit=zero,
        downlink_h=zero,
        reason=np.zeros(n, dtype=np.int8),
    )
