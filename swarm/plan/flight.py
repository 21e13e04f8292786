"""Where the probes of the opportunities are between burn and encounter: two-body motion beside the mothership.

The screen's model: a probe rides the mothership's unburned path until its burn; from there on its offset from that
path is the difference of two two-body arcs that start at the burn, with and without it. What pulls the mothership
off its own arc pulls the probe alike. Heliocentric ICRF; km, km/s, s past J2000 TDB.
"""

from __future__ import annotations

import itertools
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pyarrow as pa
from numba import njit
from numpy.typing import NDArray

from swarm.plan.data import column
from swarm.reach.mothership.path import legs_of_table
from swarm.run.kinds import at_places
from targets.base.constants import AU_KM, DAY_S, GM_SUN_KM3_S2
from targets.base.timescale import tdb_s_from_jd
from targets.base.vectors import angle_deg
from targets.ephemeris.planets import EARTH, sample_planets
from targets.motion.twobody import drift, drift_states

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Spacing of the nodes of an offset: between them a cubic with the right velocities errs by less than a
# kilometre in a million (the fourth derivative is the square of the Sun's gradient, 1e-27 s^-4 at 1 au).
NODE_S = 8.0 * DAY_S
# Steps along an arc for distances from the Sun and for angles: what is between two of them is settled by
# closed forms, or changes by less than a tenth of a degree.
_STEP_S = 2.0 * DAY_S
# A probe is on the leg whose ends contain its burn, to a second of rounding.
_ROUNDING_S = 1.0


class Offsets(NamedTuple):
    """Offsets from the mothership's path at nodes of one grid common to all opportunities."""

    start_s: float  # epoch of node 0
    first: Ints  # (n,) node at or before the burn
    nodes: NDArray[np.float32]  # (n, k, 6) km, km/s from there on; before the burn the arc is continued
    burn_s: Floats  # (n,)
    encounter_s: Floats  # (n,)
    fastest_km_s: Floats  # (n,) no part of an offset's way is passed faster


NO_OFFSETS = Offsets(
    0.0, np.zeros(0, np.int64), np.zeros((0, 2, 6), np.float32), np.zeros(0), np.zeros(0), np.zeros(0)
)


