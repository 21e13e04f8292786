"""What a probe sends before it is lost: to the mothership over the local horizon, or to a station on Earth.

Elevation and range follow from both places; the rate is the link's, less what the air above the probe takes; nothing
is sent while the shell is in blackout. The bits are the integral of the rate until the probe is lost.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swarm.encounter.entry.air_motion import DECEL, PRESSURE, TIME, X
from swarm.encounter.link import Link

Floats = NDArray[np.float64]

# After the last moment in blackout until the receiver has the carrier again: own choice.
REGAIN_S = 60.0
STEP_S = 5.0


@dataclass(frozen=True)
class RelayRules:
    """What decides whether and how fast a probe is heard.

    elevation_min_deg : over the local horizon
    zenith_db         : what the air takes straight up at `zenith_pa`; goes with pressure, and with 1/sin(elevation)
    blackout_g        : deceleration over which nothing comes through
    """

    elevation_min_deg: float
    zenith_db: float
    zenith_pa: float
    blackout_g: float


@dataclass(frozen=True, eq=False)
class Heard:
    """A way down as a receiver has it; (m,) rows, seconds after the interface; `rate` is 0 where nothing is heard.

    begin_s, end_s : first and last moment that is heard; NaN where none is
    """

    time_s: Floats
    elevation_deg: Floats
    range_km: Floats
    rate_bit_s: Floats
    mbit: float
    begin_s: float
    end_s: float

    @property
    def minutes(self) -> float:
        """How long it is heard, gaps left out."""
        return float(np.trapezoid((self.rate_bit_s > 0.0).astype(float), self.time_s)) / 60.0


def on_even_times(profile: Floats, until_s: float, step_s: float = STEP_S) -> Floats:
    """A profile at even steps from the interface to a moment: its own rows are minutes apart in the fall."""
    times = np.append(np.arange(0.0, until_s, step_s), until_s)
    even = np.column_stack([np.interp(times, profile[:, TIME], column) for column in profile.T])
    even[:, TIME] = times
    return even


def heard(way: Floats, ups: Floats, receiver_km: Floats, *, link: Link, rules: RelayRules) -> Heard:
    """Follow a link down.

    Parameters
    ----------
    way         : (m, COLUMNS) profile at even times, until the probe is lost
    ups         : (m, 3) upward directions there, same axes as the profile's places
    receiver_km : (m, 3) where the receiver is, from the body's centre, same axes
    """
    time, place = way[:, TIME], way[:, X : X + 3]
    towards = receiver_km - place
    away = np.linalg.norm(towards, axis=1)
    sine = np.clip(np.einsum("ij,ij->i", towards, ups) / away, -1.0, 1.0)
    elevation = np.degrees(np.arcsin(sine))
    seen = elevation >= rules.elevation_min_deg
    lost_db = rules.zenith_db * way[:, PRESSURE] / rules.zenith_pa / np.maximum(sine, 1e-3)
    rate = 10.0 ** (0.1 * (link.decibels - lost_db)) / away**2
    rate = np.where(seen & ~_in_blackout(way, rules.blackout_g), np.minimum(rate, link.rate_max_bit_s), 0.0)
    rows = np.flatnonzero(rate > 0.0)
    begin, end = (float(time[rows[0]]), float(time[rows[-1]])) if len(rows) else (np.nan, np.nan)
    return Heard(time, elevation, away, rate, 1e-6 * float(np.trapezoid(rate, time)), begin, end)


def _in_blackout(way: Floats, limit_g: float) -> NDArray[np.bool_]:
    """From the first moment over the limit to the last one, and until the receiver has it again."""
    over = np.flatnonzero(way[:, DECEL] > limit_g)
    if not len(over):
        return np.zeros(len(way), dtype=bool)
    time = way[:, TIME]
    return (time >= time[over[0]]) & (time <= time[over[-1]] + REGAIN_S)


def overlaps(begin_s: Floats, end_s: Floats, channels: int) -> list[tuple[int, ...]]:
    """Sets of probes that need more than the receiver's channels at one moment; greatest sets only.

    begin_s, end_s : (n,) epochs between which each is to be heard; NaN where it is not

    Intervals that share a moment all contain the latest of their begins: each such moment is looked at once.
    """
    found: list[tuple[int, ...]] = []
    for begin in np.unique(begin_s[np.isfinite(begin_s)]):
        there = tuple(int(k) for k in np.flatnonzero((begin_s <= begin) & (begin < end_s)))
        if len(there) > channels:
            found.append(there)
    return [each for each in found if not any(set(each) < set(other) for other in found)]
