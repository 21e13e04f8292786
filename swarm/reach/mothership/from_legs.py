"""A mothership given by the planets it meets: two-body arcs between their centres at the dates."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from swarm.reach.arcs.pykep_core import lambert_branches
from swarm.reach.mothership.flybys import Flyby, Planet, meeting, planet_named
from swarm.reach.mothership.path import NODE_S, Path
from swarm.study.schema import Leg
from targets.base.constants import DAY_S, GM_SUN_KM3_S2
from targets.base.errors import InputError
from targets.base.frames import ICRF_FROM_ECLIPTIC
from targets.base.timescale import iso_of_tdb_s, tdb_s_from_jd
from targets.ephemeris import spice
from targets.motion.twobody import drift_states

_ARRIVAL_TOLERANCE_KM = 1.0  # a Lambert solution that misses by more is none


@dataclass(frozen=True)
class LegRules:
    """What the study says about legs: hours kept off a planet, and what a flyby may look like."""

    clear_s: float
    altitude_min_km: float
    mismatch_max_m_s: float


@dataclass(frozen=True, eq=False)
class _Arc:
    """A two-body arc: its ends, and the heliocentric ICRF velocities there."""

    start_tdb_s: float
    end_tdb_s: float
    start_state: np.ndarray
    end_velocity_km_s: np.ndarray


def paths_from_legs(
    legs: tuple[Leg, ...], *, start_tdb_s: float, end_tdb_s: float, rules: LegRules
) -> tuple[tuple[Path, ...], tuple[Flyby, ...], tuple[str, ...]]:
    """Paths within [start, end], every flyby inside, and sentences about it all.

    Raises InputError, naming the entry of `mothership.legs`, where a body is no planet, no arc exists, or two
    dates are too close.
    """
    planets = [_planet(leg, k) for k, leg in enumerate(legs)]
    epochs = [float(tdb_s_from_jd(leg.date)) for leg in legs]
    states = [
        spice.sample(planet.spice_id, np.array([t]))[0] for planet, t in zip(planets, epochs, strict=True)
    ]
    arcs = [
        _arc(legs[k + 1], k + 1, (epochs[k], epochs[k + 1]), (states[k], states[k + 1]))
        for k in range(len(legs) - 1)
    ]
    flybys = tuple(
        meeting(
            planets[k],
            arcs[k - 1].end_velocity_km_s - states[k][3:],
            arcs[k].start_state[3:] - states[k][3:],
            at_tdb_s=epochs[k],
            clear_s=rules.clear_s,
            altitude_min_km=rules.altitude_min_km,
            mismatch_max_m_s=rules.mismatch_max_m_s,
        )
        for k in range(1, len(legs) - 1)
    )
    paths = _paths(arcs, start_tdb_s, end_tdb_s, rules.clear_s)
    if not paths:
        raise InputError(
            "the mothership's legs lie outside the study",
            place="mothership.legs",
            found=f"{iso_of_tdb_s(epochs[0])} to {iso_of_tdb_s(epochs[-1])}",
            expected=f"a leg inside {iso_of_tdb_s(start_tdb_s)} to {iso_of_tdb_s(end_tdb_s)}, "
            f"more than {2.0 * rules.clear_s / DAY_S:g} days long",
        )
    notes = _end_notes(planets, states, arcs) + tuple(flyby.sentence() for flyby in flybys)
    return paths, flybys, notes + _uncovered(paths, start_tdb_s, end_tdb_s)


def _planet(leg: Leg, k: int) -> Planet:
    try:
        return planet_named(leg.body)
    except ValueError as problem:
        raise InputError(
            "no such planet", place=f"mothership.legs[{k}].body", found=leg.body, expected=str(problem)
        ) from None


def _arc(leg: Leg, k: int, epochs: tuple[float, float], ends: tuple[np.ndarray, np.ndarray]) -> _Arc:
    """The arc that arrives at entry k of the legs."""
    tof = epochs[1] - epochs[0]
    solutions = _solutions(ends[0][:3], ends[1][:3], tof, leg=leg)
    if not solutions:
        turns = f"{leg.revolutions} revolution{'s' if leg.revolutions != 1 else ''}"
        raise InputError(
            f"no two-body arc with {turns} leads here",
            place=f"mothership.legs[{k}]",
            found=f"{iso_of_tdb_s(epochs[0])} to {iso_of_tdb_s(epochs[1])}, {tof / DAY_S:.1f} days",
            expected="another date, or fewer revolutions; not the same or the opposite side of the Sun exactly",
        )
    solutions.sort(key=_energy)  # of the two with revolutions, the one of more energy has the longer period
    v0, v1 = solutions[0 if leg.branch == "short-period" else -1]
    return _Arc(*epochs, np.concatenate([ends[0][:3], v0]), v1)


def _solutions(
    r0_km: np.ndarray, r1_km: np.ndarray, tof_s: float, *, leg: Leg
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Departure and arrival velocities of the arcs of the direction and revolutions asked for.

    pykep's flag is about +Z of the equator; the direction meant is about the ecliptic's pole, so both are
    solved and judged by their angular momentum.
    """
    branches = []
    for clockwise in (False, True):
        v0, v1 = lambert_branches(
            r0_km, r1_km, tof_s, mu_km3_s2=GM_SUN_KM3_S2, clockwise=clockwise, revolutions_max=leg.revolutions
        )
        wanted = (0,) if leg.revolutions == 0 else (2 * leg.revolutions - 1, 2 * leg.revolutions)
        for branch in (b for b in wanted if b < len(v0)):
            prograde = float(np.cross(r0_km, v0[branch]) @ ICRF_FROM_ECLIPTIC[:, 2]) > 0.0
            if prograde != leg.retrograde and _arrives(r0_km, v0[branch], r1_km, tof_s):
                branches.append((v0[branch], v1[branch]))
    return branches


