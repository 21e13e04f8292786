"""A mothership given by an Orbit Ephemeris Message: CCSDS 502.0-B-3, Orbit Data Messages, section 5, KVN."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from swarm.reach.mothership.followed import JOIN_S, Piece
from swarm.reach.mothership.interpolation import HERMITE, LAGRANGE, interpolated, window_size
from swarm.reach.mothership.oem_lines import DATA_LINE, Block, Line, Refusal, blocks_of, lines_of
from swarm.reach.mothership.plausible_states import no_mothership
from targets.base.constants import GM_SUN_KM3_S2
from targets.base.errors import InputError
from targets.base.files import read_limited
from targets.base.timescale import (
    LeapSeconds,
    calendar_day_and_second,
    iso_of_tdb_s,
    tdb_s_from_tt_s,
    tdb_s_from_utc,
)
from targets.ephemeris import spice

TIME_SYSTEMS = ("UTC", "TT", "TDB")
FRAMES = ("ICRF", "EME2000")
CENTERS = ("SUN", "SOLAR SYSTEM BARYCENTER")
METHODS = (HERMITE, LAGRANGE)
DEGREE_MAX = 27  # as SPICE's own interpolation
DEGREE_UNSTATED = 7
_SUN, _BARYCENTER = spice.SUN, 0
_MOST_BYTES = 256 << 20  # own choice: a state a minute for three years
_ROUNDED_S = 1.0  # START_TIME and STOP_TIME may be rounded to the second

_ms = partial(iso_of_tdb_s, digits=3)
_MAS_RAD = math.radians(1.0 / 3.6e6)


def _icrf_from_eme2000() -> np.ndarray:
    """The frame bias, transposed: r_EME2000 = R1(-eta) R2(xi) R3(da) r_ICRF.

    Angles: IERS Conventions (2010), Technical Note 36, sec. 5.4.4 and 5.6.1. About 0.023 arcsec: 42 km at 2.5 au.
    """
    xi, eta, da = -16.6170 * _MAS_RAD, -6.8192 * _MAS_RAD, -14.6 * _MAS_RAD
    first = np.array([[1, 0, 0], [0, math.cos(eta), -math.sin(eta)], [0, math.sin(eta), math.cos(eta)]])
    second = np.array([[math.cos(xi), 0, -math.sin(xi)], [0, 1, 0], [math.sin(xi), 0, math.cos(xi)]])
    third = np.array([[math.cos(da), math.sin(da), 0], [-math.sin(da), math.cos(da), 0], [0, 0, 1]])
    return (first @ second @ third).T


ICRF_FROM_EME2000 = _icrf_from_eme2000()
ICRF_FROM_EME2000.setflags(write=False)


@dataclass(frozen=True, eq=False)
class Segment:
    """A metadata block and the states under it.

    number, line : of the segment, and of its META_START
    epochs_tdb_s : (m,) increasing
    states       : (m, 6) km, km/s on ICRF axes, about `center`
    useable_tdb_s: first and last epoch at which it may be used
    """

    number: int
    line: int
    center: int
    epochs_tdb_s: np.ndarray
    states: np.ndarray
    useable_tdb_s: tuple[float, float]
    method: str
    degree: int

    def heliocentric(self, epochs_tdb_s: np.ndarray) -> np.ndarray:
        """(n, 6) heliocentric ICRF states by the segment's own interpolation."""
        states = interpolated(
            self.epochs_tdb_s, self.states, epochs_tdb_s, method=self.method, degree=self.degree
        )
        if self.center == _BARYCENTER:
            states = states - spice.sample(_SUN, epochs_tdb_s, center=_BARYCENTER)
        return states


@dataclass(frozen=True, eq=False)
class Oem:
    """A message as read; `notes` are sentences about rules that were applied."""

    segments: tuple[Segment, ...]
    notes: tuple[str, ...]
    source_sha256: str

    def pieces(self) -> list[Piece]:
        """Each segment's useable stretch, for `followed.follow`."""
        return [
            Piece(
                *segment.useable_tdb_s,
                f"segment {segment.number} (line {segment.line})",
                segment.heliocentric,
            )
            for segment in self.segments
        ]


def read_oem(file: Path) -> Oem:
    """Read an OEM. Raises InputError naming the line or segment, what was found and what is accepted.

    Accepted: TIME_SYSTEM UTC, TT, TDB; REF_FRAME ICRF, EME2000 (rotated by the frame bias); CENTER_NAME SUN, SOLAR
    SYSTEM BARYCENTER; INTERPOLATION HERMITE, LAGRANGE (Hermite of degree 7 where none is named). Comments,
    accelerations and covariances are passed over.
    """
    try:
        raw = read_limited(file, most_bytes=_MOST_BYTES)
    except FileNotFoundError:
        raise InputError("the file is not there", file=file, expected="a CCSDS OEM, KVN text") from None
    except OSError as problem:
        raise InputError("the file cannot be read", file=file, found=problem.strerror) from None
    refusal = Refusal(file)
    blocks = list(blocks_of(lines_of(raw, refusal), refusal))
    leap = spice.leap_seconds()
    notes: list[str] = []
    segments = tuple(_segment(block, leap, refusal, notes) for block in blocks)
    _check_one_object(blocks, refusal)
    return Oem(segments, tuple(dict.fromkeys(notes)), hashlib.sha256(raw).hexdigest())


