"""Where bodies with mass are: about the Sun, and moons about their planet's centre."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from targets.base.errors import InputError
from targets.base.timescale import iso_of_tdb_s
from targets.ephemeris import spice
from targets.masses.galilean import ERROR_KM, MOONS, SOURCE, galilean_states
from targets.masses.massive import SUN, Mass, mass_named, moons_of, planet_of
from targets.masses.rotation import body_axes

Floats = NDArray[np.float64]

DE440 = "DE440"
CIRCLE = "circle by the prime meridian of the IAU report 2015: approximate"
_IN_DE440 = {"Mercury": 199, "Venus": 299, "Earth": 399, "Moon": 301}
_SLOPE_S = 30.0


@dataclass(frozen=True)
class Whereabouts:
    """What a body's place rests on; `approximate` where it moves the date and place of a pass."""

    ephemeris: str
    error_km: float
    approximate: bool


class Ephemeris:
    """The places of bodies with mass; a study's own SPK files come first, the first that holds a body."""

    def __init__(self, files: Sequence[Path] = ()) -> None:
        self._files = tuple(files)
        self._held = {file: spice.bodies_of(file) for file in self._files}

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Ephemeris) and self._files == other._files

    def __hash__(self) -> int:
        return hash(self._files)

    def whereabouts(self, body: Mass) -> Whereabouts:
        """Return where the place of a body comes from, and how far off it may be."""
        file = self._file_of(body)
        if file is not None:
            return Whereabouts(file.name, 0.0, False)
        if body.name in _IN_DE440:
            return Whereabouts(DE440, 0.1, False)
        if body.parent == SUN:
            unknown = {"Uranus": 60.0, "Neptune": 80.0, "Mars": 0.01}
            error = unknown.get(body.name, self._share_error_km(body))
            return Whereabouts(f"{DE440}, the system's centre of mass less its moons' share", error, False)
        if body.name in MOONS:
            return Whereabouts(SOURCE, ERROR_KM, False)
        # a circle is off by twice the eccentricity along the orbit
        error = 2.0 * body.eccentricity * body.distance_km + 500.0
        return Whereabouts(CIRCLE, error, True)

    def _share_error_km(self, planet: Mass) -> float:
        return max(
            (
                moon.gm_km3_s2 / planet.gm_km3_s2 * self.whereabouts(moon).error_km
                for moon in moons_of(planet)
            ),
            default=0.1,
        )

    def about_planet(self, moon: Mass, tdb_s: Floats) -> Floats:
        """States (n, 6) of a moon about its planet's centre, ICRF."""
        planet = mass_named(moon.parent)
        file = self._file_of(moon)
        if file is not None:
            return self._read(file, moon, tdb_s) - self.about_sun(planet, tdb_s)
        if moon.name in _IN_DE440:
            return spice.sample(_IN_DE440[moon.name], tdb_s, center=_IN_DE440[planet.name])
        if moon.name in MOONS:
            return galilean_states(tdb_s)[MOONS.index(moon.name)]
        return _on_circle(moon, tdb_s)

    def moons_about_planet(self, planet: Mass, tdb_s: Floats) -> dict[str, Floats]:
        """States of all moons of a planet at once: the series gives four for the price of one."""
        moons = moons_of(planet)
        if planet.name == "Jupiter" and not any(self._file_of(moon) for moon in moons):
            return dict(zip(MOONS, galilean_states(tdb_s), strict=True))
        return {moon.name: self.about_planet(moon, tdb_s) for moon in moons}

    def about_sun(self, body: Mass, tdb_s: Floats) -> Floats:
        """Heliocentric states (n, 6) of the centre of a body, ICRF."""
        file = self._file_of(body)
        if file is not None:
            return self._read(file, body, tdb_s)
        if body.name in _IN_DE440:
            return spice.sample(_IN_DE440[body.name], tdb_s)
        planet = planet_of(body)
        centre = self._centre_of(planet, tdb_s)
        return centre if body is planet else centre + self.about_planet(body, tdb_s)

    def _centre_of(self, planet: Mass, tdb_s: Floats) -> Floats:
        """A planet's centre from its system's: less the moons' share, which a file's moons give before the series."""
        system = spice.sample(planet.number // 100, tdb_s)
        own = [moon for moon in moons_of(planet) if self._file_of(moon) is not None]
        if own:
            # the file places moons about the Sun; the share follows from the system's centre and their distances
            return self._centre_from_files(planet, own, system, tdb_s)
        moons = self.moons_about_planet(planet, tdb_s)
        total = planet.gm_km3_s2 + sum(mass_named(name).gm_km3_s2 for name in moons)
        share = sum(mass_named(name).gm_km3_s2 / total * states for name, states in moons.items())
        return system - share

    def _centre_from_files(self, planet: Mass, own: list[Mass], system: Floats, tdb_s: Floats) -> Floats:
        given = {moon.name: self._read(self._file_of(moon), moon, tdb_s) for moon in own}
        others = {
            moon.name: self.about_planet(moon, tdb_s) for moon in moons_of(planet) if moon.name not in given
        }
        # M c + sum m (c + d) + sum m h = (M + sum m) s, for c: d about the planet, h about the Sun
        weight = planet.gm_km3_s2 + sum(mass_named(name).gm_km3_s2 for name in others)
        total = weight + sum(moon.gm_km3_s2 for moon in own)
        moment = total * system
        moment = moment - sum(mass_named(name).gm_km3_s2 * states for name, states in given.items())
        for name, states in others.items():
            moment = moment - mass_named(name).gm_km3_s2 * states
        return moment / weight

    def file_of(self, body: Mass) -> Path | None:
        """The study's own file that places a body; None where the product's ephemerides do."""
        return self._file_of(body)

    def _file_of(self, body: Mass) -> Path | None:
        return next((file for file in self._files if body.number in self._held[file]), None)

    def _read(self, file: Path | None, body: Mass, tdb_s: Floats) -> Floats:
        assert file is not None
        with spice.spk_body(file, body.number) as held:
            for window in held.windows:
                if tdb_s.min() >= window[0] - 1e-3 and tdb_s.max() <= window[1] + 1e-3:
                    return _over_pieces(held, tdb_s)
            spans = "; ".join(f"{iso_of_tdb_s(a)} to {iso_of_tdb_s(b)}" for a, b in held.windows)
        raise InputError(
            f"the file does not place {body.name} at all dates that are needed", file=file, place="massive.spk",
            found=spans, expected=f"{iso_of_tdb_s(float(tdb_s.min()))} to {iso_of_tdb_s(float(tdb_s.max()))}",
            do="give a file that covers them, or none: the built-in place of the body is then used",
        )  # fmt: skip


def _over_pieces(held: spice.SpkBody, tdb_s: Floats) -> Floats:
    states = np.empty((len(tdb_s), 6))
    done = np.zeros(len(tdb_s), dtype=bool)
    for piece in held.pieces:
        inside = ~done & (tdb_s >= piece[0] - 1e-3) & (tdb_s <= piece[1] + 1e-3)
        states[inside] = held.states(tdb_s[inside], piece)
        done |= inside
    return states


def _on_circle(moon: Mass, tdb_s: Floats) -> Floats:
    """A moon that keeps its prime meridian towards its planet, at its mean distance."""

    def place(t: Floats) -> Floats:
        return -moon.distance_km * body_axes(moon, t)[:, 0]

    velocity = (place(tdb_s + _SLOPE_S) - place(tdb_s - _SLOPE_S)) / (2.0 * _SLOPE_S)
    return np.hstack([place(tdb_s), velocity])
