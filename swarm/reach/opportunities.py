"""Which targets a probe can reach: catalogue and mothership in, opportunities out, nothing within reach lost.

Prepare (targets.motion.perturbed) -> bound (screen.reach_bound) -> sweep (approaches) -> minima of the burn.
The catalogue is cut into chunks of the size the study fixes; a chunk is one task.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from swarm.reach.found import Screening
from swarm.reach.mothership.path import table_of_legs
from swarm.reach.mothership.sources import Mothership, epochs_needed_tdb_s, mothership_of
from swarm.reach.nothing_in_reach import nothing_found
from swarm.reach.screen.approaches import MothershipLeg, find_approaches
from swarm.reach.screen.minima import (
    APPROACH,
    BURN,
    COLUMNS,
    ENCOUNTER_S,
    METHOD,
    MOTHERSHIP,
    REVOLUTIONS,
    SLOT,
    TARGET,
    TARGET_V,
    V_REL,
    ArcLimits,
    Minima,
    find_minima,
)
from swarm.reach.screen.on_device import worth_a_look
from swarm.reach.screen.prepared_cache import drop_oldest, fingerprint, load_or_prepare
from swarm.reach.screen.reach_bound import reach_bound
from swarm.reach.sweeps import of_studies, sweeps_of
from swarm.run.workers import Pool
from swarm.study.schema import Study
from targets.base.constants import AU_KM, DAY_S
from targets.base.errors import InputError, NothingFeasible
from targets.base.timescale import jd_from_tdb_s, tdb_s_from_jd
from targets.base.vectors import angle_deg, lengths
from targets.catalogue.reading import Catalogue
from targets.ephemeris.planets import EARTH, PlanetTable, sample_planets
from targets.motion.perturbed import Prepared, move_to_epoch, prepare

OnDone = Callable[[int, int], None]


@dataclass(frozen=True)
class _Shared:
    """What every chunk needs: the legs of all motherships and, by mothership, what their arcs may be."""

    legs: tuple[MothershipLeg, ...]
    limits: tuple[ArcLimits, ...]
    planets: PlanetTable
    span_tdb_s: tuple[float, float]
    step_s: float


@dataclass(frozen=True)
class _Chunk:
    """Some rows of the catalogue, (k,), in order, at their own epochs."""

    rows: np.ndarray
    epoch_tdb_s: np.ndarray
    states: np.ndarray


@dataclass(frozen=True)
class _LegFound:
    """A chunk's minima on one leg, the catalogue row of each, and what was left at each step."""

    minima: Minima
    body: np.ndarray
    bodies_near: np.ndarray
    approaches: int


@dataclass(frozen=True)
class _Found:
    """A chunk's answer, leg by leg; how it was prepared; the catalogue rows that could not be moved."""

    legs: tuple[_LegFound, ...]
    prepared: str
    unmovable: np.ndarray


def screen(
    study: Study, catalogue: Catalogue, *, pool: Pool, on_done: OnDone | None = None, gpu: bool = False
) -> Screening:
    """Every flyby of every body of the catalogue; the rest as for `screen_together`.

    Raises NothingFeasible, naming the limit, where no burn of the study reaches anything.
    """
    screening = screen_together((study,), catalogue, pool=pool, on_done=on_done, gpu=gpu)[0]
    if screening.opportunities.num_rows == 0:
        raise nothing_found(study, screening.counts)
    return screening


def read_mothership(study: Study) -> Mothership:
    """The mothership alone: what is wrong with it is said before anything is computed."""
    return mothership_of(study, _planets((study,), np.empty(0)))


def screen_together(
    studies: Sequence[Study],
    catalogue: Catalogue,
    *,
    pool: Pool,
    on_done: OnDone | None = None,
    gpu: bool = False,
) -> tuple[Screening, ...]:
    """Every opportunity of every body, for several studies and all their designs, in one pass over the catalogue.

    gpu : the population is filtered on one first (`screen.on_device`); the answer is the same

    Motherships and probes may differ; the dates, `search.step_days` and `search.chunk_bodies` must be the same.
    A study without opportunities has an empty table here: `nothing_found` says why.
    """
    _require_same_pass(studies)
    sweeps = sweeps_of(studies)
    return of_studies(
        sweeps, _swept(sweeps.studies, catalogue, pool=pool, on_done=on_done, gpu=gpu), catalogue
    )


