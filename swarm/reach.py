"""Which targets a probe can reach: catalogue and carrier in, opportunities out, nothing within reach lost.

Prepare (targets.motion) -> bound (swarm.screening.bound) -> sweep (approaches) -> minima of the burn.
The catalogue is cut into chunks of the size the study fixes; a chunk is one task.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from swarm.mothership.elements import path_from_elements, state_at_epoch
from swarm.mothership.path import Path
from swarm.parallel import Pool
from swarm.screening.approaches import find_approaches
from swarm.screening.bound import ReachBound, reach_bound
from swarm.screening.minima import ArcLimits, Minima, find_minima
from swarm.study import Study
from targets.catalogue import Catalogue
from targets.constants import AU_KM, DAY_S
from targets.errors import InputError, NothingFeasible
from targets.motion import move_to_epoch, prepare
from targets.planets import EARTH, PlanetTable, sample_planets
from targets.timescale import jd_from_tdb_s, tdb_s_from_jd

OnDone = Callable[[int, int], None]


@dataclass(frozen=True)
class Screening:
    """What the screen found.

    opportunities : table, one row an opportunity (columns of the contract and a few more)
    targets       : the bodies that have one, in catalogue order; `target_index` of a row points here
    path          : table of the carrier's unburned path
    counts        : how many bodies, approaches and minima were left after each step
    """

    opportunities: pa.Table
    targets: Catalogue
    path: pa.Table
    counts: dict[str, float]


@dataclass(frozen=True)
class _Shared:
    """What every chunk needs."""

    path: Path
    bound: ReachBound
    limits: ArcLimits
    planets: PlanetTable
    start_tdb_s: float
    end_tdb_s: float
    checkout_s: float
    step_s: float


@dataclass(frozen=True)
class _Chunk:
    """Bodies first, first + 1, ... of the catalogue at their own epochs."""

    first: int
    epoch_tdb_s: np.ndarray
    states: np.ndarray


@dataclass(frozen=True)
class _Found:
    """A chunk's minima with the catalogue row of each, and what was left at each step."""

    minima: Minima
    body: np.ndarray
    bodies_near: int
    approaches: int
    unmovable: np.ndarray


def screen(study: Study, catalogue: Catalogue, *, pool: Pool, on_done: OnDone | None = None) -> Screening:
    """Every opportunity of every body of the catalogue.

    Raises NothingFeasible, naming the limit, where no burn of the study reaches anything.
    """
    epochs, r_km, v_km_s = catalogue.states()
    shared = _shared(study, epochs)
    states = np.hstack([r_km, v_km_s])
    size = study.search.chunk_bodies
    chunks = [_Chunk(k, epochs[k : k + size], states[k : k + size]) for k in range(0, len(catalogue), size)]
    # compile here, once, so that workers start from a full cache
    _screen_chunk(_Chunk(0, epochs[:1], states[:1]), shared)
    found = pool.map(_screen_chunk, chunks, shared=shared, on_done=on_done)
    counts = _counts(study, catalogue, shared, found)
    rows = np.concatenate([part.minima.rows for part in found])
    body = np.concatenate([part.body for part in found])
    if not len(rows):
        raise _nothing(study, counts)
    columns = _columns(rows, body, shared)
    keep = _not_dominated(columns)
    columns = {name: values[keep] for name, values in columns.items()}
    reached, target_index = np.unique(columns.pop("body"), return_inverse=True)
    targets = catalogue.take(reached)
    counts |= {"targets": len(targets), "opportunities": int(keep.sum())}
    table = _table(columns, targets, target_index)
    return Screening(table, targets, _path_table(shared.path), counts)


def carrier_path(study: Study, planets: PlanetTable) -> Path:
    """The carrier's unburned path over the study."""
    ship = study.mothership
    start, end = (float(tdb_s_from_jd(jd)) for jd in (study.study.start_jd_tdb, study.study.end_jd_tdb))
    names = ("a_au", "e", "i_deg", "node_deg", "argp_deg", "mean_anomaly_deg")
    state = state_at_epoch(**{name: _given(study, name) for name in names})
    epoch = float(tdb_s_from_jd(_given(study, "epoch")))
    return path_from_elements(
        state, epoch, start_tdb_s=start, end_tdb_s=end, motion=ship.motion, planets=planets
    )


