"""Which samples fly a correction in sight of the target, so that no chance falls as the delta-v budget grows. Compiled.

An opportunity is aimed for one of two policies, by its chances with delta-v without end: corrections from the ground
only, or with those in sight of the target. The choice does not depend on the budget. With the second policy a sample
that cannot pay for the corrections in sight flies without them, to the same aim point.

A sample that passes by luck better without them would lose by paying. So they are flown up to a spending limit only:
of the limits at which no asked quality has a smaller chance than at any lower one, the greatest within the budget. The
limits follow from the samples alone, whatever the budget; a larger budget allows the same ones and more.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit


@njit(cache=True)
def _gains(in_sight, ground, price):
    """What flying in sight adds to the sum over samples, cumulative in order of price: (n, q), and that order."""
    order = np.argsort(price, kind="mergesort")
    gains = np.zeros(in_sight.shape)
    for j in range(order.size):
        for q in range(in_sight.shape[1]):
            before = gains[j - 1, q] if j > 0 else 0.0
            gains[j, q] = before + in_sight[order[j], q] - ground[order[j], q]
    return gains, order


@njit(cache=True)
def _all_at_least(high, low):
    """Whether no entry of `high` is below that of `low`."""
    return np.all(high >= low)


@njit(cache=True)
def _is_limit(j, order, price):
    """Whether a spending limit can lie after entry j: samples of one price fly alike."""
    return j + 1 == order.size or price[order[j + 1]] > price[order[j]]


@njit(cache=True)
def spending_limit(in_sight, ground, price, budget):
    """Greatest limit within `budget` on what a sample spends with corrections in sight; -1 where none is worth it.

    in_sight, ground : (n, q) chance of each sample to meet each quality, with corrections in sight and without them
    price            : (n,) what a sample has to be able to pay to fly them

    From the most profitable limit (summed over the qualities; of equals the greatest) downwards, each that has nowhere
    more than those kept above it and nowhere less than none has is kept: along the kept limits no chance falls.
    """
    gains, order = _gains(in_sight, ground, price)
    nothing = np.zeros(gains.shape[1])
    last, most = -1, 0.0
    for j in range(order.size):
        total = gains[j].sum()
        if total >= most and _is_limit(j, order, price) and _all_at_least(gains[j], nothing):
            last, most = j, total
    if last < 0:
        return -1.0
    kept = gains[last]
    for j in range(last, -1, -1):
        if not _is_limit(j, order, price):
            continue
        if _all_at_least(kept, gains[j]) and _all_at_least(gains[j], nothing):
            kept = gains[j]
            if price[order[j]] <= budget:
                return price[order[j]]
    return -1.0


@njit(cache=True)
def best_sums(in_sight, ground, price):
    """Sum over samples and qualities with corrections in sight where delta-v has no end, by `spending_limit`."""
    limit = spending_limit(in_sight, ground, price, math.inf)
    total = 0.0
    for i in range(price.size):
        total += in_sight[i].sum() if price[i] <= limit else ground[i].sum()
    return total
