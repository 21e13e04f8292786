"""A mothership whose path is given: covered without gaps, cut at manoeuvres and planets, sampled into legs."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path as FilePath

import numpy as np
from scipy.optimize import brentq

from swarm.reach.mothership.flybys import PLANETS, Flyby, Planet, passage
from swarm.reach.mothership.path import NODE_S, Path
from targets.base.constants import DAY_S
from targets.base.errors import InputError
from targets.base.timescale import iso_of_tdb_s
from targets.ephemeris import spice
from targets.ephemeris.planets import PlanetTable

JOIN_S = 1e-3  # pieces this close meet: dates in text files are rounded
JUMP_M_S = 1e-4  # a larger velocity step between pieces is a manoeuvre and ends a leg
JUMP_KM = 1.0  # so does a larger step in position, whatever it means
NODES_WITHIN_KM, NODES_WITHIN_KM_S = 1.0, 1e-6
HALVINGS_MAX = 7  # of the day between nodes: eleven minutes
SHORTEST_LEG_S = 3600.0
_GRID_S = 0.25 * DAY_S  # a passage is noticed by the sign of the range rate: at most one turn in a grid step
_NO_GAIN = 0.9  # halving that leaves more than this of the error did not help


_ms = partial(iso_of_tdb_s, digits=3)


@dataclass(frozen=True, eq=False)
class Piece:
    """A stretch of the source without gap or jump.

    place  : how to name it to a person
    states : (n,) TDB s -> (n, 6) heliocentric ICRF km, km/s, at any epoch of [start, end]
    """

    start_tdb_s: float
    end_tdb_s: float
    place: str
    states: Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True, eq=False)
class _Track:
    """Pieces that follow one another over [start, end]; at a joint the later piece holds."""

    pieces: tuple[Piece, ...]
    start_tdb_s: float
    end_tdb_s: float

    def at(self, epochs_tdb_s: np.ndarray) -> np.ndarray:
        starts = np.array([piece.start_tdb_s for piece in self.pieces[1:]])
        which = np.searchsorted(starts, epochs_tdb_s, side="right")
        states = np.empty((len(epochs_tdb_s), 6))
        for k in np.unique(which):
            states[which == k] = self.pieces[k].states(epochs_tdb_s[which == k])
        return states


@dataclass(frozen=True)
class _Passage:
    """Time inside a sphere of influence."""

    planet: Planet
    enter_tdb_s: float
    closest_tdb_s: float
    leave_tdb_s: float


def follow(
    pieces: Sequence[Piece],
    *,
    start_tdb_s: float,
    end_tdb_s: float,
    planets: PlanetTable,
    altitude_min_km: float,
    file: FilePath,
    may_stay: bool = False,
) -> tuple[tuple[Path, ...], tuple[Flyby, ...], tuple[str, ...]]:
    """Legs of the mothership within [start, end], its passages of planets, and sentences about what ended a leg.

    A leg ends where the source steps in velocity (a manoeuvre) and where it enters a planet's sphere of influence;
    it begins anew behind either. Raises InputError where the pieces overlap or leave a gap, and, but for one that
    `may_stay` with a planet, where no leg is left.
    """
    whole = _covering(pieces, start_tdb_s, end_tdb_s, file=file)
    tracks, notes = _split_at_jumps(whole)
    passages = [crossing for planet in PLANETS for crossing in _passages(whole, planet, planets)]
    passages.sort(key=_entry)
    legs: list[Path] = []
    for track in tracks:
        for first, last in _outside(track, passages):
            path, note = sampled_path(track.at, first, last)
            legs.append(path)
            notes += note
    if not legs and not may_stay:
        raise InputError(
            "the mothership is inside a planet's sphere of influence throughout the study",
            file=file, expected="a path about the Sun",
        )  # fmt: skip
    flybys = tuple(_flyby(crossing, whole, altitude_min_km) for crossing in passages)
    return tuple(legs), flybys, (*(flyby.sentence() for flyby in flybys), *notes)


def states_within(
    pieces: Sequence[Piece], *, start_tdb_s: float, end_tdb_s: float, file: FilePath
) -> Callable[[np.ndarray], np.ndarray]:
    """The source's states at any epochs of [start, end], spheres of influence included."""
    return _covering(pieces, start_tdb_s, end_tdb_s, file=file).at