def _swept(
    studies: Sequence[Study], catalogue: Catalogue, *, pool: Pool, on_done: OnDone | None, gpu: bool
) -> tuple[Screening, ...]:
    """The screens of studies of one design each."""
    first = studies[0]
    epochs, r_km, v_km_s = catalogue.states()
    planets = _planets(studies, epochs)
    motherships = [mothership_of(study, planets) for study in studies]
    shared = _Shared(
        legs=tuple(leg for k, study in enumerate(studies) for leg in _legs(k, study, motherships[k])),
        limits=tuple(_arc_limits(study) for study in studies),
        planets=planets,
        span_tdb_s=_span(first),
        step_s=first.search.step_days * DAY_S,
    )
    states = np.hstack([r_km, v_km_s])
    rows = np.arange(len(catalogue))
    if gpu:
        rows = np.flatnonzero(
            worth_a_look(
                epochs,
                states,
                shared.legs,
                planets,
                span_tdb_s=shared.span_tdb_s,
                step_s=shared.step_s,
            )
        )
    size = first.search.chunk_bodies
    cuts = [rows[k : k + size] for k in range(0, len(rows), size)]
    chunks = [_Chunk(cut, epochs[cut], states[cut]) for cut in cuts]
    # compile here, once, so that workers start from a full cache
    _screen_chunk(_Chunk(np.arange(1), epochs[:1], states[:1]), shared, keep=False)
    chunked = pool.map(_screen_chunk, chunks, shared=shared, on_done=on_done)
    drop_oldest()
    return tuple(
        _screening(k, study, catalogue, motherships[k], shared, chunked) for k, study in enumerate(studies)
    )


def _require_same_pass(studies: Sequence[Study]) -> None:
    first = studies[0]
    for study in studies[1:]:
        for section, key in (
            ("study", "start"),
            ("study", "end"),
            ("search", "step_days"),
            ("search", "chunk_bodies"),
        ):
            here, there = getattr(getattr(study, section), key), getattr(getattr(first, section), key)
            if here != there:
                raise InputError(
                    "motherships screened together share dates and steps",
                    place=f"{section}.{key}",
                    found=f"{here} in one study, {there} in another",
                )


def _span(study: Study) -> tuple[float, float]:
    return float(tdb_s_from_jd(study.study.start_jd_tdb)), float(tdb_s_from_jd(study.study.end_jd_tdb))


def _planets(studies: Sequence[Study], catalogue_epochs: np.ndarray) -> PlanetTable:
    needed = [t for study in studies for t in epochs_needed_tdb_s(study)]
    needed += [
        float(t) for t in (catalogue_epochs.min(initial=np.inf), catalogue_epochs.max(initial=-np.inf))
    ]
    finite = [t for t in needed if np.isfinite(t)]
    return sample_planets(min(finite), max(finite) + 2.0 * DAY_S)


def _arc_limits(study: Study) -> ArcLimits:
    return ArcLimits(
        burn_limit_km_s=study.probe.burn_limit_m_s / 1000.0,
        arc_min_s=study.search.arc_min_days * DAY_S,
        arc_max_s=study.search.arc_max_days * DAY_S,
        revolutions_max=study.search.revolutions_max,
        both_directions=study.search.both_directions,
    )


def burn_slots(study: Study) -> np.ndarray:
    """(s,) TDB seconds of the burns: a release every slot, then the check-out, with room for the shortest arc."""
    search = study.search
    span_days = study.study.end_jd_tdb - study.study.start_jd_tdb
    room = span_days - study.probe.checkout_days - search.arc_min_days
    releases = np.arange(0.0, max(room, 0.0) + 1e-9, search.slot_days) if room >= 0.0 else np.empty(0)
    return tdb_s_from_jd(study.study.start_jd_tdb) + (releases + study.probe.checkout_days) * DAY_S


def _legs(number: int, study: Study, ship: Mothership) -> tuple[MothershipLeg, ...]:
    """The mothership's legs with the slots whose release, burn and shortest arc lie within them."""
    burns, limits = burn_slots(study), _arc_limits(study)
    checkout_s = study.probe.checkout_days * DAY_S
    legs = []
    for path in ship.legs:
        # dates of a leg come from files: half a second of rounding is no reason to lose a slot
        first, last = path.epochs_tdb_s[0] - 0.5, min(path.epochs_tdb_s[-1], _span(study)[1]) + 0.5
        slots = np.flatnonzero((burns - checkout_s >= first) & (burns + limits.arc_min_s <= last))
        if len(slots):
            bound = reach_bound(
                path,
                burns[slots],
                burn_limit_km_s=limits.burn_limit_km_s,
                arc_min_s=limits.arc_min_s,
                arc_max_s=limits.arc_max_s,
            )
            legs.append(MothershipLeg(number, path, bound, slots))
    if not legs:
        raise NothingFeasible(
            "no release leaves time for an arc",
            limit="the mothership's legs, or study.end - study.start, are shorter than probe.checkout_days + "
            "search.arc_min_days",
        )
    return tuple(legs)


