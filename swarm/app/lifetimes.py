"""`swarm lifetime`: what the orbits that a study asks for come to, in seconds and without a search."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

import numpy as np

from swarm.encounter.orbit.full_field import fly
from swarm.encounter.orbit.insertion import Insertion
from swarm.encounter.orbit.mean_life import ENDS, Life, MeanOrbit
from swarm.encounter.orbit.orbit_asked import (
    FOLLOWED_DAYS,
    arrivals_asked,
    arrived,
    field_of_body,
    never_there,
    surroundings_about,
)
from swarm.encounter.orbit.orbit_cautions import orbit_cautions
from swarm.encounter.orbit.orbit_judging import Arrived, JudgedOrbit, follow, judge_orbits
from swarm.encounter.orbit.osculating import osculating_state
from swarm.encounter.orbit.spiral import Spiral
from swarm.encounter.orbit.surroundings import Surroundings, turn_s_of
from swarm.encounter.pass_left_out import leaves_nothing
from swarm.reach.approach.passage import Passage
from swarm.reach.approach.rows import covered_s, field_for, left_out, shot
from swarm.reach.approach.scene import Scene, approaches_of, scene_of
from swarm.study.by_design import takers
from swarm.study.kind_names import ORBIT
from swarm.study.lowest import lowest_km
from swarm.study.schema import Study
from swarm.study.sections.approach import ApproachSettings
from swarm.study.sections.science import Where
from targets.base.constants import DAY_S
from targets.base.errors import NothingFeasible
from targets.base.timescale import iso_of_tdb_s
from targets.masses.massive import Mass

_HEAD = (
    f"{'design':<10} {'days':>5} {'low':>5} {'high':>6} {'incl':>6} {'argp':>6} {'in m/s':>7} {'loss':>6} "
    f"{'all m/s':>8} {'way d':>6} {'life d':>7} {'upkeep':>7} {'hours':>7} {'passes':>7} {'sigma':>6} {'kg/sigma':>8} "
    f"{'m/px':>6} {'quality':>8} {'chance':>7}"
)
_HISTORY_ROWS = 8
FLATTENED_KM = 1.0


def lifetime_lines(study: Study) -> list[str]:
    """Sentences for people, a block an approach and passage. Raises NothingFeasible where none leaves an orbit."""
    asks = approaches_of(study, ORBIT)
    lines, nothing, blocks = list[str](), list[NothingFeasible](), 0
    with scene_of(study) as sky:
        for ask in asks:
            for number, passage in sky.asked(ask):
                block, why = _passage_lines(sky, ask, number, passage)
                lines += [*([""] if lines else []), *block]
                blocks += 1
                if why is not None:
                    lines.append(f"   {leaves_nothing(ask.name, why)}")
                    nothing.append(why)
    if len(nothing) == blocks:
        limits = dict.fromkeys(why.limit for why in nothing)
        raise NothingFeasible(nothing[0].what, limit="; ".join(limits))
    return lines


def _passage_lines(
    sky: Scene, ask: ApproachSettings, number: int, passage: Passage
) -> tuple[list[str], NothingFeasible | None]:
    """The block of a passage, and why it leaves no orbit, if so."""
    body = passage.body
    if barred := never_there(sky.study, ask):
        when = iso_of_tdb_s(passage.closest_tdb_s)
        head = f"{ask.name}: orbits about {body.name}, passage {number}, {when}"
        return [head], NothingFeasible(f"no orbit about {body.name} is left", limit=barred)
    field = field_of_body(sky.study, body)
    speed = float(np.linalg.norm(passage.v_inf_km_s))
    lines = [
        f"{ask.name}: orbits about {body.name}, passage {number}, {iso_of_tdb_s(passage.closest_tdb_s)}, "
        f"v_inf {speed:.3f} km/s",
        f"   gravity: {field.source}; ground: {lowest_km(ask):g} km over the ellipsoid",
    ]
    wheres: list[Where | None] = [row.where for row in sky.study.science.rows if row.where.kind == "orbit"]
    refusals: list[str] = []
    kept = 0
    around = surroundings_about(
        sky.study, ask, body, passage.closest_tdb_s, ephemeris=sky.ephemeris, followed_days=FOLLOWED_DAYS
    )
    for name, own in takers(sky.study, ask.kind, ask.designs).items():
        met, counted = _arrivals(sky, own, ask, passage)
        for k, where in enumerate(wheres or [None]):
            sun_km = float(np.linalg.norm(passage.sun_km))
            judged = judge_orbits(own, ask, where, met, body, around, sun_km=sun_km)
            good = [row for row in judged if not row.refused]
            kept += len(good)
            refusals += [row.refused for row in judged if row.refused]
            if k == 0:
                lines += [f"   {name}: {counted}; {len(judged)} orbits, {len(good)} can be flown"]
                lines += [
                    f"   not flown: {said} ({count} of them)" for said, count in _first_refusals(judged)
                ]
            lines += _table(name, where, good, passage, own.probe.wet_mass_kg)
            if k == 0 and good:
                lines += _history(_best(good), body, around)
    lines += [f"   caution: {said}" for said in orbit_cautions(ask, body, sky.ephemeris, field)]
    if kept:
        return lines, None
    first = Counter(refusals).most_common(1)
    limit = first[0][0] if first else "no burn was found that meets an arrival asked for"
    return lines, NothingFeasible(f"no orbit about {body.name} is left", limit=limit)


def _arrivals(sky: Scene, own: Study, ask: ApproachSettings, passage: Passage) -> tuple[list[Arrived], str]:
    """Arrivals shot in the field, and what became of all that are asked for."""
    asked = arrivals_asked(sky, own, ask, passage)
    rows = shot(asked, field_for(asked, sky.ephemeris), covered_s(asked))
    met = arrived(own, ask, rows)[1]
    parts = [f"{len(rows.burn_s) + rows.early + rows.late} arrivals asked for", f"{len(met)} shot"]
    parts += left_out(rows.early, rows.late, rows.shots.status)
    return met, "; ".join(parts)


def _first_refusals(judged: Sequence[JudgedOrbit]) -> list[tuple[str, int]]:
    """The refusal that asks for least, and how many there are of all."""
    refused = [row for row in judged if row.refused]
    if not refused:
        return []
    return [(min(refused, key=lambda row: row.spent_m_s).refused, len(refused))]


def _best(rows: Sequence[JudgedOrbit]) -> JudgedOrbit:
    """By what is asked of it, then by how long it lives, then by its cost."""
    return max(
        rows, key=lambda row: (row.quality * row.chance, row.life.days if row.life else 0.0, -row.spent_m_s)
    )


def _table(
    name: str, where: Where | None, rows: Sequence[JudgedOrbit], passage: Passage, mass_kg: float
) -> list[str]:
    """One line a periapsis and apoapsis: the best of all planes and dates."""
    if not rows:
        return []
    said = _asked(where)
    shapes = dict.fromkeys((row.periapsis_km, row.apoapsis_km) for row in rows)
    best = [_best([row for row in rows if (row.periapsis_km, row.apoapsis_km) == shape]) for shape in shapes]
    return [
        *([f"   asked: {said}"] if said else []),
        f"   {_HEAD}",
        *(f"   {_line(name, row, passage, mass_kg)}" for row in best),
    ]


def _asked(where: Where | None) -> str:
    if where is None:
        return ""
    parts = []
    if where.latitude_deg is not None:
        parts.append(f"latitudes {where.latitude_deg[0]:g} to {where.latitude_deg[1]:g} deg")
    for key, text in (
        ("hours_below_min", "{:g} h low"),
        ("count_sigma_min", "{:g} sigma"),
        ("resolution_m_max", "{:g} m"),
    ):
        value = getattr(where, key)
        if value is not None:
            parts.append(text.format(value))
    return ", ".join(parts)


def _line(name: str, row: JudgedOrbit, passage: Passage, mass_kg: float) -> str:
    assert row.life is not None
    assert row.seen is not None
    days = (passage.closest_tdb_s - row.met.release_tdb_s) / DAY_S
    loss = f"{row.arrival.loss_m_s:.0f}" if isinstance(row.arrival, Insertion) else "-"
    bound = "<" if isinstance(row.arrival, Spiral) and row.arrival.upper_bound else ""
    way = (row.begin_tdb_s - row.met.tdb_s) / DAY_S
    # of a probe that works: what one sigma of the counter costs
    dear = f"{mass_kg / row.seen.count_sigma:.3g}" if row.seen.count_sigma > 0.0 else "-"
    return (
        f"{name:<10} {days:5.3g} {row.periapsis_km:5.4g} {row.apoapsis_km:6.5g} {row.inclination_deg:6.1f} "
        f"{row.argp_deg:6.1f} {f'{bound}{row.arrival.total_m_s:.0f}':>7} {loss:>6} {row.spent_m_s:8.0f} {way:6.1f} "
        f"{row.life.days:7.1f} {row.upkeep_m_s:7.1f} {row.seen.hours:7.1f} {row.seen.passes:7.0f} "
        f"{row.seen.count_sigma:6.2f} {dear:>8} {_number_or_dash(row.pixel_m):>6} {row.quality:8.3f} {row.chance:7.3f}"
    )


def _history(row: JudgedOrbit, body: Mass, around: Surroundings) -> list[str]:
    """Heights of the best row over its life, and where it ends when it is let go."""
    assert row.life is not None
    life = row.life
    picked = np.unique(np.linspace(0, len(life.tdb_s) - 1, _HISTORY_ROWS).round().astype(int))
    heights = ", ".join(
        f"{(life.tdb_s[k] - life.tdb_s[0]) / DAY_S:.0f} d {life.lowest_km[k]:.1f}" for k in picked
    )
    lines = [f"   the best of them, lowest km: {heights}"]
    ended = life if life.end != 0 else follow(row, FOLLOWED_DAYS, body, around)
    return [*lines, *_in_full(life, body, around), f"   {_ending(life, ended)}"]


def _in_full(life: Life, body: Mass, around: Surroundings) -> list[str]:
    """The same orbit flown in the field, not averaged, until its first upkeep: how good the mean is.

    Where the ground is flattened, the lowest place of a revolution is not its periapsis, and the two are not compared.
    """
    if body.radius_km - body.polar_radius_km > FLATTENED_KM:
        return []
    begin, days = float(life.tdb_s[0]), min(life.days, 0.99 * turn_s_of(body) / DAY_S)
    start = MeanOrbit(life.a_km, life.elements[0, :3].copy(), life.elements[0, 3:].copy())
    flown = fly(osculating_state(start, 0.0, begin, around), begin, days, around)
    if not len(flown.low_km):
        return []
    mean = np.interp(flown.low_tdb_s, life.tdb_s, life.lowest_km)
    return [
        f"   flown in the field for {days:.1f} d, not averaged: lowest {flown.low_km.min():.1f} km, averaged "
        f"{mean.min():.1f}; {np.abs(flown.low_km - mean).max():.1f} km apart at most"
    ]


def _ending(life: Life, ended: Life) -> str:
    where = (
        f"{iso_of_tdb_s(float(ended.tdb_s[-1]))}, near latitude {ended.lowest_latitude_deg[-1]:.0f} deg, "
        f"{ended.lowest_km[-1]:.1f} km over the ellipsoid"
    )
    if life.end != 0:
        return f"{ENDS[life.end]} in its science, after {life.days:.1f} d: {where}"
    if ended.end != 0:
        return f"let go after {life.days:.1f} d, {ENDS[ended.end]} {ended.days:.0f} d later: {where}"
    lowest = f"{ended.lowest_km[-1]:.1f} km at its lowest"
    return f"let go after {life.days:.1f} d, {ENDS[0]} {FOLLOWED_DAYS:.0f} d later: {lowest}"


def _number_or_dash(value: float) -> str:
    """A dash for what is never seen from low enough."""
    return "-" if math.isnan(value) else f"{value:.2g}"
