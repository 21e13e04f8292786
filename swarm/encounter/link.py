"""Link budgets, probe to ground and probe to mothership.

C/N0 [dBHz] = P_t + G_t - L - FSPL + G/T + 228.6;  rate = 10^((C/N0 - Eb/N0 - margin - implementation) / 10).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from targets.base.constants import SPEED_OF_LIGHT_KM_S

if TYPE_CHECKING:
    from swarm.study.schema import ProbeSettings

Floats = NDArray[np.float64]

# -10 log10 of Boltzmann's constant, 1.380649e-23 J/K (exact since 2019).
BOLTZMANN_DB = -10.0 * math.log10(1.380649e-23)


class Link(NamedTuple):
    """A link with everything but the distance summed up."""

    decibels: float  # bit/s at 1 km, in dB
    rate_max_bit_s: float


def path_loss_db(range_km: ArrayLike, *, frequency_ghz: float) -> Floats:
    """Return the free-space loss, 20 log10(4 pi d / lambda)."""
    wavelength_km = SPEED_OF_LIGHT_KM_S / (1e9 * frequency_ghz)
    return 20.0 * np.log10(4.0 * np.pi * np.asarray(range_km, float) / wavelength_km)


def link_of(
    *,
    transmit_w: float,
    gains_dbi: float,
    figure_db_k: float,
    frequency_ghz: float,
    losses_db: float,
    rate_max_bit_s: float,
) -> Link:
    """Sum a budget up: `gains_dbi` of the transmitter, G/T of the receiver, every loss and margin."""
    one_km_db = float(path_loss_db(1.0, frequency_ghz=frequency_ghz))
    budget_db = 10.0 * math.log10(transmit_w) + gains_dbi + figure_db_k + BOLTZMANN_DB - losses_db - one_km_db
    return Link(budget_db, rate_max_bit_s)


def ground_link(probe: ProbeSettings) -> Link:
    """Return the link to a station on Earth."""
    return link_of(
        transmit_w=probe.transmit_w,
        gains_dbi=probe.transmit_gain_dbi,
        figure_db_k=probe.ground_gt_db_k,
        frequency_ghz=probe.frequency_ghz,
        losses_db=_losses_db(probe),
        rate_max_bit_s=probe.rate_max_bit_s,
    )


def relay_link(probe: ProbeSettings) -> Link:
    """Return the link to the mothership: gain of its antenna less the noise temperature of its receiver."""
    return link_of(
        transmit_w=probe.relay_transmit_w,
        gains_dbi=probe.relay_probe_gain_dbi,
        figure_db_k=probe.relay_gain_dbi - 10.0 * math.log10(probe.relay_noise_k),
        frequency_ghz=probe.relay_frequency_ghz,
        losses_db=_losses_db(probe),
        rate_max_bit_s=probe.rate_max_bit_s,
    )


def _losses_db(probe: ProbeSettings) -> float:
    return probe.line_loss_db + probe.eb_n0_db + probe.implementation_db + probe.link_margin_db


@njit(cache=True)
def rate_at(range_km, link):
    """Bit/s over a distance; never more than the radio can do."""
    return min(10.0 ** (0.1 * link.decibels) / (range_km * range_km), link.rate_max_bit_s)


def rate_bit_s(range_km: ArrayLike, link: Link) -> Floats:
    """Return the rate over each distance, bit/s."""
    free = 10.0 ** (0.1 * link.decibels) / np.asarray(range_km, float) ** 2
    return np.minimum(free, link.rate_max_bit_s)