def _screen_chunk(chunk: _Chunk, shared: _Shared, *, keep: bool = True) -> _Found:
    """One task: a chunk of bodies from their epochs to opportunities."""
    start, end = shared.span_tdb_s

    def build() -> Prepared:
        at_start = move_to_epoch(
            chunk.epoch_tdb_s, chunk.states, start, planets=shared.planets, step_s=shared.step_s
        )
        return prepare(
            at_start, start_tdb_s=start, end_tdb_s=end, planets=shared.planets, step_s=shared.step_s
        )

    if keep:
        key = fingerprint(
            chunk.epoch_tdb_s,
            chunk.states,
            shared.planets,
            span_tdb_s=shared.span_tdb_s,
            step_s=shared.step_s,
        )
        prepared, had = load_or_prepare(key, build)
    else:
        prepared, had = build(), "made"
    by_leg = []
    for leg, approaches in zip(shared.legs, find_approaches(prepared, shared.legs), strict=True):
        minima = find_minima(
            prepared, approaches, leg, limits=shared.limits[leg.mothership], planets=shared.planets
        )
        body = chunk.rows[approaches.body[minima.rows[:, APPROACH].astype(np.int64)]]
        near = chunk.rows[np.unique(approaches.body)]
        by_leg.append(_LegFound(minima, body, near, len(approaches.body)))
    lost = np.flatnonzero(~np.isfinite(prepared.states).all(axis=(0, 2)))
    return _Found(tuple(by_leg), had, chunk.rows[lost])


def _screening(
    number: int, study: Study, catalogue: Catalogue, ship: Mothership, shared: _Shared, chunked: list[_Found]
) -> Screening:
    """One study's part of what the chunks found."""
    mine = [k for k, leg in enumerate(shared.legs) if leg.mothership == number]
    parts = [(shared.legs[k], part.legs[k]) for k in mine for part in chunked]
    counts = _counts(catalogue, parts, chunked)
    rows = np.concatenate([part.minima.rows for _, part in parts] or [np.empty((0, COLUMNS))])
    body = np.concatenate([part.body for _, part in parts] or [np.empty(0, dtype=np.int64)])
    slot = np.concatenate(
        [leg.slots[part.minima.rows[:, SLOT].astype(np.int64)] for leg, part in parts] or [body]
    )
    columns = _columns(rows, body, slot, study=study, ship=ship, planets=shared.planets)
    keep = _not_dominated(columns)
    columns = {name: values[keep] for name, values in columns.items()}
    reached, target_index = np.unique(columns.pop("body"), return_inverse=True)
    targets = catalogue.take(reached)
    counts |= {"targets": len(targets), "opportunities": int(keep.sum())}
    return Screening(
        _table(columns, targets, target_index),
        targets,
        table_of_legs(ship.legs),
        counts,
        ship.flybys,
        _notes(ship, chunked),
    )


def _notes(ship: Mothership, chunked: list[_Found]) -> tuple[str, ...]:
    remade = sum(part.prepared == "remade" for part in chunked)
    said = (f"{remade} parts of the prepared catalogue in the cache were damaged and were made again",)
    return ship.notes + (said if remade else ())


def _counts(
    catalogue: Catalogue, parts: list[tuple[MothershipLeg, _LegFound]], chunked: list[_Found]
) -> dict[str, float]:
    near = np.concatenate([part.bodies_near for _, part in parts] or [np.empty(0)])
    slots = {int(slot) for leg, _ in parts for slot in leg.slots}
    return {
        "bodies": len(catalogue),
        "not_movable": int(sum(len(part.unmovable) for part in chunked)),
        "release_slots": len(slots),
        "bodies_within_reach_bound": len(np.unique(near)),
        "approaches": int(sum(part.approaches for _, part in parts)),
        "minima_within_burn_limit": int(sum(len(part.minima.rows) for _, part in parts)),
        "least_burn_m_s": float(
            min((part.minima.least_burn_km_s for _, part in parts), default=np.inf) * 1000.0
        ),
    }


def _seen_from_earth_deg(ship: Mothership, tdb_s: np.ndarray, planets: PlanetTable) -> np.ndarray:
    """Sun-Earth-probe angle while the probe still rides the mothership's path."""
    epochs, where = np.unique(tdb_s, return_inverse=True)
    earth_km = planets.state(EARTH, epochs)[:, :3]
    position_km = np.empty_like(earth_km)
    for path in ship.legs:
        on_leg = (epochs >= path.epochs_tdb_s[0] - 1.0) & (epochs <= path.epochs_tdb_s[-1] + 1.0)
        position_km[on_leg] = path.at(epochs[on_leg])[:, :3]
    return angle_deg(-earth_km, position_km - earth_km)[where]


