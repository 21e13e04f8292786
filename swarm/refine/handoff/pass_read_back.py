"""The messages of a low pass read again: each flown by nothing but its own first state, and compared with the table."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from swarm.reach.approach.field import PlanetField
from swarm.reach.mothership.interpolation import HERMITE, interpolated
from swarm.refine.handoff.oem import J2000
from swarm.refine.handoff.opm import Parameters, read_opm
from swarm.refine.handoff.read_back import ReadBackDiffers
from swarm.refine.handoff.spk import probe_id, states_of
from swarm.refine.pass_path import About, about_planet, burn_km_s, burn_s, followed, release_s
from swarm.refine.stretches import DEGREE, Stretch
from targets.base.errors import InputError
from targets.masses.massive import Mass, mass_named, planet_of
from targets.masses.rotation import place_over_ground
from targets.masses.where import Ephemeris

Floats = NDArray[np.float64]

# What reading back may be off by: the polynomials between nodes, and the lowest point of a flight from the first state.
READ_BACK_KM, LOWEST_KM = 1e-2, 2e-2
# Digits of dates and of velocity changes in a message.
_DATE_S, _KM_S = 2e-6, 1e-11


def read_back_pass(
    folder: Path,
    probe: int,
    row: dict[str, Any],
    field: PlanetField,
    ephemeris: Ephemeris,
    *,
    spk: Path,
) -> tuple[float, float]:
    """Worst differences, km and km/s. Raises ReadBackDiffers."""
    file, body = folder / f"probe_{probe:02d}_pass.oem", mass_named(row["target"])
    try:
        segments = read_segments(file)
        messages = messages_of(folder, f"probe_{probe:02d}_pass", row, segments)
    except (InputError, OSError, ValueError, KeyError, IndexError, StopIteration) as refused:
        raise ReadBackDiffers(f"a file of the pass of probe {probe} cannot be read: {refused}") from refused
    worst = compared_again(file.stem, row, (body, field, ephemeris), segments, messages)
    worst = np.maximum(worst, _spk_off(spk, probe, segments, (body, field, ephemeris)))
    if not worst[0] <= READ_BACK_KM:
        raise ReadBackDiffers(f"{file.name}: {1e3 * worst[0]:.3g} m from what it is compared with")
    lowest = _lowest_km(segments, body, row["encounter_tdb_s"])
    if not abs(lowest - row["altitude_km"]) <= LOWEST_KM:
        raise ReadBackDiffers(
            f"{file.name}: {lowest:.3f} km at the lowest point, {row['altitude_km']:.3f} in the table"
        )
    return float(worst[0]), float(worst[1])


def messages_of(
    folder: Path, stem: str, row: dict[str, Any], segments: list[About]
) -> dict[str, tuple[Parameters, About]]:
    """Parameter messages, each with the segment whose first state it has."""
    after = next(each for each in segments if each.stretch.epochs_tdb_s[0] >= burn_s(row) - _DATE_S)
    firsts = {"after_burn": after} | ({"release": segments[0]} if segments[0] is not after else {})
    return {
        which: (read_opm(folder / f"{stem}_{which}.opm", center=first.center), first)
        for which, first in firsts.items()
    }


def compared_again(
    stem: str,
    row: dict[str, Any],
    where: tuple[Mass, PlanetField, Ephemeris],
    segments: list[About],
    messages: dict[str, tuple[Parameters, About]],
) -> Floats:
    """(2,) worst differences, km and km/s, of the segments of a message from flights that start at their first states.

    Raises ReadBackDiffers where the impulse between them, or a parameter message, is not that of the row.
    """
    name = f"{stem}.oem"
    before = [each for each in segments if each.stretch.epochs_tdb_s[0] < burn_s(row)]
    worst = np.zeros(2)
    for part in (before, segments[len(before) :]):
        if part:
            worst = np.maximum(worst, flown_off(name, part, *where))
    same_impulse(name, row, before, segments[len(before) :], where)
    for which, (message, first) in messages.items():
        same_message(f"{stem}_{which}.opm", message, first, row)
    return worst


def flown_off(
    name: str, segments: list[About], body: Mass, field: PlanetField, ephemeris: Ephemeris
) -> Floats:
    """(2,) how far segments are, between their nodes, from a flight that starts at the first state of the first."""
    first = segments[0].stretch
    start = about_planet(
        segments[0].center,
        first.epochs_tdb_s[:1],
        first.states[:1],
        body=body,
        field=field,
        ephemeris=ephemeris,
    )[0]
    fly = followed(start, float(first.epochs_tdb_s[0]), field)
    between = [0.5 * (each.stretch.epochs_tdb_s[1:] + each.stretch.epochs_tdb_s[:-1]) for each in segments]
    truth, worst, begin = fly(np.concatenate(between)), np.zeros(2), 0
    for each, epochs in zip(segments, between, strict=True):
        said = _between(each.stretch, epochs)
        said = about_planet(each.center, epochs, said, body=body, field=field, ephemeris=ephemeris)
        flown = truth[begin : begin + len(epochs)]
        begin += len(epochs)
        worst = np.maximum(worst, [_most(said[:, :3] - flown[:, :3]), _most(said[:, 3:] - flown[:, 3:])])
    if worst[0] > READ_BACK_KM:
        raise ReadBackDiffers(f"{name}: {1e3 * worst[0]:.3g} m from a flight from its first state")
    return worst


def same_impulse(
    name: str,
    row: dict[str, Any],
    before: list[About],
    after: list[About],
    where: tuple[Mass, PlanetField, Ephemeris],
) -> None:
    """The last state before the burn and the first after it differ by the burn of the table."""
    if not before:
        return
    body, field, ephemeris = where
    ends = []
    for each, k in ((before[-1], -1), (after[0], 0)):
        at = each.stretch.epochs_tdb_s[[k]], each.stretch.states[[k]]
        ends.append(about_planet(each.center, *at, body=body, field=field, ephemeris=ephemeris)[0])
    step = ends[1] - ends[0]
    off_km_s = float(np.abs(step[3:] - burn_km_s(row)).max())
    if float(np.abs(step[:3]).max()) > READ_BACK_KM or off_km_s > 1e-9:
        raise ReadBackDiffers(f"{name}: its burn is {1e3 * off_km_s:.3g} m/s from the table's")


def same_message(name: str, message: Parameters, first: About, row: dict[str, Any]) -> None:
    """A parameter message says the first state of its segment, and the burn of the table where it is to come."""
    stretch = first.stretch
    off = np.abs(message.state - stretch.states[0])
    if abs(message.epoch_tdb_s - stretch.epochs_tdb_s[0]) > _DATE_S or off[:3].max() > READ_BACK_KM:
        raise ReadBackDiffers(f"{name}: {1e3 * off[:3].max():.3g} m from the segment that begins there")
    burn = message.manoeuvre
    if (burn is None) != (message.epoch_tdb_s > release_s(row) + _DATE_S or release_s(row) == burn_s(row)):
        raise ReadBackDiffers(f"{name}: the burn belongs into the message at release, and only there")
    if burn is not None:
        late_s = burn.ignition_tdb_s - burn_s(row)
        if np.abs(burn.dv_km_s - burn_km_s(row)).max() > _KM_S or not -burn.duration_s < late_s < 0.0:
            raise ReadBackDiffers(f"{name}: the burn read back is another one")


def _spk_off(
    spk: Path, probe: int, segments: list[About], where: tuple[Mass, PlanetField, Ephemeris]
) -> Floats:
    """(2,) how far the SPK is from the message between nodes, about the Sun: planet and moon of the SPK are in it."""
    (body, field, ephemeris), worst = where, np.zeros(2)
    for k, each in enumerate(segments):
        epochs = 0.5 * (each.stretch.epochs_tdb_s[1:] + each.stretch.epochs_tdb_s[:-1])
        said = _between(each.stretch, epochs)
        said = about_planet(each.center, epochs, said, body=body, field=field, ephemeris=ephemeris)
        said = said + ephemeris.about_sun(planet_of(body), epochs)
        off = states_of(spk, probe_id(probe), epochs, piece=k) - said
        worst = np.maximum(worst, [_most(off[:, :3]), _most(off[:, 3:])])
    return worst


def _between(stretch: Stretch, epochs: Floats) -> Floats:
    return interpolated(stretch.epochs_tdb_s, stretch.states, epochs, method=HERMITE, degree=DEGREE)


def _lowest_km(segments: list[About], body: Mass, met_tdb_s: float) -> float:
    """Height over the ellipsoid at the date of the pass, as the message has it; NaN where no segment holds it."""
    at = np.array([met_tdb_s])
    for each in segments:
        epochs = each.stretch.epochs_tdb_s
        if each.center == body.name.upper() and epochs[0] <= met_tdb_s <= epochs[-1]:
            return float(place_over_ground(body, _between(each.stretch, at)[:, :3], at)[0][0])
    return float("nan")


def _most(differences: Floats) -> float:
    return float(np.linalg.norm(differences, axis=1).max(initial=0.0))


def read_segments(file: Path) -> list[About]:
    """Center and nodes of every segment of a message of this package."""
    found: list[About] = []
    center = ""
    epochs: list[float] = []
    rows: list[list[float]] = []
    for line in [*file.read_text(encoding="ascii").splitlines(), "META_START"]:
        if line == "META_START" and rows:
            found.append(About(center, Stretch(np.array(epochs), np.array(rows))))
            epochs, rows = [], []
        key, given, value = line.partition(" = ")
        if key == "CENTER_NAME":
            center = value
        elif not given and line[:2] == "20" and "T" in line[:11]:
            date, *numbers = line.split()
            since = datetime.fromisoformat(date) - J2000
            epochs.append(since.days * 86_400.0 + since.seconds + 1e-6 * since.microseconds)
            rows.append([float(number) for number in numbers])
    return found
