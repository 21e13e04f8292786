"""The life of a low orbit: mean elements step by step until it meets the ground, leaves its range, or the time is over.

With upkeep the eccentricity vector is turned back once a turn of the body, by two burns half an orbit apart [1]:

    dv = v |de|/2

References
----------
[1] Gauss's equations at small eccentricity: a burn dv along the path moves the e-vector by 2 dv/v; the second, half an
    orbit later and the other way, moves it as far again, and a comes back. Any text on station keeping.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from swarm.encounter.orbit.mean_rates import cross, fill_frame, fill_rates, length, look
from swarm.encounter.orbit.surroundings import Surroundings, fill_axes
from targets.base.constants import DAY_S

Floats = NDArray[np.float64]

AGE, IMPACT, LEFT_RANGE = range(3)
ENDS = ("it still flies", "it meets the ground", "it leaves its range of altitudes")

NODES, NODES_ECCENTRIC, _ECCENTRIC = 64, 128, 0.1
# Steps in a turn of the body: an order m of the field has m waves in it. Own choice, tested against finer ones.
_STEPS_A_TURN = 27
_STEP_LONGEST_S = DAY_S
_FINE = 40  # bisections of the date of the end


@dataclass(frozen=True, eq=False)
class MeanOrbit:
    """j = sqrt(1 - e^2) along the angular momentum, e towards periapsis, (3,) ICRF; semi-major axis."""

    a_km: float
    j: Floats
    e: Floats

    @property
    def eccentricity(self) -> float:
        return float(np.linalg.norm(self.e))

    @property
    def periapsis_km(self) -> float:
        """From the centre."""
        return self.a_km * (1.0 - self.eccentricity)

    @property
    def apoapsis_km(self) -> float:
        return self.a_km * (1.0 + self.eccentricity)


@dataclass(frozen=True)
class Upkeep:
    """Heights over the ellipsoid between which the orbit must stay, unless given anywhere; dv for keeping it there."""

    lowest_km: float = -math.inf
    highest_km: float = math.inf
    dv_m_s: float = 0.0


@dataclass(frozen=True, eq=False)
class Life:
    """n steps of one orbit, the first at its begin, the last at its end.

    end      : AGE, IMPACT or LEFT_RANGE
    tdb_s    : (n,)
    lowest_km, highest_km : (n,) least and greatest height of a revolution over the ellipsoid
    lowest_latitude_deg, lowest_longitude_e_deg : (n,) where the least one is
    e_cos, e_sin : (n,) eccentricity vector from the ascending node on the body's equator
    inclination_deg : (n,) to the body's equator
    elements : (n, 6) j, e
    spent_m_s : (n,) on upkeep until then
    """

    end: int
    a_km: float
    tdb_s: Floats
    lowest_km: Floats
    highest_km: Floats
    lowest_latitude_deg: Floats
    lowest_longitude_e_deg: Floats
    e_cos: Floats
    e_sin: Floats
    inclination_deg: Floats
    elements: Floats
    spent_m_s: Floats

    @property
    def days(self) -> float:
        return float(self.tdb_s[-1] - self.tdb_s[0]) / DAY_S


def live(
    orbit: MeanOrbit, begin_tdb_s: float, days: float, around: Surroundings, *, turn_s: float,
    upkeep: Upkeep | None = None,
) -> Life:  # fmt: skip
    """Follow an orbit for so many days, or until it ends. It meets the ground where that and what stands on it is."""
    kept = upkeep or Upkeep()
    step = min(turn_s / _STEPS_A_TURN, _STEP_LONGEST_S)
    nodes = NODES if orbit.eccentricity < _ECCENTRIC else NODES_ECCENTRIC
    rows = int(math.ceil(days * DAY_S / step)) + int(days * DAY_S / turn_s) + 3
    out = np.empty((rows, 9)), np.empty((rows, 6))
    y = np.concatenate([orbit.j, orbit.e])
    bounds = np.array(
        [kept.lowest_km, kept.highest_km, 1e-3 * kept.dv_m_s, turn_s if kept.dv_m_s > 0.0 else math.inf]
    )
    count, end = _live(y, orbit.a_km, begin_tdb_s, days * DAY_S, step, around, nodes, bounds, *out)
    table, elements = out[0][:count], out[1][:count]
    degrees = [np.degrees(table[:, k]) for k in (3, 4, 7)]
    return Life(
        int(end), orbit.a_km, table[:, 0], table[:, 1], table[:, 2], degrees[0], degrees[1] % 360.0, table[:, 5],
        table[:, 6], degrees[2], elements, 1e3 * table[:, 8],
    )  # fmt: skip


@njit(cache=True)
def _step(t, y, a, h, around, nodes, new):
    """Classical Runge-Kutta of order 4."""
    mu = around.field.gm_km3_s2
    k1, k2, k3, k4 = np.empty(6), np.empty(6), np.empty(6), np.empty(6)
    fill_rates(t, y, a, mu, around, nodes, k1)
    fill_rates(t + 0.5 * h, y + 0.5 * h * k1, a, mu, around, nodes, k2)
    fill_rates(t + 0.5 * h, y + 0.5 * h * k2, a, mu, around, nodes, k3)
    fill_rates(t + h, y + h * k3, a, mu, around, nodes, k4)
    for i in range(6):
        new[i] = y[i] + h / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i])
    # j is across e and of length sqrt(1 - e^2): what the steps lose of that is put back
    dot = (new[0] * new[3] + new[1] * new[4] + new[2] * new[5]) / length(new[:3]) ** 2
    for i in range(3):
        new[3 + i] -= dot * new[i]
    scale = math.sqrt(max(1.0 - length(new[3:6]) ** 2, 1e-6)) / length(new[:3])
    for i in range(3):
        new[i] *= scale


@njit(cache=True)
def _node_frame(t, y, around, node, across):
    """Write the directions of the ascending node on the body's equator and across it; return the inclination."""
    axes, pole = np.empty((3, 3)), np.empty(3)
    fill_axes(t, around, axes)
    size = length(y[:3])
    tilt = 0.0
    for i in range(3):
        pole[i] = y[i] / size
        tilt += pole[i] * axes[2, i]
    cross(axes[2], pole, node)
    long = length(node)
    for i in range(3):
        node[i] = node[i] / long if long > 1e-9 else axes[0, i]
    cross(pole, node, across)
    return math.acos(min(max(tilt, -1.0), 1.0))