# --- meaning ------------------------------------------------------------------------------------------------


def _segment(block: Block, leap: LeapSeconds, refusal: Refusal, notes: list[str]) -> Segment:
    system = _choice(block, "TIME_SYSTEM", TIME_SYSTEMS, refusal)
    frame = _choice(block, "REF_FRAME", FRAMES, refusal)
    center = _choice(block, "CENTER_NAME", CENTERS, refusal)
    method, degree = _interpolation(block, refusal, notes)
    epoch = partial(_epoch, system=system, leap=leap, refusal=refusal)
    epochs, states = _states(block, epoch, refusal)
    _check_units(block, states, refusal)
    _check_order(block, epochs, refusal)
    _check_span(block, epochs, epoch, refusal)
    degree = _check_count(block, len(epochs), method, degree, refusal)
    useable = _useable(block, epochs, epoch, refusal)
    _check_motion(block, epochs, states, useable, refusal)
    if frame == "EME2000":
        states = np.hstack([states[:, :3] @ ICRF_FROM_EME2000.T, states[:, 3:] @ ICRF_FROM_EME2000.T])
        notes.append("EME2000 states of the mothership are rotated to ICRF by the frame bias, 0.023 arcsec")
    if system == "UTC":
        notes.append(
            "UTC dates of the mothership: no leap second assumed after the last known one "
            f"(TAI - UTC = {leap.tai_minus_utc_s[-1]:g} s)"
        )
    return Segment(
        number=block.number,
        line=block.line,
        center=_SUN if center == "SUN" else _BARYCENTER,
        epochs_tdb_s=epochs,
        states=states,
        useable_tdb_s=useable,
        method=method,
        degree=degree,
    )


def _choice(block: Block, key: str, accepted: tuple[str, ...], refusal: Refusal) -> str:
    line = block.meta[key]
    value = " ".join(line.value.upper().replace("_", " ").split())
    if value not in accepted:
        raise refusal.at(line, f"a {key} that is not known here", f"{key} = {' or '.join(accepted)}")
    return value


def _interpolation(block: Block, refusal: Refusal, notes: list[str]) -> tuple[str, int | None]:
    """Method and degree; no degree where the file names no method."""
    if "INTERPOLATION" not in block.meta:
        return HERMITE, None
    method = _choice(block, "INTERPOLATION", METHODS, refusal)
    line = block.meta.get("INTERPOLATION_DEGREE")
    if line is None:
        notes.append(f"INTERPOLATION = {method} without INTERPOLATION_DEGREE: degree {DEGREE_UNSTATED} taken")
        return method, DEGREE_UNSTATED
    if not line.value.isdigit() or not 1 <= int(line.value) <= DEGREE_MAX:
        raise refusal.at(line, "not a degree", f"INTERPOLATION_DEGREE = 1 to {DEGREE_MAX}")
    return method, int(line.value)


def _epoch(line: Line, text: str, *, system: str, leap: LeapSeconds, refusal: Refusal) -> float:
    """TDB s of a date in the segment's time system."""
    shown = line.text if "=" in line.text else text
    try:
        day, second = calendar_day_and_second(text)
    except ValueError as problem:
        raise refusal.at(line, "not a date", str(problem), found=shown) from None
    if system == "UTC":
        tdb = float(tdb_s_from_utc(day, second, leap=leap))
        if math.isnan(tdb):
            raise refusal.at(
                line, "UTC before its leap seconds", "a date since 1972, or TT or TDB", found=shown
            )
        if second >= 86_400.0 and leap.at(day + 86_400.0) == leap.at(day):
            raise refusal.at(line, "no leap second on this day", "seconds below 60", found=shown)
        return tdb
    if second >= 86_400.0:
        raise refusal.at(line, f"{system} has no leap seconds", "seconds below 60", found=shown)
    return day + second if system == "TDB" else float(tdb_s_from_tt_s(day + second))


def _states(block: Block, epoch: partial[float], refusal: Refusal) -> tuple[np.ndarray, np.ndarray]:
    epochs, states = [], []
    for line in block.data:
        date, *numbers = line.text.split()
        if len(numbers) not in (6, 9):
            found = f"{line.text} ({len(numbers)} numbers)"
            raise refusal.at(
                line, "half a line, or too much", f"a date and 6 numbers: {DATA_LINE}", found=found
            )
        epochs.append(epoch(line, date))
        states.append([_number(line, text, refusal) for text in numbers[:6]])
    return np.array(epochs), np.array(states).reshape(-1, 6)


def _number(line: Line, text: str, refusal: Refusal) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise refusal.at(line, "not a number", f"finite numbers: {DATA_LINE}", found=text)
    return value