def _entry(crossing: _Passage) -> float:
    return crossing.enter_tdb_s


# --- coverage -----------------------------------------------------------------------------------------------


def _covering(pieces: Sequence[Piece], start: float, end: float, *, file: FilePath) -> _Track:
    """The pieces that make up [start, end], or an InputError that names what is missing."""
    ordered = sorted(pieces, key=_start)
    for before, after in itertools.pairwise(ordered):
        if after.start_tdb_s < before.end_tdb_s - JOIN_S:
            raise InputError(
                "two stretches of the path overlap", file=file, place=f"{before.place} and {after.place}",
                found=f"{_ms(after.start_tdb_s)} comes before {_ms(before.end_tdb_s)}",
                expected="stretches that follow one another, with at most an end in common",
            )  # fmt: skip
    if ordered[0].start_tdb_s >= end or ordered[-1].end_tdb_s <= start:
        given = f"{_ms(ordered[0].start_tdb_s)} to {_ms(ordered[-1].end_tdb_s)}"
        raise InputError(
            "the dates lie outside the study", file=file, place=_places(ordered), found=given,
            expected=_wanted(start, end),
        )  # fmt: skip
    used = [p for p in ordered if p.end_tdb_s > start + JOIN_S and p.start_tdb_s < end - JOIN_S]
    reached, behind = start, "the start of the study"
    for piece in used:
        if piece.start_tdb_s > reached + JOIN_S:
            raise _gap(reached, piece.start_tdb_s, behind, piece.place, file=file, wanted=_wanted(start, end))
        reached, behind = piece.end_tdb_s, piece.place
    if reached < end - JOIN_S:
        raise _gap(reached, end, behind, "the end of the study", file=file, wanted=_wanted(start, end))
    return _Track(tuple(used), start, end)


def _gap(first: float, last: float, behind: str, ahead: str, *, file: FilePath, wanted: str) -> InputError:
    return InputError(
        "a gap in the mothership's path", file=file, place=f"between {behind} and {ahead}",
        found=f"nothing from {_ms(first)} to {_ms(last)} ({last - first:.3f} s)", expected=wanted,
        do="give the missing states, or move study.start and study.end inside what is covered",
    )  # fmt: skip


def _wanted(start: float, end: float) -> str:
    return f"states from {_ms(start)} to {_ms(end)}, study.start to study.end, without a gap"


def _places(pieces: Sequence[Piece]) -> str:
    return pieces[0].place if len(pieces) == 1 else f"{pieces[0].place} to {pieces[-1].place}"


def _start(piece: Piece) -> float:
    return piece.start_tdb_s


def _split_at_jumps(whole: _Track) -> tuple[list[_Track], list[str]]:
    groups, notes = [[whole.pieces[0]]], []
    for before, after in itertools.pairwise(whole.pieces):
        at = after.start_tdb_s
        step = after.states(np.array([at]))[0] - before.states(np.array([at]))[0]
        moved_km, changed_m_s = float(np.linalg.norm(step[:3])), 1000.0 * float(np.linalg.norm(step[3:]))
        if changed_m_s > JUMP_M_S or moved_km > JUMP_KM:
            where = f" and a step of {moved_km:.3f} km" if moved_km > JUMP_KM else ""
            notes.append(
                f"{_ms(at)}: a velocity change of {changed_m_s:.4g} m/s{where} ends a leg of the mothership"
            )
            groups.append([after])
        else:
            groups[-1].append(after)
    bounds = [whole.start_tdb_s, *(group[0].start_tdb_s for group in groups[1:]), whole.end_tdb_s]
    spans = itertools.pairwise(bounds)
    return [_Track(tuple(g), a, b) for g, (a, b) in zip(groups, spans, strict=True)], notes


