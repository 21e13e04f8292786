"""Probes that the mothership hears live, and how many it can hear at one moment.

What enters an atmosphere is heard until it is lost, or not at all: nothing can be sent again later. So intervals in
which such probes are heard need a channel of the receiver each (`mothership.relay_channels`); what others send over
days waits meanwhile. Half open: one that ends as another begins leaves it its channel. Dates as the tables hold them.
"""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from numba import njit
from numpy.typing import NDArray

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_BEGIN, _END = "relay_begin_jd_tdb", "relay_end_jd_tdb"


def live_intervals(opportunities: pa.Table, relayed: Bools) -> Floats:
    """(n, 2) JD TDB between which the mothership hears each live; NaN for what it does not, or need not."""
    out = np.full((opportunities.num_rows, 2), np.nan)
    if _BEGIN in opportunities.column_names:
        for k, name in enumerate((_BEGIN, _END)):
            out[:, k] = opportunities[name].to_numpy(zero_copy_only=False)
        out[~np.asarray(relayed, dtype=bool)] = np.nan
    return out


def live_sets(live: Floats) -> list[Ints]:
    """Maximal sets of two or more intervals that share a moment: each has such a moment at the begin of one.

    A set is maximal where one of it ends before the next begins.
    """
    there = np.flatnonzero(np.isfinite(live[:, 0]))
    begins = np.unique(live[there, 0])
    sets = []
    for at, until in zip(begins, np.append(begins[1:], np.inf), strict=True):
        members = there[(live[there, 0] <= at) & (at < live[there, 1])]
        if len(members) > 1 and (live[members, 1] <= until).any():
            sets.append(members)
    return sets


@njit(cache=True)
def channel_left(o: int, plan: Ints, live: Floats, channels: int) -> bool:
    """Whether no moment at which `o` is heard needs more channels than there are, with those of `plan`."""
    begin, end = live[o, 0], live[o, 1]
    if not begin < end:
        return True
    for i in range(-1, plan.size):
        at = begin
        if i >= 0:
            if plan[i] < 0:
                continue
            at = live[plan[i], 0]
            if not (at >= begin and at < end):
                continue
        count = 1
        for j in range(plan.size):
            if plan[j] >= 0 and live[plan[j], 0] <= at and at < live[plan[j], 1]:
                count += 1
        if count > channels:
            return False
    return True
