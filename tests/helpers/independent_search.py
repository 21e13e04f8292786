"""A second search for opportunities that shares nothing with the screen but the question.

Motion of the bodies by assist; a distance pass of its own; for each release every minimum of the distance
is stepped over and polished with pykep's Lambert arcs and scipy. Slow, plain, and only for tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import minimize_scalar

from swarm.reach.arcs.pykep_core import lambert_branches, propagate_with_transition

AU_KM = 149_597_870.7
DAY_S = 86_400.0
MU_SUN = 132_712_440_041.279419
# The largest singular value of the transition block per time is 3 for a circular orbit (an along-track burn half a
# turn earlier); the distance pass looks twice as far.
LARGEST_GROWTH = 3.0


@dataclass(frozen=True)
class Question:
    """What is asked, in km, km/s, s past J2000 TDB."""

    start_s: float
    end_s: float
    burns_s: np.ndarray
    checkout_s: float  # a release lies this long before its burn, on the same stretch of the mothership
    limit_km_s: float
    arc_min_s: float
    arc_max_s: float
    revolutions_max: int


def kepler(state: np.ndarray, dt_s: float) -> np.ndarray:
    """Two-body motion by pykep."""
    r, v, _ = propagate_with_transition(state[:3], state[3:], dt_s, mu_km3_s2=MU_SUN)
    return np.concatenate([r, v])


class TwoBodyLeg:
    """A two-body stretch of a mothership."""

    def __init__(self, first_s: float, last_s: float, state: np.ndarray, state_s: float) -> None:
        self.first_s, self.last_s, self._state, self._state_s = first_s, last_s, state, state_s

    def at(self, t: float) -> np.ndarray:
        return kepler(self._state, t - self._state_s)


class SampledLeg:
    """A stretch of a mothership given by daily states of a full-force motion."""

    def __init__(self, epochs_s: np.ndarray, states: np.ndarray) -> None:
        self.first_s, self.last_s = float(epochs_s[0]), float(epochs_s[-1])
        self._r = CubicHermiteSpline(epochs_s, states[:, :3], states[:, 3:])
        self._v = self._r.derivative()

    def at(self, t: float) -> np.ndarray:
        return np.concatenate([self._r(t), self._v(t)])


def smallest_burn(
    mothership_state: np.ndarray, target_km: np.ndarray, tof_s: float, revolutions_max: int
) -> float:
    """Least of all branches, all revolutions, both directions, km/s."""
    best = np.inf
    for clockwise in (False, True):
        there, _ = lambert_branches(
            mothership_state[:3],
            target_km,
            tof_s,
            mu_km3_s2=MU_SUN,
            clockwise=clockwise,
            revolutions_max=revolutions_max,
        )
        best = min(best, float(np.linalg.norm(there - mothership_state[3:], axis=1).min()))
    return best


def least_burns(question: Question, legs, epochs_s: np.ndarray, states: np.ndarray) -> dict[int, float]:
    """Least burn (km/s) by release slot for one body given by (m, 6) states at daily epochs.

    Only slots with a burn under 1.05 times the limit are returned.
    """
    body = CubicHermiteSpline(epochs_s, states[:, :3], states[:, 3:])
    found: dict[int, float] = {}
    for leg in legs:
        on_leg = (epochs_s >= leg.first_s - DAY_S) & (epochs_s <= leg.last_s + DAY_S)
        days = epochs_s[on_leg]
        ship = np.array([leg.at(min(max(t, leg.first_s), leg.last_s)) for t in days])
        apart = np.linalg.norm(states[on_leg, :3] - ship[:, :3], axis=1)
        speed = np.linalg.norm(states[on_leg, 3:] - ship[:, 3:], axis=1)
        for slot, burn_s in enumerate(question.burns_s):
            if not leg.first_s <= burn_s - question.checkout_s <= burn_s <= leg.last_s:
                continue
            arcs = days - burn_s
            reach = 2.0 * LARGEST_GROWTH * question.limit_km_s * arcs
            near = (arcs >= question.arc_min_s - DAY_S) & (arcs <= question.arc_max_s + DAY_S)
            near &= apart - speed * DAY_S <= reach
            for first, last in _runs(near):
                least = _least_in(
                    question,
                    body,
                    leg,
                    float(burn_s),
                    (days[first], days[last]),
                    speed[first : last + 1].max(),
                )
                if least < found.get(slot, 1.05 * question.limit_km_s):
                    found[slot] = least
    return found


def _runs(mask: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(int), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _least_in(question, body, leg, burn_s: float, between_s, speed: float) -> float:
    lo = max(between_s[0] - DAY_S, burn_s + question.arc_min_s, question.start_s)
    hi = min(between_s[1] + DAY_S, burn_s + question.arc_max_s, question.end_s, leg.last_s)
    if hi <= lo:
        return np.inf
    state = leg.at(burn_s)

    def burn(t: float) -> float:
        # planets pull both alike: aim off by what they did to the mothership (nothing on a two-body leg)
        pulled = leg.at(t)[:3] - kepler(state, t - burn_s)[:3]
        return smallest_burn(state, body(t) - pulled, t - burn_s, question.revolutions_max)

    step = 0.28 * question.limit_km_s * max(lo - burn_s, DAY_S) / speed
    grid = np.linspace(lo, hi, max(4, int(np.ceil((hi - lo) / step)) + 1))
    values = np.array([burn(t) for t in grid])
    best = np.inf
    for k in range(len(grid)):
        left, right = max(k - 1, 0), min(k + 1, len(grid) - 1)
        # a minimum between samples undercuts them by less than a few times the limit (steps of 0.28 of it, and
        # three or four times steeper where the transition matrix is thin)
        if values[k] <= min(values[left], values[right]) and values[k] < 4.0 * question.limit_km_s:
            polished = minimize_scalar(
                burn, bounds=(grid[left], grid[right]), method="bounded", options={"xatol": 20.0}
            )
            best = min(best, values[k], float(polished.fun))
    return best
