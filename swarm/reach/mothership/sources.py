"""Where the mothership is, when: one door for every way a study may say it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path as FilePath

import numpy as np

from swarm.reach.mothership.burned import FlownBurn, burned_legs
from swarm.reach.mothership.flybys import Flyby, planet_named
from swarm.reach.mothership.followed import follow, states_within
from swarm.reach.mothership.from_elements import path_from_elements, state_at_epoch
from swarm.reach.mothership.from_legs import LegRules, paths_from_legs
from swarm.reach.mothership.from_oem import read_oem
from swarm.reach.mothership.from_spk import spk_pieces
from swarm.reach.mothership.path import Path
from swarm.study.schema import Study
from targets.base.constants import DAY_S
from targets.base.errors import InputError
from targets.base.timescale import tdb_s_from_jd
from targets.ephemeris.planets import PlanetTable

_ELEMENTS = ("a_au", "e", "i_deg", "node_deg", "argp_deg", "mean_anomaly_deg")


@dataclass(frozen=True, eq=False)
class Mothership:
    """The mothership's unburned path.

    legs          : ballistic stretches in order of time; an arc of a probe never leaves its leg
    flybys        : passages of planets between legs
    notes         : sentences about flybys, manoeuvres and rules applied
    source_sha256 : of the file it was read from, None where the study itself gives it
    burns         : its own impulses, those included that lead back
    """

    legs: tuple[Path, ...]
    flybys: tuple[Flyby, ...] = ()
    notes: tuple[str, ...] = ()
    source_sha256: str | None = None
    burns: tuple[FlownBurn, ...] = ()


def mothership_of(study: Study, planets: PlanetTable) -> Mothership:
    """The mothership over [study.start, study.end].

    `planets` covers the epochs of `epochs_needed_tdb_s`. Raises InputError naming file, line, segment or key.
    """
    ship = _BY_KIND[study.mothership.kind](study, planets)
    if not study.mothership.burns:
        return ship
    made = burned_legs(ship.legs, study.mothership.burns, planets, ship.flybys)
    said = {old.sentence(): new.sentence() for old, new in zip(ship.flybys, made.flybys, strict=True)}
    notes = tuple(said.get(note, note) for note in ship.notes)
    return replace(
        ship,
        legs=made.legs,
        flybys=made.flybys,
        burns=made.burns,
        notes=notes + tuple(burn.sentence() for burn in made.burns),
    )


def epochs_needed_tdb_s(study: Study) -> tuple[float, ...]:
    """Epochs that the table of planets must cover for the mothership."""
    start, end = _span(study)
    if study.mothership.kind == "elements":
        return start, end, float(tdb_s_from_jd(_given(study, "epoch")))
    return start, end


def _span(study: Study) -> tuple[float, float]:
    return float(tdb_s_from_jd(study.study.start_jd_tdb)), float(tdb_s_from_jd(study.study.end_jd_tdb))


def _given(study: Study, key: str) -> float:
    """A mothership key that its kind needs; the study file's reader has made sure of it."""
    value = getattr(study.mothership, key)
    if value is None:
        raise InputError("a value is missing", place=f"mothership.{key}", expected="a value")
    return float(value)


def _file(study: Study) -> FilePath:
    if study.mothership.file is None:
        raise InputError("a value is missing", place="mothership.file", expected="a path from the study file")
    return study.base / study.mothership.file


def _from_elements(study: Study, planets: PlanetTable) -> Mothership:
    if study.mothership.center is not None:
        said = f"the mothership stays at {study.mothership.center}: no arc of a probe about the Sun leaves from it"
        return Mothership((), (), (said,))
    start, end = _span(study)
    path = path_from_elements(
        state_at_epoch(**{name: _given(study, name) for name in _ELEMENTS}),
        float(tdb_s_from_jd(_given(study, "epoch"))),
        start_tdb_s=start,
        end_tdb_s=end,
        motion=study.mothership.motion,
        planets=planets,
    )
    return Mothership((path,))


def _from_legs(study: Study, planets: PlanetTable) -> Mothership:
    start, end = _span(study)
    ship = study.mothership
    rules = LegRules(ship.flyby_clear_days * DAY_S, ship.flyby_altitude_min_km, ship.flyby_mismatch_max_m_s)
    return Mothership(*paths_from_legs(ship.legs, start_tdb_s=start, end_tdb_s=end, rules=rules))


def _from_oem(study: Study, planets: PlanetTable) -> Mothership:
    start, end = _span(study)
    file = _file(study)
    message = read_oem(file)
    legs, flybys, notes = follow(
        message.pieces(),
        start_tdb_s=start,
        end_tdb_s=end,
        planets=planets,
        altitude_min_km=study.mothership.flyby_altitude_min_km,
        file=file,
        may_stay=bool(study.approach),
    )
    return Mothership(legs, flybys, message.notes + notes, message.source_sha256)


def _from_spk(study: Study, planets: PlanetTable) -> Mothership:
    start, end = _span(study)
    file = _file(study)
    with spk_pieces(file, int(_given(study, "spk_id"))) as pieces:
        legs, flybys, notes = follow(
            pieces,
            start_tdb_s=start,
            end_tdb_s=end,
            planets=planets,
            altitude_min_km=study.mothership.flyby_altitude_min_km,
            file=file,
            may_stay=bool(study.approach),
        )
    return Mothership(legs, flybys, notes, hashlib.sha256(file.read_bytes()).hexdigest())


@contextmanager
def states_of(study: Study, planets: PlanetTable) -> Iterator[Callable[[np.ndarray], np.ndarray]]:
    """The mothership's heliocentric states at any epochs of the study, inside spheres of influence, too.

    Of two-body legs, which meet planets at their centres, those of the legs; the later one where two meet.
    """
    start, end = _span(study)
    kind = study.mothership.kind
    if kind == "oem":
        yield states_within(
            read_oem(_file(study)).pieces(), start_tdb_s=start, end_tdb_s=end, file=_file(study)
        )
    elif kind == "spk":
        with spk_pieces(_file(study), int(_given(study, "spk_id"))) as pieces:
            yield states_within(pieces, start_tdb_s=start, end_tdb_s=end, file=_file(study))
    else:
        legs = mothership_of(study, planets).legs
        starts = np.array([leg.start_tdb_s for leg in legs[1:]])

        def at(epochs: np.ndarray) -> np.ndarray:
            which = np.searchsorted(starts, epochs, side="right")
            states = np.empty((len(epochs), 6))
            for k in np.unique(which):
                states[which == k] = legs[k].at(epochs[which == k])
            return states

        yield at


def meetings_of(study: Study, planets: PlanetTable) -> list[tuple[str, float, np.ndarray]]:
    """(planet, epoch, (6,) heliocentric state at the end) of each two-body leg; none where a path is given."""
    ship = study.mothership
    if ship.kind != "legs":
        return []
    legs = mothership_of(study, planets).legs
    end = _span(study)[1]
    found = []
    for met in ship.legs[1:]:
        epoch = float(tdb_s_from_jd(met.date))
        before = [leg for leg in legs if leg.start_tdb_s < epoch - DAY_S]
        if before and epoch <= end + 0.5:
            found.append((planet_named(met.body).name, epoch, before[-1].at(epoch)[0]))
    return found


_BY_KIND = {"elements": _from_elements, "legs": _from_legs, "oem": _from_oem, "spk": _from_spk}