# --- planets ------------------------------------------------------------------------------------------------


def _relative(track: _Track, planet: Planet, tdb_s: float) -> np.ndarray:
    """(6,) state of the mothership relative to a planet, from the ephemeris itself."""
    epoch = np.array([tdb_s])
    return track.at(epoch)[0] - spice.sample(planet.spice_id, epoch)[0]


def _passages(track: _Track, planet: Planet, planets: PlanetTable) -> list[_Passage]:
    """Every stay within a planet's sphere of influence."""
    count = max(2, math.ceil((track.end_tdb_s - track.start_tdb_s) / _GRID_S) + 1)
    grid = np.linspace(track.start_tdb_s, track.end_tdb_s, count)
    relative = track.at(grid) - planets.state(planet.row, grid)
    distance = np.linalg.norm(relative[:, :3], axis=1)
    speed = np.linalg.norm(relative[:, 3:], axis=1)
    rate = np.einsum("ij,ij->i", relative[:, :3], relative[:, 3:])
    turns = (rate[:-1] < 0.0) & (rate[1:] >= 0.0)
    # twice the speed at the grid points: outside the sphere the planet adds little to it
    near = np.minimum(distance[:-1], distance[1:]) < planet.influence_km + 2.0 * np.maximum(
        speed[:-1], speed[1:]
    ) * (grid[1] - grid[0])
    closest = [_turning(track, planet, grid[k], grid[k + 1]) for k in np.flatnonzero(turns & near)]
    lows = [float(np.linalg.norm(_relative(track, planet, t)[:3])) for t in closest]
    times, inside = np.concatenate([grid, closest]), np.concatenate([distance, lows]) < planet.influence_km
    order = np.argsort(times, kind="stable")
    return _stays(track, planet, times[order], inside[order], closest)


def _turning(track: _Track, planet: Planet, first: float, last: float) -> float:
    """Epoch of closest approach between two epochs."""

    def rate(tdb_s: float) -> float:
        state = _relative(track, planet, tdb_s)
        return float(state[:3] @ state[3:])

    return _root(rate, first, last)


def _crossing(track: _Track, planet: Planet, first: float, last: float) -> float:
    """Epoch at which the sphere of influence is crossed between two epochs."""

    def height(tdb_s: float) -> float:
        return float(np.linalg.norm(_relative(track, planet, tdb_s)[:3])) - planet.influence_km

    return _root(height, first, last)


def _root(function: Callable[[float], float], first: float, last: float) -> float:
    """A root in [first, last]; where the table of planets saw a change of sign that is none, the nearer end."""
    low, high = function(first), function(last)
    if low * high > 0.0:
        return first if abs(low) < abs(high) else last
    return float(brentq(function, first, last, xtol=1e-3))


def _stays(
    track: _Track, planet: Planet, times: np.ndarray, inside: np.ndarray, closest: list[float]
) -> list[_Passage]:
    stays = []
    enter = track.start_tdb_s if inside[0] else math.nan
    for k in range(1, len(times)):
        if inside[k] and not inside[k - 1]:
            enter = _crossing(track, planet, times[k - 1], times[k])
        if inside[k - 1] and not inside[k]:
            stays.append(
                _stay(track, planet, enter, _crossing(track, planet, times[k - 1], times[k]), closest)
            )
    if inside[-1]:
        stays.append(_stay(track, planet, enter, track.end_tdb_s, closest))
    return stays


def _stay(track: _Track, planet: Planet, enter: float, leave: float, closest: list[float]) -> _Passage:
    candidates = [enter, *(t for t in closest if enter < t < leave), leave]
    ranges = [float(np.linalg.norm(_relative(track, planet, t)[:3])) for t in candidates]
    return _Passage(planet, enter, candidates[int(np.argmin(ranges))], leave)