def _arrives(r0_km: np.ndarray, v0_km_s: np.ndarray, r1_km: np.ndarray, tof_s: float) -> bool:
    if not np.isfinite(v0_km_s).all():
        return False
    reached, _ = drift_states(r0_km[None, :], v0_km_s[None, :], np.array([tof_s]))
    return bool(np.linalg.norm(reached[0] - r1_km) < _ARRIVAL_TOLERANCE_KM)


def _energy(solution: tuple[np.ndarray, np.ndarray]) -> float:
    """Stands for the energy: among arcs from one place the faster one has more."""
    return float(solution[0] @ solution[0])


def _paths(arcs: list[_Arc], start_tdb_s: float, end_tdb_s: float, clear_s: float) -> tuple[Path, ...]:
    paths = []
    for arc in arcs:
        first = max(arc.start_tdb_s + clear_s, start_tdb_s)
        last = min(arc.end_tdb_s - clear_s, end_tdb_s)
        if last > first:
            paths.append(_path(arc, first, last))
    return tuple(paths)


def _path(arc: _Arc, first_tdb_s: float, last_tdb_s: float) -> Path:
    """Uniform nodes, a day apart at most, from first to last exactly."""
    spans = max(1, math.ceil((last_tdb_s - first_tdb_s) / NODE_S - 1e-9))
    step = (last_tdb_s - first_tdb_s) / spans
    elapsed = first_tdb_s - arc.start_tdb_s + step * np.arange(spans + 1)
    repeated = np.broadcast_to(arc.start_state, (spans + 1, 6))
    return Path(
        first_tdb_s, step, np.hstack(drift_states(repeated[:, :3], repeated[:, 3:], elapsed)), pulled=False
    )


def _end_notes(planets: list[Planet], states: list[np.ndarray], arcs: list[_Arc]) -> tuple[str, ...]:
    leaving = np.linalg.norm(arcs[0].start_state[3:] - states[0][3:])
    arriving = np.linalg.norm(arcs[-1].end_velocity_km_s - states[-1][3:])
    return (
        f"{iso_of_tdb_s(arcs[0].start_tdb_s)}: leaves {planets[0].name} with v_inf {leaving:.3f} km/s",
        f"{iso_of_tdb_s(arcs[-1].end_tdb_s)}: reaches {planets[-1].name} with v_inf {arriving:.3f} km/s",
    )


def _uncovered(paths: tuple[Path, ...], start_tdb_s: float, end_tdb_s: float) -> tuple[str, ...]:
    """Sentences about the ends of the study that no leg reaches."""
    first, last = paths[0].start_tdb_s, float(paths[-1].epochs_tdb_s[-1])
    notes = []
    if first > start_tdb_s + DAY_S:
        notes.append(
            f"the study begins {iso_of_tdb_s(start_tdb_s)}, the mothership's first leg {iso_of_tdb_s(first)}"
        )
    if last < end_tdb_s - DAY_S:
        notes.append(
            f"the mothership's last leg ends {iso_of_tdb_s(last)}, the study {iso_of_tdb_s(end_tdb_s)}"
        )
    return tuple(notes)