def _given(study: Study, key: str) -> float:
    """A mothership key that its kind needs; the study file's reader has made sure of it."""
    value = getattr(study.mothership, key)
    if value is None:
        raise InputError("a value is missing", place=f"mothership.{key}", expected="a number")
    return float(value)


def burn_slots(study: Study) -> np.ndarray:
    """(s,) TDB seconds of the burns: a release every slot, then the check-out, with room for the shortest arc."""
    search = study.search
    span_days = study.study.end_jd_tdb - study.study.start_jd_tdb
    room = span_days - study.probe.checkout_days - search.arc_min_days
    releases = np.arange(0.0, max(room, 0.0) + 1e-9, search.slot_days) if room >= 0.0 else np.empty(0)
    return tdb_s_from_jd(study.study.start_jd_tdb) + (releases + study.probe.checkout_days) * DAY_S


def _shared(study: Study, catalogue_epochs: np.ndarray) -> _Shared:
    start, end = (float(tdb_s_from_jd(jd)) for jd in (study.study.start_jd_tdb, study.study.end_jd_tdb))
    others = [float(tdb_s_from_jd(_given(study, "epoch"))), *catalogue_epochs]
    planets = sample_planets(min(start, *others), max(end, *others) + 2.0 * DAY_S)
    path = carrier_path(study, planets)
    limits = ArcLimits(
        burn_limit_km_s=study.probe.burn_limit_m_s / 1000.0,
        arc_min_s=study.search.arc_min_days * DAY_S,
        arc_max_s=study.search.arc_max_days * DAY_S,
        revolutions_max=study.search.revolutions_max,
        both_directions=study.search.both_directions,
    )
    burns = burn_slots(study)
    if not len(burns):
        raise NothingFeasible(
            "no release leaves time for an arc",
            limit="study.end - study.start is shorter than probe.checkout_days + search.arc_min_days",
        )
    bound = reach_bound(
        path,
        burns,
        burn_limit_km_s=limits.burn_limit_km_s,
        arc_min_s=limits.arc_min_s,
        arc_max_s=limits.arc_max_s,
    )
    return _Shared(
        path,
        bound,
        limits,
        planets,
        start,
        end,
        study.probe.checkout_days * DAY_S,
        study.search.step_days * DAY_S,
    )


def _screen_chunk(chunk: _Chunk, shared: _Shared) -> _Found:
    """One task: a chunk of bodies from their epochs to opportunities."""
    at_start = move_to_epoch(
        chunk.epoch_tdb_s, chunk.states, shared.start_tdb_s, planets=shared.planets, step_s=shared.step_s
    )
    prepared = prepare(
        at_start,
        start_tdb_s=shared.start_tdb_s,
        end_tdb_s=shared.end_tdb_s,
        planets=shared.planets,
        step_s=shared.step_s,
    )
    approaches = find_approaches(prepared, shared.path, shared.bound)
    minima = find_minima(
        prepared, approaches, shared.path, shared.bound, limits=shared.limits, planets=shared.planets
    )
    body = chunk.first + approaches.body[minima.rows[:, 0].astype(np.int64)]
    lost = np.flatnonzero(~np.isfinite(prepared.states).all(axis=(0, 2)))
    return _Found(minima, body, len(np.unique(approaches.body)), len(approaches.body), chunk.first + lost)


def _counts(study: Study, catalogue: Catalogue, shared: _Shared, found: list[_Found]) -> dict[str, float]:
    return {
        "bodies": len(catalogue),
        "not_movable": int(sum(len(part.unmovable) for part in found)),
        "release_slots": len(shared.bound.burn_tdb_s),
        "bodies_within_reach_bound": int(sum(part.bodies_near for part in found)),
        "approaches": int(sum(part.approaches for part in found)),
        "minima_within_burn_limit": int(sum(len(part.minima.rows) for part in found)),
        "least_burn_m_s": float(
            min((part.minima.least_burn_km_s for part in found), default=np.inf) * 1000.0
        ),
    }


