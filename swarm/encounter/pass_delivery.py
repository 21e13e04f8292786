"""Where a probe that skims a body really arrives, and what its corrections cost: by the field's transition matrices.

The start errs by the mothership's path, the spring and the burn. A correction undoes what is known of the miss by then;
what is left is what was not known, and the error of its execution (Gates 1963, JPL TR 32-504). The ground knows the
probe and not the body, whose own ephemeris error stays; images of the limb know both together: the centroid to its
share of a pixel, and no better than a share of the radius.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.error_model import Errors, Normals

Floats = NDArray[np.float64]

# The limb of a body is found to a hundredth of its radius: own choice.
LIMB_FRACTION = 0.01
_LEAST_KM2 = 1e-12


@dataclass(frozen=True)
class Sight:
    """What images of the body tell: the body's radius, and how fast the probe comes near."""

    radius_km: float
    v_inf_km_s: float
    ephemeris_sigma_km: float


@dataclass(frozen=True)
class PassDelivery:
    """One row; covariances TT, RR, TR, km^2; `miss_km` (samples, 2) after the last correction.

    before_cov : before the last correction
    spent_m_s  : (samples,) sum of all corrections; dv99_m_s its 99th percentile
    by_images: whether the last correction rests on images of the body
    """

    unburned_cov: Floats
    uncorrected_cov: Floats
    before_cov: Floats
    delivered_cov: Floats
    miss_km: Floats
    spent_m_s: Floats
    dv99_m_s: float
    corrections: int
    by_images: bool


def _packed(cov: Floats) -> Floats:
    return np.array([cov[0, 0], cov[1, 1], cov[0, 1]])


def gates_cov(spread: Floats, errors: Errors) -> Floats:
    """Covariance (3, 3) of the execution of burns whose second moment is `spread`, (3, 3) km^2/s^2."""
    out = (errors.fixed_km_s**2 + errors.pointing_rad**2 * np.trace(spread)) * np.eye(3)
    return out + (errors.proportional**2 - errors.pointing_rad**2) * spread


def start_covariances(
    by_burn: Floats, burn_km_s: Floats, checkout_s: float, errors: Errors
) -> tuple[Floats, Floats]:
    """Covariances (2, 2) of the mothership's own path, and of a probe after its burn, by (2, 6) of the burn.

    Between release and burn a probe drifts: a speed error is a place error by then.
    """
    known = np.diag([errors.mothership_km**2] * 3 + [errors.mothership_km_s**2] * 3)
    ship = by_burn @ known @ by_burn.T
    from_release = by_burn[:, 3:] + checkout_s * by_burn[:, :3]
    spring = errors.spring_km_s**2 * from_release @ from_release.T
    executed = by_burn[:, 3:] @ gates_cov(np.outer(burn_km_s, burn_km_s), errors) @ by_burn[:, 3:].T
    return ship, ship + spring + executed


def unknown_cov(by_state: Floats, before_s: float, sight: Sight, errors: Errors) -> tuple[Floats, bool]:
    """Covariance (2, 2) of what is not known of the miss at a correction, and whether images know it better."""
    known = np.diag([errors.probe_km**2] * 3 + [errors.probe_km_s**2] * 3)
    ground = by_state @ known @ by_state.T + sight.ephemeris_sigma_km**2 * np.eye(2)
    range_km = sight.v_inf_km_s * (before_s + errors.turnaround_s)
    seen_km = max(errors.sight_rad * range_km, LIMB_FRACTION * sight.radius_km)
    images = seen_km**2 * np.eye(2)
    by_images = bool(np.trace(images) < np.trace(ground))
    return (images if by_images else ground), by_images


def deliver(
    by_burn: Floats,
    by_corrections: Floats,
    before_s: Floats,
    *,
    burn_km_s: Floats,
    checkout_s: float,
    sight: Sight,
    errors: Errors,
    normals: Normals,
) -> PassDelivery:
    """One row, with the study's common random numbers.

    Parameters
    ----------
    by_burn        : (2, 6) d(B.T, B.R) by the state at the burn
    by_corrections : (k, 2, 6) the same at each correction, in order of date
    before_s       : (k,) how long before closest approach they are
    """
    ship, start = start_covariances(by_burn, burn_km_s, checkout_s, errors)
    body = sight.ephemeris_sigma_km**2 * np.eye(2)
    samples = normals.start.shape[0]
    miss = normals.start[:, :2] @ root_of_cov(start + body).T
    spent = np.zeros(samples)
    delivered, before_last, by_images = start + body, start + body, False
    for k, (influence, before) in enumerate(zip(by_corrections, before_s, strict=True)):
        unknown, by_images = unknown_cov(influence, float(before), sight, errors)
        numbers = normals.corrections[k]
        error = numbers[:, :2] @ root_of_cov(unknown).T
        burns = -(miss + error) @ np.linalg.pinv(influence[:, 3:]).T
        sizes = np.linalg.norm(burns, axis=1)
        spent += sizes
        direction = burns / np.maximum(sizes, 1e-15)[:, None]
        across = numbers[:, 2:5] - np.einsum("ij,ij->i", numbers[:, 2:5], direction)[:, None] * direction
        executed = errors.fixed_km_s * numbers[:, 5:8] + errors.pointing_rad * sizes[:, None] * across
        executed += (errors.proportional * sizes * numbers[:, 8])[:, None] * direction
        miss = -error + executed @ influence[:, 3:].T
        gates = gates_cov(burns.T @ burns / samples, errors)
        before_last = delivered
        delivered = unknown + influence[:, 3:] @ gates @ influence[:, 3:].T
    return PassDelivery(
        _packed(ship), _packed(start + body), _packed(before_last), _packed(delivered), miss,
        1e3 * spent, 1e3 * float(np.quantile(spent, 0.99)), len(before_s), by_images,
    )  # fmt: skip


def root_of_cov(cov: Floats) -> Floats:
    """A square root of a covariance, also where it is flat."""
    values, vectors = np.linalg.eigh(cov)
    return vectors * np.sqrt(np.maximum(values, _LEAST_KM2))