def _flyby(crossing: _Passage, track: _Track, altitude_min_km: float) -> Flyby:
    return passage(
        crossing.planet,
        _relative(track, crossing.planet, crossing.closest_tdb_s),
        enter_tdb_s=crossing.enter_tdb_s,
        closest_tdb_s=crossing.closest_tdb_s,
        leave_tdb_s=crossing.leave_tdb_s,
        altitude_min_km=altitude_min_km,
    )


def _outside(track: _Track, passages: Sequence[_Passage]) -> list[tuple[float, float]]:
    """The spans of a track in no sphere of influence, the shortest ones left out."""
    spans, first = [], track.start_tdb_s
    for stay in passages:
        if stay.leave_tdb_s <= first or stay.enter_tdb_s >= track.end_tdb_s:
            continue
        spans.append((first, stay.enter_tdb_s))
        first = stay.leave_tdb_s
    spans.append((first, track.end_tdb_s))
    return [(a, b) for a, b in spans if b - a >= SHORTEST_LEG_S]


# --- sampling -----------------------------------------------------------------------------------------------


def sampled_path(
    states: Callable[[np.ndarray], np.ndarray], first_tdb_s: float, last_tdb_s: float
) -> tuple[Path, list[str]]:
    """A Path over [first, last] that reproduces `states` between its nodes, and a sentence where it cannot.

    Guarantee
    ---------
    Half-way between nodes Path.at is within 1 km and 1 mm/s of the source, or the sentence says by how much not:
    the spacing starts at a day and is halved up to seven times, or until two halvings in a row gain nothing
    (a source with too few digits). Tested in tests/reach/mothership/test_followed_path.py.
    """
    spans = max(1, math.ceil((last_tdb_s - first_tdb_s) / NODE_S - 1e-9))
    step = (last_tdb_s - first_tdb_s) / spans
    path = Path(first_tdb_s, step, states(first_tdb_s + step * np.arange(spans + 1)))
    between, off = _between(path, states)
    least, idle = _share_of_tolerance(off), 0
    for _ in range(HALVINGS_MAX):
        if _share_of_tolerance(off) <= 1.0 or idle == 2:
            break
        path = _woven(path, between)
        between, off = _between(path, states)
        idle = idle + 1 if _share_of_tolerance(off) > _NO_GAIN * least else 0
        least = min(least, _share_of_tolerance(off))
    if _share_of_tolerance(off) <= 1.0:
        return path, []
    return path, [
        f"{_ms(first_tdb_s)}: between nodes of {path.step_s / DAY_S:.4f} d the mothership's leg is known to "
        f"{off[0]:.3g} km and {1e6 * off[1]:.3g} mm/s"
    ]


def _between(
    path: Path, states: Callable[[np.ndarray], np.ndarray]
) -> tuple[np.ndarray, tuple[float, float]]:
    """The source half-way between the nodes, and the path's largest errors at quarters of the steps, km, km/s."""
    quarters = path.start_tdb_s + path.step_s * (
        np.arange(len(path.states) - 1) + np.array([[0.25], [0.5], [0.75]])
    )
    between = states(quarters.ravel())
    off = path.at(quarters.ravel()) - between
    return between.reshape(3, -1, 6)[1], (
        float(np.linalg.norm(off[:, :3], axis=1).max()),
        float(np.linalg.norm(off[:, 3:], axis=1).max()),
    )


def _share_of_tolerance(off: tuple[float, float]) -> float:
    return max(off[0] / NODES_WITHIN_KM, off[1] / NODES_WITHIN_KM_S)


def _woven(path: Path, between: np.ndarray) -> Path:
    """The path with half its spacing."""
    states = np.empty((2 * len(path.states) - 1, 6))
    states[0::2], states[1::2] = path.states, between
    return Path(path.start_tdb_s, 0.5 * path.step_s, states)
