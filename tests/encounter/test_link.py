"""Link budgets against values worked out independently; bit rates as printed, within their rounding."""

from __future__ import annotations

import tomllib
from typing import Any

import numpy as np
import pytest

from swarm.encounter.link import ground_link, path_loss_db, rate_bit_s, relay_link
from swarm.study.schema import study_from
from targets.base.constants import AU_KM
from tests.helpers.places import FIREWEED


def probe(**keys: Any):
    data = tomllib.loads(FIREWEED.read_text(encoding="utf-8"))
    data["probe"].update(keys)
    return study_from(data).probe


def test_free_space_loss() -> None:
    """1 au at 8.42 GHz: 274.45 dB."""
    assert float(path_loss_db(AU_KM, frequency_ghz=8.42)) == pytest.approx(274.45, abs=0.005)


# bit/s from a 4 W X-band transmitter, with 0.8 dB Eb/N0, 3 dB margin, 2 dB lines and pointing, 1 dB implementation:
# range au, antenna dBi -> (34 m, 70 m).
TABLE = [
    (0.3, 6.0, 241.0, 1209.0), (0.3, 23.0, 12.1e3, 60.6e3), (0.3, 29.0, 48e3, 241e3),
    (1.0, 6.0, 22.0, 109.0), (1.0, 23.0, 1.1e3, 5.5e3), (1.0, 29.0, 4.3e3, 21.7e3),
    (2.5, 6.0, 3.0, 17.0), (2.5, 23.0, 174.0, 873.0), (2.5, 29.0, 693.0, 3.5e3),
    (3.5, 6.0, 2.0, 9.0), (3.5, 23.0, 89.0, 445.0), (3.5, 29.0, 354.0, 1.8e3),
]  # fmt: skip


def rounding_db(printed: float) -> float:
    """How far a rate may lie from its printed value: half of the last digit, in dB."""
    step = 100.0 if printed >= 1000.0 and printed % 1000.0 and printed < 100e3 else 1.0
    if printed >= 40e3 and printed % 1000.0 == 0.0:
        step = 1000.0
    return float(10.0 * np.log10((printed + 0.5 * step) / printed)) + 0.01


@pytest.mark.parametrize(("au", "gain_dbi", "small", "large"), TABLE)
def test_rates_to_ground(au: float, gain_dbi: float, small: float, large: float) -> None:
    """Within 0.2 dB, or the rounding of the printed digits where that is coarser."""
    for figure, printed in ((54.0, small), (61.0, large)):
        link = ground_link(probe(transmit_gain_dbi=gain_dbi, ground_gt_db_k=figure))
        off_db = 10.0 * np.log10(float(rate_bit_s(au * AU_KM, link)) / printed)
        # rates under ten bits a second are printed with one digit
        assert abs(off_db) < max(0.2, rounding_db(printed))


@pytest.mark.parametrize(("km", "bit_s"), [(1e3, 113e3), (1e4, 1.1e3), (1e5, 11.0), (1e6, 0.11)])
def test_cross_link(km: float, bit_s: float) -> None:
    """S band, 2 W, 6 + 6 dBi, 500 K."""
    assert float(rate_bit_s(km, relay_link(probe()))) == pytest.approx(bit_s, rel=0.03)


@pytest.mark.parametrize(("km", "bit_s"), [(1e5, 195e3), (1e6, 1.9e3), (1e7, 19.0)])
def test_cross_link_at_x_band(km: float, bit_s: float) -> None:
    """2 W, 23 + 40 dBi; the noise temperature is not printed with these rates: 250 K reproduces all three."""
    keys = {
        "relay_frequency_ghz": 8.42,
        "relay_probe_gain_dbi": 23.0,
        "relay_gain_dbi": 40.0,
        "relay_noise_k": 250.0,
    }
    assert float(rate_bit_s(km, relay_link(probe(**keys)))) == pytest.approx(bit_s, rel=0.03)


def test_flown_relay_cubesats() -> None:
    """8 kbit/s were flown from about 1.06 au to 70 m with 29 dBi (both from memory): within a factor 4, above."""
    rate = float(rate_bit_s(1.06 * AU_KM, ground_link(probe(transmit_gain_dbi=29.0, ground_gt_db_k=61.0))))
    assert 8e3 < rate < 4 * 8e3


def test_rate_falls_with_the_square_of_the_range_below_the_radio_s_limit() -> None:
    link = ground_link(probe())
    one, two = rate_bit_s(np.array([1.0, 2.0]) * AU_KM, link)
    assert one / two == pytest.approx(4.0, rel=1e-12)
    assert float(rate_bit_s(1e4, link)) == probe().rate_max_bit_s


@pytest.mark.parametrize(
    ("change", "factor"),
    [
        ({"transmit_w": 8.0}, 2.0),
        ({"link_margin_db": 6.0}, 10**-0.3),
        ({"line_loss_db": 3.0}, 10**-0.1),
        ({"eb_n0_db": 1.8}, 10**-0.1),
        ({"frequency_ghz": 16.84}, 0.25),
        ({"ground_gt_db_k": 44.0}, 0.1),
    ],
)
def test_every_term_of_the_budget_counts(change: dict[str, float], factor: float) -> None:
    changed, plain = (float(rate_bit_s(AU_KM, ground_link(probe(**keys)))) for keys in (change, {}))
    assert changed / plain == pytest.approx(factor, rel=1e-9)