def _columns(
    rows: np.ndarray,
    body: np.ndarray,
    slot: np.ndarray,
    *,
    study: Study,
    ship: Mothership,
    planets: PlanetTable,
) -> dict[str, np.ndarray]:
    """Geometry of every minimum, in order of body, release slot, encounter."""
    order = np.lexsort((rows[:, ENCOUNTER_S], slot, body))
    rows, body, slot = rows[order], body[order], slot[order]
    burn_s, encounter_s = burn_slots(study)[slot], rows[:, ENCOUNTER_S]
    release_s = burn_s - study.probe.checkout_days * DAY_S
    burn_m_s = rows[:, BURN : BURN + 3] * 1000.0
    v_rel, target_km, mothership_km, target_v = (
        rows[:, c : c + 3] for c in (V_REL, TARGET, MOTHERSHIP, TARGET_V)
    )
    earth_km = planets.state(EARTH, encounter_s)[:, :3]
    from_earth = target_km - earth_km
    return {
        "body": body,
        "slot": slot,
        "release_jd_tdb": jd_from_tdb_s(release_s),
        "burn_jd_tdb": jd_from_tdb_s(burn_s),
        "encounter_jd_tdb": jd_from_tdb_s(encounter_s),
        "burn_tdb_s": burn_s,
        "encounter_tdb_s": encounter_s,
        "burn_m_s": lengths(burn_m_s),
        **_vector("burn_", burn_m_s, "_m_s"),
        "v_rel_km_s": lengths(v_rel),
        **_vector("v_rel_", v_rel, "_km_s"),
        # the probe comes from -v_rel, the Sun stands at -target: the two signs cancel
        "phase_in_deg": angle_deg(target_km, v_rel),
        "sun_range_au": lengths(target_km) / AU_KM,
        "earth_range_au": lengths(from_earth) / AU_KM,
        "sun_earth_probe_deg": angle_deg(-earth_km, from_earth),
        "sun_earth_probe_release_deg": _seen_from_earth_deg(ship, release_s, planets),
        "sun_earth_probe_burn_deg": _seen_from_earth_deg(ship, burn_s, planets),
        "mothership_range_km": lengths(target_km - mothership_km),
        **_vector("target_", target_km, "_km"),
        **_vector("target_v", target_v, "_km_s"),
        "revolutions": rows[:, REVOLUTIONS].astype(np.int64),
        "shot": rows[:, METHOD].astype(np.int64),
    }


def _vector(stem: str, vectors: np.ndarray, suffix: str) -> dict[str, np.ndarray]:
    """Three columns of (n, 3) vectors."""
    return {f"{stem}{axis}{suffix}": vectors[:, k] for k, axis in enumerate("xyz")}


def _not_dominated(columns: dict[str, np.ndarray]) -> np.ndarray:
    """Mask of minima that no other of the same body and slot matches or beats.

    Compared: burn, relative speed, approach phase, distance from Earth (the link), and the
    Sun-Earth-probe angle, of which more is better.
    """
    body, slot = columns["body"], columns["slot"]
    scores = np.stack(
        [columns["burn_m_s"], columns["v_rel_km_s"], columns["phase_in_deg"], columns["earth_range_au"],
         -columns["sun_earth_probe_deg"]], axis=1,
    )  # fmt: skip
    keep = np.ones(len(body), dtype=bool)
    if not len(body):
        return keep
    starts = np.flatnonzero(np.concatenate([[True], (body[1:] != body[:-1]) | (slot[1:] != slot[:-1])]))
    ends = np.append(starts[1:], len(body))
    for a, b in zip(starts[ends - starts > 1], ends[ends - starts > 1], strict=True):
        group = scores[a:b]
        no_worse = (group[:, None, :] <= group[None, :, :]).all(axis=2)
        better = (group[:, None, :] < group[None, :, :]).any(axis=2)
        keep[a:b] = ~(no_worse & better).any(axis=0)
    return keep


def _table(columns: dict[str, np.ndarray], targets: Catalogue, target_index: np.ndarray) -> pa.Table:
    """The opportunities as the contract names them."""
    count = len(target_index)
    fields: dict[str, object] = {
        "opportunity": np.arange(count),
        "target": pa.array(targets.target[target_index].tolist(), pa.string()),
        "target_index": target_index.astype(np.int64),
        "kind": pa.array(["flyby"] * count, pa.string()),
    }
    return pa.table(fields | columns)
