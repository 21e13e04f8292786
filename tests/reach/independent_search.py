"""A second search for opportunities that shares nothing with the screen but the question.

Motion of the bodies by assist; a distance pass of its own; for each release every minimum of the distance
is stepped over and polished with pykep's Lambert arcs and scipy. Slow, plain, and only for tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicHermiteSpline
from scipy.optimize import minimize_scalar

from swarm.arcs.pykep_core import lambert_branches, propagate_with_transition

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
    limit_km_s: float
    arc_min_s: float
    arc_max_s: float
    revolutions_max: int
    carrier_at_start: np.ndarray  # (6,) two-body carrier


class Carrier:
    """The two-body carrier by pykep, sampled daily."""

    def __init__(self, question: Question) -> None:
        self.question = question
        self.days = np.arange(question.start_s, question.end_s + DAY_S, DAY_S)
        self.states = np.array([self.at(t) for t in self.days])
        self.spline = CubicHermiteSpline(self.days, self.states[:, :3], self.states[:, 3:])

    def at(self, t: float) -> np.ndarray:
        state = self.question.carrier_at_start
        r, v, _ = propagate_with_transition(state[:3], state[3:], t - self.question.start_s, mu_km3_s2=MU_SUN)
        return np.concatenate([r, v])


def smallest_burn(
    carrier_state: np.ndarray, target_km: np.ndarray, tof_s: float, revolutions_max: int
) -> float:
    """Least of all branches, all revolutions, both directions, km/s."""
    best = np.inf
    for clockwise in (False, True):
        try:
            there, _ = lambert_branches(
                carrier_state[:3],
                target_km,
                tof_s,
                mu_km3_s2=MU_SUN,
                clockwise=clockwise,
                revolutions_max=revolutions_max,
            )
        except ValueError:  # collinear
            continue
        best = min(best, float(np.linalg.norm(there - carrier_state[3:], axis=1).min()))
    return best


def least_burns(
    question: Question, carrier: Carrier, epochs_s: np.ndarray, states: np.ndarray
) -> dict[int, float]:
    """Least burn (km/s) by release slot for one body given by (m, 6) states at daily epochs.

    Only slots with a burn under 1.05 times the limit are returned.
    """
    body = CubicHermiteSpline(epochs_s, states[:, :3], states[:, 3:])
    apart = np.linalg.norm(states[:, :3] - carrier.states[: len(epochs_s), :3], axis=1)
    speed = np.linalg.norm(states[:, 3:] - carrier.states[: len(epochs_s), 3:], axis=1)
    found: dict[int, float] = {}
    for slot, burn_s in enumerate(question.burns_s):
        arcs = epochs_s - burn_s
        reach = 2.0 * LARGEST_GROWTH * question.limit_km_s * arcs
        near = (
            (arcs >= question.arc_min_s - DAY_S)
            & (arcs <= question.arc_max_s + DAY_S)
            & (apart - speed * DAY_S <= reach)
        )
        if not near.any():
            continue
        state = carrier.at(float(burn_s))
        for first, last in _runs(near):
            least = _least_in(
                question, body, state, float(burn_s), epochs_s[first], epochs_s[last], speed[first : last + 1]
            )
            if least < found.get(slot, 1.05 * question.limit_km_s):
                found[slot] = least
    return found


def _runs(mask: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(int), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _least_in(question, body, carrier_state, burn_s, first_s, last_s, speed) -> float:
    lo = max(first_s - DAY_S, burn_s + question.arc_min_s, question.start_s)
    hi = min(last_s + DAY_S, burn_s + question.arc_max_s, question.end_s)
    if hi <= lo:
        return np.inf

    def burn(t: float) -> float:
        return smallest_burn(carrier_state, body(t), t - burn_s, question.revolutions_max)

    step = 0.28 * question.limit_km_s * max(lo - burn_s, DAY_S) / speed.max()
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