def _check_units(block: Block, states: np.ndarray, refusal: Refusal) -> None:
    """An OEM is in km and km/s (CCSDS 502.0-B-3, section 5); farther or faster than any mothership is metres."""
    for line, state in zip(block.data, states, strict=True):
        if (found := no_mothership(state)) is not None:
            raise refusal.at(
                line, "no mothership is there: are these metres?", f"km and km/s: {DATA_LINE}", found=found
            )


def _check_order(block: Block, epochs: np.ndarray, refusal: Refusal) -> None:
    late = np.flatnonzero(np.diff(epochs) <= 0.0)
    if late.size:
        line = block.data[int(late[0]) + 1]
        before = block.data[int(late[0])].text.split()[0]
        raise refusal.at(
            line,
            "epochs out of order",
            f"a date after {before}, that of the line before",
            found=line.text.split()[0],
        )


def _check_motion(
    block: Block, epochs: np.ndarray, states: np.ndarray, useable: tuple[float, float], refusal: Refusal
) -> None:
    """Velocities must lead from a position to the next one, or one of the two is of another body, sign or unit.

    What mean velocity misses of the step is its share (w dt)^2 / 12 on a path of angular rate w (the next term);
    a planet's pull between two states adds to that. So three times as much and a fifth of the step are allowed (own
    choice), and steps that turn by more than a radian are left alone.
    """
    dt = np.diff(epochs)
    step = np.diff(states[:, :3], axis=0)
    flown = 0.5 * (states[:-1, 3:] + states[1:, 3:]) * dt[:, None]
    range_km = np.maximum(
        np.minimum(*(np.linalg.norm(part[:, :3], axis=1) for part in (states[:-1], states[1:]))), 1.0
    )
    turn = dt * np.sqrt(GM_SUN_KM3_S2 / range_km**3)
    length = np.maximum(np.linalg.norm(step, axis=1), np.linalg.norm(flown, axis=1))
    off = np.linalg.norm(step - flown, axis=1)
    flyable = (epochs[:-1] >= useable[0] - JOIN_S) & (epochs[1:] <= useable[1] + JOIN_S) & (turn < 1.0)
    wrong = np.flatnonzero(flyable & (off > (0.2 + 0.25 * turn**2) * length + 1.0))
    if wrong.size:
        k = int(wrong[0])
        raise refusal.at(
            block.data[k + 1], "position and velocity do not agree with the line before",
            "velocities (km/s) that lead from one position (km) to the next",
            found=f"{off[k]:.6g} km off in a step of {length[k]:.6g} km",
        )  # fmt: skip


def _check_span(block: Block, epochs: np.ndarray, epoch: partial[float], refusal: Refusal) -> None:
    """The states fill START_TIME to STOP_TIME; fewer are a sign of a file cut off between two lines."""
    if not len(epochs):
        raise refusal.of(block, "no states", f"lines of {DATA_LINE}", found="none before the segment's end")
    for key, given, which in (("START_TIME", epochs[0], "first"), ("STOP_TIME", epochs[-1], "last")):
        stated = epoch(block.meta[key], block.meta[key].value)
        if abs(stated - given) > _ROUNDED_S:
            raise refusal.of(
                block, f"the states and the {key} of the segment differ: is the file cut off?",
                f"the {which} state at {_ms(stated)}, as {key} says", found=f"the {which} state at {_ms(given)}",
            )  # fmt: skip


def _check_count(block: Block, count: int, method: str, degree: int | None, refusal: Refusal) -> int:
    """The degree to use: the stated one, which needs its states, or the best up to 7."""
    least = window_size(method, degree or 1)
    if count < least:
        what = f"{method} interpolation of degree {degree}" if degree else "interpolation"
        raise refusal.of(block, "too few states", f"at least {least} states for {what}", found=f"{count}")
    return degree or min(DEGREE_UNSTATED, 2 * count - 1)


def _useable(
    block: Block, epochs: np.ndarray, epoch: partial[float], refusal: Refusal
) -> tuple[float, float]:
    """USEABLE_START_TIME to USEABLE_STOP_TIME, by default all of the states."""
    ends = []
    for key, given in (("USEABLE_START_TIME", epochs[0]), ("USEABLE_STOP_TIME", epochs[-1])):
        line = block.meta.get(key)
        stated = float(given) if line is None else epoch(line, line.value)
        if line is not None and not epochs[0] - JOIN_S <= stated <= epochs[-1] + JOIN_S:
            raise refusal.at(
                line, "not within the segment's states", f"a date in {_ms(epochs[0])} to {_ms(epochs[-1])}"
            )
        ends.append(stated)
    if ends[1] <= ends[0]:
        raise refusal.of(
            block, "the useable span is empty", "USEABLE_START_TIME before USEABLE_STOP_TIME",
            found=f"{_ms(ends[0])} to {_ms(ends[1])}",
        )  # fmt: skip
    return ends[0], ends[1]


def _check_one_object(blocks: list[Block], refusal: Refusal) -> None:
    first = blocks[0].meta["OBJECT_ID"].value
    for block in blocks[1:]:
        line = block.meta["OBJECT_ID"]
        if line.value != first:
            raise refusal.at(
                line, "a second object in the file", f"OBJECT_ID = {first}, as in the first segment"
            )