class Flight:
    """The flights of n opportunities; what is asked of them is computed once, when first asked for.

    opportunities : release_jd_tdb, burn_jd_tdb, encounter_jd_tdb and burn_x/y/z_m_s are read, and of passes what they
                    have beside
    mothership    : nodes of the mothership's path, t_jd_tdb, x_km ... vz_km_s, and leg where there are several
    """

    def __init__(self, opportunities: pa.Table, mothership: pa.Table) -> None:
        self.release_s, self.burn_s, self.encounter_s = (
            tdb_s_from_jd(column(opportunities, f"{event}_jd_tdb"))
            for event in ("release", "burn", "encounter")
        )
        self.burn_km_s = 1e-3 * np.column_stack([column(opportunities, f"burn_{c}_m_s") for c in "xyz"])
        self._legs = legs_of_table(mothership)
        self._at_places(opportunities)

    def _at_places(self, opportunities: pa.Table) -> None:
        """What is known of encounters with planets and moons from their rows: no leg leads into a planet's sphere.

        place : (n,) whether it is one; before, released : the mothership at burn and release where it is
        """
        n = opportunities.num_rows
        self.place = (
            at_places(opportunities) if "kind" in opportunities.column_names else np.zeros(n, dtype=bool)
        )
        self._given = np.full((n, 9), np.nan)
        if self.place.any():
            names = [f"ship_{part}" for part in ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")]
            names += [f"ship_release_{axis}_km" for axis in "xyz"]
            self._given = np.column_stack([column(opportunities, name) for name in names])
            # what a mothership that steers gives a probe is no burn of its own, and puts it on its way
            aimed = [f"aimed_{axis}_m_s" for axis in "xyz"]
            if set(aimed) <= set(opportunities.column_names):
                given = np.column_stack([column(opportunities, name) for name in aimed])
                self.burn_km_s = self.burn_km_s + 1e-3 * np.nan_to_num(given, nan=0.0)

    def take(self, mask: NDArray) -> Flight:
        """The flights of `mask`."""
        taken = object.__new__(Flight)
        taken.release_s, taken.burn_s = self.release_s[mask], self.burn_s[mask]
        taken.encounter_s, taken.burn_km_s = self.encounter_s[mask], self.burn_km_s[mask]
        taken._legs, taken.place, taken._given = self._legs, self.place[mask], self._given[mask]
        for name in ("before", "after", "release_sun_angle_deg"):
            if name in self.__dict__:
                taken.__dict__[name] = self.__dict__[name][mask]
        return taken

    def mothership_at(self, tdb_s: Floats) -> Floats:
        """States of the mothership at epochs on its legs, (n, 6); NaN elsewhere."""
        states = np.full((len(tdb_s), 6), np.nan)
        for leg in self._legs:
            low, high = leg.epochs_tdb_s[0] - _ROUNDING_S, leg.epochs_tdb_s[-1] + _ROUNDING_S
            on_leg = (tdb_s >= low) & (tdb_s <= high)
            states[on_leg] = leg.at(tdb_s[on_leg])
        return states

    @cached_property
    def before(self) -> Floats:
        """(n, 6) the mothership at the burn."""
        return np.where(self.place[:, None], self._given[:, :6], self.mothership_at(self.burn_s))

    @cached_property
    def after(self) -> Floats:
        """(n, 6) the probe after the burn."""
        return self.before + np.column_stack([np.zeros_like(self.burn_km_s), self.burn_km_s])

    @cached_property
    def events_s(self) -> list[tuple[float, float]]:
        """Spans between two legs: a flyby, a manoeuvre."""
        ends = [(leg.epochs_tdb_s[0], leg.epochs_tdb_s[-1]) for leg in self._legs]
        return [(float(a[1]), float(b[0])) for a, b in itertools.pairwise(ends)]

    @cached_property
    def sun_range_au(self) -> tuple[Floats, Floats]:
        """Least and largest distance from the Sun between burn and encounter, (n,) each."""
        low_km, high_km = _sun_ranges(self.after, self.encounter_s - self.burn_s, _STEP_S)
        return low_km / AU_KM, high_km / AU_KM

    @cached_property
    def release_sun_angle_deg(self) -> Floats:
        """Angle between the direction of the burn, in which a probe is released, and the Sun, (n,)."""
        on_legs = self.mothership_at(self.release_s)[:, :3]
        to_sun = -np.where(self.place[:, None], self._given[:, 6:], on_legs)
        return angle_deg(self.burn_km_s, to_sun)

    def downlink_angle_deg(self, days: float) -> Floats:
        """Least Sun-Earth-probe angle from the encounter until `days` after it, (n,)."""
        least = np.full(len(self.burn_s), np.inf)
        if not len(least):
            return least
        planets = sample_planets(float(self.encounter_s.min()), float(self.encounter_s.max() + days * DAY_S))
        for after_s in np.append(np.arange(0.0, days * DAY_S, _STEP_S), days * DAY_S):
            epochs = self.encounter_s + after_s
            earth_km = planets.state(EARTH, epochs)[:, :3]
            probe_km, _ = drift_states(self.after[:, :3], self.after[:, 3:], epochs - self.burn_s)
            least = np.minimum(least, angle_deg(-earth_km, probe_km - earth_km))
        return least

    @cached_property
    def offsets(self) -> Offsets:
        """Offsets of all probes at the nodes of one grid."""
        if not len(self.burn_s):
            return NO_OFFSETS
        start_s = float(self.burn_s.min())
        first = np.floor((self.burn_s - start_s) / NODE_S).astype(np.int64)
        last = np.ceil((self.encounter_s - start_s) / NODE_S).astype(np.int64)
        nodes = np.zeros((len(first), int((last - first).max()) + 1, 6), dtype=np.float32)
        _fill_offsets(self.before, self.after, start_s + NODE_S * first - self.burn_s, NODE_S, nodes)
        return Offsets(start_s, first, nodes, self.burn_s, self.encounter_s, _fastest_km_s(nodes))

    def mothership_distance_km(self, after_days: float) -> Floats:
        """Least distance from the mothership, from so long after the burn until the encounter, (n,)."""
        return _mothership_distances(self.offsets, after_days * DAY_S)


def _fastest_km_s(nodes: NDArray[np.float32]) -> Floats:
    """Bound of the speed along each row of nodes, (n,): that of the cubics between them.

    The velocity of a cubic lies in the hull of its three control points (Bernstein's form): those of both ends and
    3 (p1 - p0) / h - v0 - v1.
    """
    place, velocity = nodes[:, :, :3].astype(np.float64), nodes[:, :, 3:].astype(np.float64)
    middle = 3.0 / NODE_S * np.diff(place, axis=1) - velocity[:, :-1] - velocity[:, 1:]
    speeds = [np.linalg.norm(each, axis=2).max(axis=1) for each in (velocity, middle)]
    return np.asarray(np.maximum(*speeds))


# --- kernels ------------------------------------------------------------------------------------------------


@njit(cache=True)
def _sun_ranges(states: Floats, arc_s: Floats, step_s: float) -> tuple[Floats, Floats]:
    """Least and largest r along each arc; an extreme between two steps is an apsis, known in closed form."""
    low, high = np.empty(arc_s.size), np.empty(arc_s.size)
    for n in range(arc_s.size):
        x, y, z, vx, vy, vz = states[n]
        r = np.sqrt(x * x + y * y + z * z)
        alpha = 2.0 / r - (vx * vx + vy * vy + vz * vz) / GM_SUN_KM3_S2
        hx, hy, hz = y * vz - z * vy, z * vx - x * vz, x * vy - y * vx
        p = (hx * hx + hy * hy + hz * hz) / GM_SUN_KM3_S2
        e = np.sqrt(max(1.0 - alpha * p, 0.0))
        inward = x * vx + y * vy + z * vz < 0.0
        low[n], high[n] = r, r
        steps = max(int(np.ceil(arc_s[n] / step_s)), 1)
        for k in range(1, steps + 1):
            moved = drift(x, y, z, vx, vy, vz, GM_SUN_KM3_S2, arc_s[n] * k / steps)
            r = np.sqrt(moved[0] ** 2 + moved[1] ** 2 + moved[2] ** 2)
            low[n], high[n] = min(low[n], r), max(high[n], r)
            now_inward = moved[0] * moved[3] + moved[1] * moved[4] + moved[2] * moved[5] < 0.0
            if inward and not now_inward:
                low[n] = min(low[n], p / (1.0 + e))
            elif now_inward and not inward and e < 1.0:
                high[n] = max(high[n], p / (1.0 - e))
            inward = now_inward
    return low, high


@njit(cache=True)
def _fill_offsets(before: Floats, after: Floats, first_s: Floats, step_s: float, nodes: NDArray) -> None:
    for n in range(nodes.shape[0]):
        a, b = after[n], before[n]
        for k in range(nodes.shape[1]):
            t = first_s[n] + k * step_s
            p = drift(a[0], a[1], a[2], a[3], a[4], a[5], GM_SUN_KM3_S2, t)
            q = drift(b[0], b[1], b[2], b[3], b[4], b[5], GM_SUN_KM3_S2, t)
            for c in range(6):
                nodes[n, k, c] = p[c] - q[c]


@njit(cache=True)
def _mothership_distances(offsets: Offsets, after_s: float) -> Floats:
    least = np.empty(offsets.first.size)
    for n in range(least.size):
        low, high = offsets.burn_s[n] + after_s, offsets.encounter_s[n]
        least[n] = least_distance_km(n, -1, low, high, offsets, 0.0)
    return least


@njit(cache=True)
def least_distance_km(
    a: int, b: int, low_s: float, high_s: float, offsets: Offsets, enough_km: float
) -> float:
    """Least distance between probes a and b over [low, high]; b < 0 is the mothership. Infinite over an empty span.

    Spans between nodes that stay clear of `enough_km` are not resolved any further.
    """
    least = np.inf
    if not low_s < high_s:
        return least
    start, step = offsets.start_s, NODE_S
    k0 = int(np.floor((low_s - start) / step))
    k1 = int(np.floor((high_s - start) / step))
    for k in range(k0, k1 + 1):
        u0 = max((low_s - start) / step - k, 0.0)
        u1 = min((high_s - start) / step - k, 1.0)
        if u1 > u0:
            least = min(least, _between_nodes(a, b, k, u0, u1, offsets, enough_km))
    return least


@njit(cache=True)
def come_near(a: int, b: int, low_s: float, high_s: float, offsets: Offsets, limit_km: float) -> bool:
    """Whether probes a and b come nearer than a limit over [low, high]: `least_distance_km` below it, found sooner.

    From a node at which they are far apart they cannot meet for a while, whichever way they move: those spans are
    passed over. The others are looked at as there.
    """
    if not low_s < high_s:
        return False
    start, step = offsets.start_s, NODE_S
    span_km = (offsets.fastest_km_s[a] + offsets.fastest_km_s[b]) * step
    k, last = int(np.floor((low_s - start) / step)), int(np.floor((high_s - start) / step))
    while k <= last:
        # less what sums round
        spare_km = _apart_km(a, b, k, offsets) * (1.0 - 1e-9) - limit_km
        if spare_km >= span_km > 0.0:
            k += int(min(spare_km / span_km, last + 1.0))
            continue
        u0 = max((low_s - start) / step - k, 0.0)
        u1 = min((high_s - start) / step - k, 1.0)
        if u1 > u0 and _between_nodes(a, b, k, u0, u1, offsets, limit_km) < limit_km:
            return True
        k += 1
    return False


@njit(cache=True)
def _apart_km(a: int, b: int, k: int, offsets: Offsets) -> float:
    """Distance between probes a and b at node k."""
    i, j = k - offsets.first[a], k - offsets.first[b]
    square = 0.0
    for c in range(3):
        square += (np.float64(offsets.nodes[a, i, c]) - np.float64(offsets.nodes[b, j, c])) ** 2
    return np.sqrt(square)


@njit(cache=True)
def _between_nodes(a: int, b: int, k: int, u0: float, u1: float, offsets: Offsets, enough_km: float) -> float:
    """Least distance between nodes k and k + 1, from share u0 to u1 of the way."""
    i = min(k - offsets.first[a], offsets.nodes.shape[1] - 2)
    d = np.empty((2, 6))
    for side in range(2):
        for c in range(6):
            d[side, c] = offsets.nodes[a, i + side, c]
    if b >= 0:
        j = min(k - offsets.first[b], offsets.nodes.shape[1] - 2)
        for side in range(2):
            for c in range(6):
                d[side, c] -= offsets.nodes[b, j + side, c]
    # the cubic leaves its chord by at most 4/27 of what the end velocities differ from it by
    bulge, square0, square1, chord = 0.0, 0.0, 0.0, 0.0
    for c in range(3):
        straight = d[1, c] - d[0, c]
        bulge += abs(d[0, 3 + c] * NODE_S - straight) + abs(d[1, 3 + c] * NODE_S - straight)
        square0 += d[0, c] ** 2
        square1 += d[1, c] ** 2
        chord += straight * straight
    bulge *= 4.0 / 27.0
    # distance of the origin from the chord's line segment
    dot = 0.0
    for c in range(3):
        dot -= d[0, c] * (d[1, c] - d[0, c])
    w = min(max(dot / chord, 0.0), 1.0) if chord > 0.0 else 0.0
    square = 0.0
    for c in range(3):
        square += (d[0, c] + w * (d[1, c] - d[0, c])) ** 2
    clear = np.sqrt(square) - bulge
    if clear > enough_km and enough_km > 0.0:
        return clear
    return _sampled(d, u0, u1)


@njit(cache=True)
def _sampled(d: Floats, u0: float, u1: float) -> float:
    """Least length of the cubic between shares u0 and u1, in chords of 1/64 of the span."""
    least = np.inf
    px = py = pz = 0.0
    for s in range(65):
        u = u0 + (u1 - u0) * s / 64.0
        w = 1.0 - u
        h00, h01 = (1.0 + 2.0 * u) * w * w, (1.0 + 2.0 * w) * u * u
        h10, h11 = u * w * w * NODE_S, -w * u * u * NODE_S
        x = h00 * d[0, 0] + h01 * d[1, 0] + h10 * d[0, 3] + h11 * d[1, 3]
        y = h00 * d[0, 1] + h01 * d[1, 1] + h10 * d[0, 4] + h11 * d[1, 4]
        z = h00 * d[0, 2] + h01 * d[1, 2] + h10 * d[0, 5] + h11 * d[1, 5]
        if s > 0:
            ex, ey, ez = x - px, y - py, z - pz
            chord = ex * ex + ey * ey + ez * ez
            t = -(px * ex + py * ey + pz * ez) / chord if chord > 0.0 else 0.0
            t = min(max(t, 0.0), 1.0)
            least = min(least, (px + t * ex) ** 2 + (py + t * ey) ** 2 + (pz + t * ez) ** 2)
        px, py, pz = x, y, z
    return np.sqrt(least)