@njit(cache=True)
def _row(t, y, a, around, nodes, spent, row, work):
    """Write a line of the history; return least and greatest height."""
    heights, sines, longitudes, shares = work
    node, across = np.empty(3), np.empty(3)
    least, greatest, at = look(t, y, a, around, nodes, heights, sines, longitudes, shares)
    row[0], row[1], row[2] = t, least, greatest
    row[3], row[4] = math.asin(min(max(sines[at], -1.0), 1.0)), longitudes[at]
    row[7] = _node_frame(t, y, around, node, across)
    row[5] = row[6] = 0.0
    for i in range(3):
        row[5] += y[3 + i] * node[i]
        row[6] += y[3 + i] * across[i]
    row[8] = spent
    return least, greatest


@njit(cache=True)
def _turn_back(t, y, a, around, asked, left):
    """Turn e back to (cos, sin) from the node as far as what is left allows; return the dv spent, km/s."""
    node, across = np.empty(3), np.empty(3)
    _node_frame(t, y, around, node, across)
    change, total = np.empty(3), 0.0
    for i in range(3):
        change[i] = asked[0] * node[i] + asked[1] * across[i] - y[3 + i]
        total += change[i] * change[i]
    total = math.sqrt(total)
    speed = math.sqrt(around.field.gm_km3_s2 / a)
    needed = 0.5 * speed * total
    share = 1.0 if needed <= left else left / needed
    for i in range(3):
        y[3 + i] += share * change[i]
    scale = math.sqrt(max(1.0 - length(y[3:6]) ** 2, 1e-6)) / length(y[:3])
    for i in range(3):
        y[i] *= scale
    return share * needed


@njit(cache=True)
def _outside(least, greatest, around, bounds):
    if least <= around.ground_km:
        return IMPACT
    return LEFT_RANGE if least < bounds[0] or greatest > bounds[1] else AGE


@njit(cache=True)
def _until_outside(t, y, a, h, around, nodes, bounds, row, work, new):
    """How much of a step it takes to be outside, to a second; `new` is the orbit then."""
    low, high = 0.0, h
    for _ in range(_FINE):
        middle = 0.5 * (low + high)
        _step(t, y, a, middle, around, nodes, new)
        least, greatest = _row(t + middle, new, a, around, nodes, 0.0, row, work)
        if _outside(least, greatest, around, bounds) != AGE:
            high = middle
        else:
            low = middle
        if high - low < 1.0:
            break
    _step(t, y, a, high, around, nodes, new)
    return high


@njit(cache=True)
def _live(y, a, begin, span, step, around, nodes, bounds, table, elements):
    """Fill the history; return how many rows and how it ended. bounds: lowest, highest, dv km/s, time of a turn."""
    work = (np.empty(nodes), np.empty(nodes), np.empty(nodes), np.empty(nodes))
    new, asked = np.empty(6), np.empty(2)
    frame = np.empty((3, 3))
    fill_frame(y, frame)
    least, greatest = _row(begin, y, a, around, nodes, 0.0, table[0], work)
    asked[0], asked[1] = table[0, 5], table[0, 6]
    elements[0] = y
    end = _outside(least, greatest, around, bounds)
    if end != AGE:
        return 1, end
    done, count, spent, due = 0.0, 1, 0.0, bounds[3]
    while done < span - 1e-6 and count < table.shape[0]:
        h = min(step, span - done, max(due - done, 1.0))
        _step(begin + done, y, a, h, around, nodes, new)
        least, greatest = _row(begin + done + h, new, a, around, nodes, spent, table[count], work)
        end = _outside(least, greatest, around, bounds)
        if end != AGE:
            h = _until_outside(begin + done, y, a, h, around, nodes, bounds, table[count], work, new)
            least, greatest = _row(begin + done + h, new, a, around, nodes, spent, table[count], work)
            elements[count] = new
            return count + 1, _outside(least, greatest, around, bounds)
        done += h
        if done >= due - 0.5:
            spent += _turn_back(begin + done, new, a, around, asked, bounds[2] - spent)
            _row(begin + done, new, a, around, nodes, spent, table[count], work)
            due += bounds[3]
        y[:] = new
        elements[count] = y
        count += 1
    return count, AGE