def _nothing(study: Study, counts: dict[str, float]) -> NothingFeasible:
    limit_m_s = study.probe.burn_limit_m_s
    if counts["bodies"] == 0:
        return NothingFeasible("the catalogue holds no body", limit="catalogue")
    if counts["bodies_within_reach_bound"] == 0:
        what = f"none of {counts['bodies']} bodies ever comes within the reach of a probe"
        return NothingFeasible(
            what,
            limit=f"probe.burn_limit_m_s = {limit_m_s:g} with search.arc_max_days = {study.search.arc_max_days:g}",
        )
    if not np.isfinite(counts["least_burn_m_s"]):
        return NothingFeasible(
            "bodies come near, but no allowed arc leads to one",
            limit=f"search: arcs of {study.search.arc_min_days:g} to {study.search.arc_max_days:g} days, "
            f"revolutions_max = {study.search.revolutions_max}",
        )
    return NothingFeasible(
        f"{counts['bodies_within_reach_bound']} bodies come near; the smallest burn seen is "
        f"{counts['least_burn_m_s']:.1f} m/s",
        limit=f"probe.burn_limit_m_s = {limit_m_s:g}",
    )


def _norm(vectors: np.ndarray) -> np.ndarray:
    return np.sqrt(np.einsum("ij,ij->i", vectors, vectors))


def _angle_deg(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Angle between rows, well conditioned near 0 and 180 degrees."""
    return np.degrees(np.arctan2(_norm(np.cross(a, b)), np.einsum("ij,ij->i", a, b)))


def _seen_from_earth_deg(shared: _Shared, tdb_s: np.ndarray) -> np.ndarray:
    """Sun-Earth-probe angle while the probe still rides the carrier's path."""
    epochs, where = np.unique(tdb_s, return_inverse=True)
    earth_km = shared.planets.state(EARTH, epochs)[:, :3]
    return _angle_deg(-earth_km, shared.path.at(epochs)[:, :3] - earth_km)[where]


def _columns(rows: np.ndarray, body: np.ndarray, shared: _Shared) -> dict[str, np.ndarray]:
    """Geometry of every minimum, in order of body, release slot, encounter."""
    order = np.lexsort((rows[:, 2], rows[:, 1], body))
    rows, body = rows[order], body[order]
    slot = rows[:, 1].astype(np.int64)
    burn_s, encounter_s = shared.bound.burn_tdb_s[slot], rows[:, 2]
    burn_m_s = rows[:, 3:6] * 1000.0
    v_rel, target_km, carrier_km = rows[:, 6:9], rows[:, 9:12], rows[:, 12:15]
    earth_km = shared.planets.state(EARTH, encounter_s)[:, :3]
    from_earth = target_km - earth_km
    return {
        "body": body,
        "slot": slot,
        "release_jd_tdb": jd_from_tdb_s(burn_s - shared.checkout_s),
        "burn_jd_tdb": jd_from_tdb_s(burn_s),
        "encounter_jd_tdb": jd_from_tdb_s(encounter_s),
        "burn_tdb_s": burn_s,
        "encounter_tdb_s": encounter_s,
        "burn_m_s": _norm(burn_m_s),
        "burn_x_m_s": burn_m_s[:, 0],
        "burn_y_m_s": burn_m_s[:, 1],
        "burn_z_m_s": burn_m_s[:, 2],
        "v_rel_km_s": _norm(v_rel),
        "v_rel_x_km_s": v_rel[:, 0],
        "v_rel_y_km_s": v_rel[:, 1],
        "v_rel_z_km_s": v_rel[:, 2],
        # the probe comes from -v_rel, the Sun stands at -target: the two signs cancel
        "phase_in_deg": _angle_deg(target_km, v_rel),
        "sun_range_au": _norm(target_km) / AU_KM,
        "earth_range_au": _norm(from_earth) / AU_KM,
        "sun_earth_probe_deg": _angle_deg(-earth_km, from_earth),
        "sun_earth_probe_release_deg": _seen_from_earth_deg(shared, burn_s - shared.checkout_s),
        "sun_earth_probe_burn_deg": _seen_from_earth_deg(shared, burn_s),
        "mothership_range_km": _norm(target_km - carrier_km),
        "target_x_km": target_km[:, 0],
        "target_y_km": target_km[:, 1],
        "target_z_km": target_km[:, 2],
        "revolutions": rows[:, 15].astype(np.int64),
    }


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


def _path_table(path: Path) -> pa.Table:
    names = ("x_km", "y_km", "z_km", "vx_km_s", "vy_km_s", "vz_km_s")
    return pa.table(
        {"t_jd_tdb": jd_from_tdb_s(path.epochs_tdb_s)}
        | {name: path.states[:, k] for k, name in enumerate(names)}
    )
