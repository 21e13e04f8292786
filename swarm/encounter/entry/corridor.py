"""The corridor of a shell at a passage: between the angle that skips out or bakes and the one that breaks or burns.

Edges are found by bisection on the flown trajectory for clock angles all round, with the air as it is and off by its
spread, and interpolated (a periodic cubic): latitude, heading and the turning of the air are in them. The chance of a
row to be inside is that of a ring of the B-plane (`ring_chance`), averaged over the spread of the air.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from swarm.encounter.entry.air_motion import COLUMNS, Course
from swarm.encounter.entry.arrival import Asymptote, fill_arrival
from swarm.encounter.entry.descent import SKIPPED, descend
from swarm.encounter.entry.shell import Shell, ShellLimits
from swarm.encounter.entry.world import Globe
from swarm.reach.approach.entry_goals import Interface, entry_aim_km
from swarm.reach.approach.ring_chance import ring_chance
from targets.atmospheres.air import Air

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# What an edge is: reason codes, sentences for a reader in REASONS.
SKIP, DECEL, FLUX, HEAT, FREE = range(5)
EDGE_REASONS = (
    "it skips out of the atmosphere",
    "deceleration over entry.decel_limit_g",
    "heat flux over entry.heat_flux_limit_w_cm2",
    "heat load over entry.heat_load_limit_j_cm2",
    "nothing limits it",
)
EDGE_NAMES = ("skip", "g", "flux", "load", "none")

CLOCK_STEP_DEG = 30.0
# Standard deviations of the air at which edges are found: between and beyond, the parabola through the three.
SPREADS = (-math.sqrt(3.0), 0.0, math.sqrt(3.0))
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_HALVINGS = 16
_SHALLOWEST, _STEEPEST = math.radians(0.5), 0.5 * math.pi
# Loads are over when the probe is so slow.
_LOADS_OVER_MACH = 2.0
_NEVER_PA = 1e12


@dataclass(frozen=True, eq=False)
class Corridor:
    """Edges by spread of the air (3,) and clock angle (m,), deg, inertial; what each is, as a code.

    An edge that is steeper than the other leaves nothing between; NaN where every angle skips out.
    """

    clock_deg: Floats
    shallow_deg: Floats
    steep_deg: Floats
    shallow_reason: Ints
    steep_reason: Ints

    def edges_deg(self, clock_deg: float, spread: float = 0.0) -> tuple[float, float]:
        """Shallow and steep edge at a clock angle, the air off by so many standard deviations."""
        shallow, steep = self.edges_of_spreads_deg(clock_deg, np.array([spread]))
        return float(shallow[0]), float(steep[0])

    def edges_of_spreads_deg(self, clock_deg: float, spreads: Floats) -> tuple[Floats, Floats]:
        """The same for several spreads of the air at once, (k,) each."""
        return edges_between_deg(self.edges_at(clock_deg), spreads)

    def edges_at(self, clock_deg: float) -> Floats:
        """(2, 3) shallow and steep edge at a clock angle, by SPREADS of the air."""
        edges: Floats = self._all_round(clock_deg % 360.0)
        return edges

    @cached_property
    def _all_round(self) -> CubicSpline:
        """Clock angle -> (2, 3) edges."""
        both = np.moveaxis(np.stack([self.shallow_deg, self.steep_deg]), -1, 0)
        closed = np.concatenate([both, both[:1]])
        return CubicSpline(np.append(self.clock_deg, 360.0), closed, bc_type="periodic")

    def reasons(self, clock_deg: float) -> tuple[int, int]:
        """Codes of both edges with the air as it is, at the nearest clock angle that was flown."""
        away = np.abs((self.clock_deg - clock_deg + 180.0) % 360.0 - 180.0)
        k = int(np.argmin(away))
        return int(self.shallow_reason[1, k]), int(self.steep_reason[1, k])


def edges_between_deg(edges_deg: Floats, spreads: Floats) -> tuple[Floats, Floats]:
    """Shallow and steep edge, (k,) each, where (2, 3) are known by SPREADS of the air."""
    shallow, steep = (_parabola(three, spreads) for three in edges_deg)
    return np.clip(shallow, 0.0, 90.0), np.clip(steep, 0.0, 90.0)


def _parabola(three: Floats, spread: Floats) -> Floats:
    low, middle, high = three
    step = SPREADS[2]
    slope, bend = (high - low) / (2.0 * step), (high - 2.0 * middle + low) / step**2
    return middle + spread * (slope + 0.5 * spread * bend)


@njit(cache=True)
def _loads_at(angle, clock, asymptote, interface, turn, world, air, shell, course):
    """Loads of an angle; `turn` (3, 3) from the interface's axes into the body's."""
    given, state = np.empty(6), np.empty(6)
    fill_arrival(asymptote, clock, angle, interface, given)
    for i in range(3):
        state[i] = turn[i, 0] * given[0] + turn[i, 1] * given[1] + turn[i, 2] * given[2]
        state[3 + i] = turn[i, 0] * given[3] + turn[i, 1] * given[4] + turn[i, 2] * given[5]
    return descend(state, world, air, shell, course, np.empty((0, COLUMNS)))


@njit(cache=True)
def _over(loads, limits):
    """Which of deceleration and flux is over its limit; FREE where none is."""
    if loads.peak_g > limits.decel_g:
        return DECEL
    if loads.convective + loads.radiative > limits.flux_w_cm2:
        return FLUX
    return FREE


@njit(cache=True)
def _edges_at(clock, asymptote, interface, turn, world, air, shell, limits, course):
    """Shallow and steep edge, rad, with their codes."""
    low, high = _SHALLOWEST, _STEEPEST
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        loads = _loads_at(middle, clock, asymptote, interface, turn, world, air, shell, course)
        low, high = (middle, high) if loads.status == SKIPPED else (low, middle)
    if high == _STEEPEST:
        return math.nan, math.nan, SKIP, SKIP
    shallow, reason = high, SKIP
    if _loads_at(high, clock, asymptote, interface, turn, world, air, shell, course).load > limits.load_j_cm2:
        low, high, reason = shallow, _STEEPEST, HEAT
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            loads = _loads_at(middle, clock, asymptote, interface, turn, world, air, shell, course)
            low, high = (middle, high) if loads.load > limits.load_j_cm2 else (low, middle)
        shallow = high
    low, high = shallow, _STEEPEST
    loads = _loads_at(low, clock, asymptote, interface, turn, world, air, shell, course)
    if _over(loads, limits) != FREE:
        return shallow, low, reason, _over(loads, limits)
    loads = _loads_at(high, clock, asymptote, interface, turn, world, air, shell, course)
    binding = _over(loads, limits)
    if binding == FREE:
        return shallow, high, reason, FREE
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        loads = _loads_at(middle, clock, asymptote, interface, turn, world, air, shell, course)
        over = _over(loads, limits)
        if over == FREE:
            low = middle
        else:
            high, binding = middle, over
    return shallow, low, reason, binding


@njit(cache=True)
def _fill_edges(clocks, asymptote, interface, turn, world, air, shell, limits, course, edges, reasons):
    for k in range(clocks.size):
        a, b, c, d = _edges_at(clocks[k], asymptote, interface, turn, world, air, shell, limits, course)
        edges[0, k], edges[1, k], reasons[0, k], reasons[1, k] = a, b, c, d


def corridor_of(
    asymptote: Asymptote,
    interface: Interface,
    *,
    turn: Floats,
    world: Globe,
    air_at: Callable[[float], Air],
    shell: Shell,
    limits: ShellLimits,
    ground_km: float,
    clock_step_deg: float = CLOCK_STEP_DEG,
) -> Corridor:
    """Find the edges of a shell at a passage.

    Parameters
    ----------
    turn      : (3, 3) from ICRF into the body's axes (`targets.masses.rotation.body_axes`)
    air_at    : the air, off by so many standard deviations
    ground_km : height at which a descent ends, whatever it bore
    """
    clocks = np.arange(0.0, 360.0 - 1e-9, clock_step_deg)
    edges = np.empty((len(SPREADS), 2, len(clocks)))
    reasons = np.empty((len(SPREADS), 2, len(clocks)), dtype=np.int64)
    course = Course(_NEVER_PA, _LOADS_OVER_MACH, ground_km)
    for k, spread in enumerate(SPREADS):
        _fill_edges(
            np.radians(clocks), asymptote, interface, np.ascontiguousarray(turn), world, air_at(spread), shell, limits,
            course, edges[k], reasons[k],
        )  # fmt: skip
    found = np.degrees(edges)
    return Corridor(clocks, found[:, 0], found[:, 1], reasons[:, 0], reasons[:, 1])


def corridor_chance(
    corridor: Corridor,
    b_km: Floats,
    cov_km2: Floats,
    *,
    angle_deg: float,
    asymptote: Asymptote,
    interface: Interface,
) -> float:
    """P(the probe enters between the edges), over its delivery and the spread of the air.

    b_km : (2,) T, R of the aim point, whose angle is `angle_deg`; cov_km2 : (3,) TT, RR, TR
    """
    edges = corridor.edges_at(math.degrees(math.atan2(b_km[1], b_km[0])))
    return chance_between(
        edges, b_km, cov_km2, angle_deg=angle_deg, v_inf_km_s=asymptote.v_inf, mu_km3_s2=asymptote.mu,
        interface=interface,
    )  # fmt: skip


def chance_between(
    edges_deg: Floats,
    b_km: Floats,
    cov_km2: Floats,
    *,
    angle_deg: float,
    v_inf_km_s: float,
    mu_km3_s2: float,
    interface: Interface,
) -> float:
    """The same from the edges, (2, 3) by SPREADS, at the clock angle of the aim point."""
    size = float(np.hypot(*b_km))
    own = entry_aim_km(math.radians(angle_deg), v_inf_km_s, mu_km3_s2, interface)

    def aim_km(deg: float) -> float:
        # what the formula and the field make of one angle differ by little: the row's own aim takes it off
        return max(size + entry_aim_km(math.radians(deg), v_inf_km_s, mu_km3_s2, interface) - own, 0.0)

    shallow, steep = edges_between_deg(edges_deg, _NODES)
    inner = np.array([0.0 if angle >= 90.0 else aim_km(angle) for angle in steep])
    outer = np.array([aim_km(angle) for angle in shallow])
    there = inner < outer
    if not there.any():
        return 0.0
    chances = ring_chance(np.tile(b_km, (int(there.sum()), 1)), cov_km2, inner[there], outer[there])
    return float(chances @ (_WEIGHTS / _WEIGHTS.sum())[there])
