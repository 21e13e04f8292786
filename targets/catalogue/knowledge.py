"""How well it is known where a body is: from the covariance or the sigmas of its elements, else from U.

References
----------
[1] Minor Planet Center, "Uncertainty parameter U": runoff in longitude, arcsec per decade,
    RUNOFF = (dT e + 10/P dP) k0/P 3600 * 3, U = INT(ln(RUNOFF) / C0) + 1, C0 = ln(648000) / 9.
    The factor 3 is the Center's allowance for formal errors that are too small; it is kept here.
    Its page warns that U must not be used to predict the sky uncertainty of near-Earth bodies.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from targets.base.constants import AU_KM, GM_SUN_KM3_S2, JULIAN_YEAR_S
from targets.base.frames import ICRF_FROM_ECLIPTIC
from targets.base.timescale import tdb_s_from_jd
from targets.catalogue.bodies import Catalogue
from targets.catalogue.partials import position_partials
from targets.motion.twobody import states_from_elements

Floats = NDArray[np.float64]

# Largest runoff of U = 0..9, arcsec per decade, as printed in [1]; U = 9 has no bound but half a turn.
RUNOFF_ARCSEC_PER_DECADE = (1.0, 4.4, 19.6, 86.5, 382.0, 1692.0, 7488.0, 33121.0, 146502.0, 648000.0)
_C0 = math.log(648000.0) / 9.0

# Perihelion below which a body counts as near-Earth (usual definition).
NEAR_EARTH_Q_AU = 1.3

FROM_U, FROM_SIGMAS, FROM_COVARIANCE = 0, 1, 2
SOURCES = ("uncertainty parameter U", "sigmas of the elements", "covariance of the elements")

NEAR_EARTH_WARNING = (
    "their place is taken from the uncertainty parameter U, and the Minor Planet Center warns that U must not be "
    "used to predict the sky uncertainty of near-Earth bodies: take their delivery figures as an order of magnitude"
)


def u_of_runoff(runoff_arcsec_decade: ArrayLike) -> NDArray[np.int8]:
    """Return U, 0..9, of a runoff in arcsec per decade, by the definition of [1]."""
    runoff = np.maximum(np.asarray(runoff_arcsec_decade, dtype=float), 1e-300)
    # INT cuts towards zero; below one arcsec the class is 0
    u = np.where(runoff < 1.0, 0.0, np.trunc(np.log(runoff) / _C0) + 1.0)
    return np.clip(u, 0, 9).astype(np.int8)


def along_sigma_km(u_code: ArrayLike, years: ArrayLike, a_au: ArrayLike) -> Floats:
    """Return the sigma along the orbit, km, `years` after the epoch: the upper runoff of the class times a."""
    runoff_rad = np.radians(np.asarray(RUNOFF_ARCSEC_PER_DECADE)[np.asarray(u_code, dtype=int)] / 3600.0)
    return runoff_rad * np.abs(np.asarray(years, float)) / 10.0 * np.asarray(a_au, float) * AU_KM


def states_at(catalogue: Catalogue, tdb_s: ArrayLike) -> tuple[Floats, Floats]:
    """Return two-body states (n, 3) km and km/s, heliocentric ICRF, of the n bodies, each at its own `tdb_s`."""
    a_km = catalogue.a_au * AU_KM
    moved_rad = np.sqrt(GM_SUN_KM3_S2 / a_km**3) * (np.asarray(tdb_s) - tdb_s_from_jd(catalogue.epoch_jd_tdb))
    i, node, argp, mean = (
        np.radians(angle)
        for angle in (catalogue.i_deg, catalogue.node_deg, catalogue.argp_deg, catalogue.mean_anomaly_deg)
    )
    r_km, v_km_s = states_from_elements(
        a_km, catalogue.e, i, node, argp, mean + moved_rad, mu_km3_s2=GM_SUN_KM3_S2
    )
    return r_km @ ICRF_FROM_ECLIPTIC.T, v_km_s @ ICRF_FROM_ECLIPTIC.T


def position_covariance_km2(
    catalogue: Catalogue,
    tdb_s: ArrayLike,
    *,
    velocity_km_s: Floats,
    floor_km: float,
    runoff_fraction: float,
) -> tuple[Floats, NDArray[np.int8]]:
    """Return where n bodies may be, each at its own epoch.

    Parameters
    ----------
    catalogue       : n bodies (repeat a body for several epochs)
    tdb_s           : (n,)
    velocity_km_s   : (n, 3) of the bodies then, ICRF: that of the body moved by the planets, where it is at hand
    floor_km        : sigma added on every axis: across the orbit U says nothing, and no orbit is free of error
    runoff_fraction : share of the printed runoff taken as one sigma

    Returns
    -------
    covariance : (n, 3, 3) km^2, ICRF
    source     : (n,) int8, index of SOURCES

    A covariance is moved to the epoch by the partial derivatives of the position along the path that the planets make
    the body take (`targets.catalogue.partials`). Sigmas without their correlations are taken as independent, which
    overstates them. What U says lies along the velocity.
    """
    times = np.asarray(tdb_s, dtype=float)
    source = _source(catalogue)
    covariance = _from_u(catalogue, times, velocity_km_s, runoff_fraction)
    known = source != FROM_U
    if known.any():
        covariance[known] = _from_elements(catalogue.take(known), times[known])
    covariance += floor_km**2 * np.eye(3)
    return covariance, source


def _source(catalogue: Catalogue) -> NDArray[np.int8]:
    source = np.full(len(catalogue), FROM_U, dtype=np.int8)
    if catalogue.element_sigma is not None:
        source[np.isfinite(catalogue.element_sigma).all(axis=1)] = FROM_SIGMAS
    if catalogue.element_covariance is not None:
        source[np.isfinite(catalogue.element_covariance).all(axis=(1, 2))] = FROM_COVARIANCE
    return source


def _from_u(catalogue: Catalogue, tdb_s: Floats, v_km_s: Floats, fraction: float) -> Floats:
    """Along the velocity: the runoff is an angle of mean motion, so the distance goes with v / (n a)."""
    speed = np.linalg.norm(v_km_s, axis=1)
    circular = np.sqrt(GM_SUN_KM3_S2 / (catalogue.a_au * AU_KM))
    years = (tdb_s - tdb_s_from_jd(catalogue.epoch_jd_tdb)) / JULIAN_YEAR_S
    sigma = fraction * along_sigma_km(catalogue.u_code, years, catalogue.a_au) * speed / circular
    along = v_km_s / speed[:, None] * sigma[:, None]
    return along[:, :, None] * along[:, None, :]


def _from_elements(catalogue: Catalogue, tdb_s: Floats) -> Floats:
    covariance = np.zeros((len(catalogue), 6, 6))
    if catalogue.element_sigma is not None:
        covariance[:, range(6), range(6)] = np.nan_to_num(catalogue.element_sigma) ** 2
    if catalogue.element_covariance is not None:
        full = np.isfinite(catalogue.element_covariance).all(axis=(1, 2))
        covariance[full] = catalogue.element_covariance[full]
    partials = position_partials(catalogue, tdb_s)
    return partials @ covariance @ partials.transpose(0, 2, 1)


def near_earth_from_u(catalogue: Catalogue) -> NDArray[np.bool_]:
    """Return the near-Earth bodies whose uncertainty rests on U alone: [1] warns about them."""
    near = catalogue.a_au * (1.0 - catalogue.e) < NEAR_EARTH_Q_AU
    return near & (_source(catalogue) == FROM_U)


def near_earth_warning(catalogue: Catalogue) -> str:
    """Return the Center's warning with the number of bodies it concerns; '' where there is none."""
    count = int(near_earth_from_u(catalogue).sum())
    return f"{count} near-Earth bodies: {NEAR_EARTH_WARNING}" if count else ""


def knowledge_notes(catalogue: Catalogue) -> tuple[str, ...]:
    """Return sentences on what the uncertainties of these bodies rest on, the Center's warning among them."""
    source = _source(catalogue)
    told = [f"{int((source == k).sum())} by {name}" for k, name in enumerate(SOURCES) if (source == k).any()]
    notes = [f"Where the targets may be is known for {', '.join(told)}."] if told else []
    warning = near_earth_warning(catalogue)
    return (*notes, f"{warning}.") if warning else tuple(notes)
