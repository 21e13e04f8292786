"""What the [[approach]] rows of a study come to, as lines for people: the second part of `swarm passages`."""

from __future__ import annotations

import numpy as np

from swarm.encounter.pass_judging import JudgedPasses, judge_passes, rules_of
from swarm.encounter.pass_left_out import DIVERT, IMPACT, SAID, SHIP, TANK, later_said, life_said
from swarm.encounter.pass_limits import FlownRows, lowest_pass
from swarm.reach.approach.field import OK
from swarm.reach.approach.rows import LowPasses, covered_s, field_for, left_out, shot
from swarm.reach.approach.scene import Scene
from swarm.study.approach_relations import impact_limit
from swarm.study.by_design import takers
from swarm.study.lowest import lowest_km
from swarm.study.schema import Study
from swarm.study.sections.approach import ApproachSettings
from targets.base.constants import DAY_S
from targets.base.errors import NothingFeasible
from targets.base.timescale import iso_of_tdb_s
from targets.masses.massive import mass_named
from targets.masses.where import Ephemeris

_HEAD = (
    f"{'days':>6} {'km':>6} {'burn m/s':>9} {'dv99 m/s':>9} {'lat':>6} {'long E':>7} {'Sun':>5} {'m/px':>6} "
    f"{'low s':>7} {'sigma km':>9} {'quality':>8} {'impact':>9} {'later':>7} {'least km':>9}"
)


def approach_lines(scene: Scene, ask: ApproachSettings) -> list[str]:
    """One line a date of release and height: the clock angle with the best quality among those that keep the limit.

    Raises NothingFeasible where the body is not passed, no burn is found, or no row keeps the limit on impacts.
    """
    own, lines, kept, least, later = scene.asked(ask), list[str](), 0, np.inf, np.inf
    flown: list[FlownRows] = []
    for name, study in takers(scene.study, ask.kind, ask.designs).items():
        for number, passage in own:
            rules = rules_of(study, ask, own_aim_km=scene.own_aim_km(ask, passage))
            asked = scene.rows(ask, passage, checkout_days=study.probe.checkout_days)
            rows = shot(asked, field_for(asked, scene.ephemeris), covered_s(asked))
            judged = judge_passes(study, rows, rules)
            keeps = (judged.cases.own_burn_m_s <= study.probe.burn_limit_m_s) & judged.within_limits
            able = judged.burn_m_s <= study.probe.burn_limit_m_s
            flown.append(FlownRows(study, rules, rows, judged, able))
            kept += int(keeps.sum())
            least = min(least, float(judged.counted_chance.min(initial=np.inf)))
            later = min(later, float(judged.later_chance.min(initial=np.inf)))
            whose = f" by {name}" if scene.study.designs else ""
            when = iso_of_tdb_s(passage.closest_tdb_s)
            lines += [f"{ask.name}: {ask.body}, passage {number}{whose}, {when}"]
            told = (
                *_counted(rows, judged, keeps, study),
                *_steering(study, ask, judged, keeps),
                _HEAD,
                *_best(rows, judged, keeps),
            )
            lines += [f"   {line}" for line in told]
    lowest = lowest_pass(ask, impact_limit(scene.study, ask), flown)
    if not kept:
        limits = _why_none(scene.study, ask, least, later) + ("" if lowest is None else f"; {lowest.least}")
        raise NothingFeasible(f"no low pass of {ask.body} is left", limit=limits)
    refused = [f"   caution: {lowest.caution}"] if lowest is not None and lowest.refused_km else []
    return [*lines, *refused, *_cautions(scene.study, ask, scene.ephemeris)]


def _counted(rows: LowPasses, judged: JudgedPasses, keeps: np.ndarray, study: Study) -> list[str]:
    """What became of every row that was asked for: none is dropped without a word."""
    dear = int((judged.cases.own_burn_m_s > study.probe.burn_limit_m_s).sum())
    shot = int((rows.shots.status == OK).sum())
    parts = [f"{len(rows.burn_s) + rows.early + rows.late} rows asked for", f"{int(keeps.sum())} left"]
    parts += left_out(rows.early, rows.late, rows.shots.status)
    if dear:
        parts.append(f"{dear} need more than probe.burn_limit_m_s")
    if judged.late:
        parts.append(f"{judged.late} {SAID[DIVERT]}")
    if tank := shot - judged.late - len(judged.rows):
        parts.append(f"{tank} {SAID[TANK]}")
    flyable = judged.cases.own_burn_m_s <= study.probe.burn_limit_m_s
    for code, kept in ((IMPACT, ~judged.probe_keeps), (SHIP, judged.probe_keeps & ~judged.within_limits)):
        if over := int((kept & flyable).sum()):
            parts.append(f"{over} {SAID[code]}")
    return ["; ".join(parts)]


def _steering(study: Study, ask: ApproachSettings, judged: JudgedPasses, keeps: np.ndarray) -> list[str]:
    """What the rows that are left ask of a mothership that steers."""
    if ask.steer == "probe" or not keeps.any():
        return []
    kilograms, chance = judged.steered.propellant_kg[keeps], judged.ship_chance[keeps]
    return [
        f"the mothership steers: {kilograms.min():.3g} to {kilograms.max():.3g} kg a probe, "
        f"{ask.divert_after_days:g} d on the probe's course; chance that it hits {chance.min():.2g} to "
        f"{chance.max():.2g} (does not divert: {study.mothership.divert_failure:g})"
    ]


def _best(rows: LowPasses, judged: JudgedPasses, keeps: np.ndarray) -> list[str]:
    days = ((rows.passage.closest_tdb_s - rows.release_s) / DAY_S)[judged.rows]
    heights, ground, worth = rows.altitude_km[judged.rows], judged.ground, judged.worth
    lines = []
    for day, height in dict.fromkeys(zip(days.round(6), heights, strict=True)):
        own = np.flatnonzero(keeps & (days.round(6) == day) & (heights == height))
        if not len(own):
            continue
        k = own[np.lexsort((judged.burn_m_s[own], -worth.expected_quality[own]))[0]]
        least = judged.lowest_altitude_for_limit_km[k]
        lines.append(
            f"{day:6g} {height:6g} {judged.burn_m_s[k]:9.3g} {worth.dv99_needed_m_s[k]:9.3g} "
            f"{ground.latitude_deg[k]:6.1f} {ground.longitude_e_deg[k]:7.1f} {ground.sun_elevation_deg[k]:5.0f} "
            f"{judged.pixel_m[k]:6.3g} {judged.dwell_s[k]:7.1f} {worth.sigma_altitude_km[k]:9.3g} "
            f"{worth.expected_quality[k]:8.3f} {worth.impact_chance[k]:9.2g} {judged.later_chance[k]:7.2g} "
            f"{'-' if np.isnan(least) else f'{least:.1f}':>9}"
        )
    return lines


def _why_none(study: Study, ask: ApproachSettings, least: float, later: float) -> str:
    if not np.isfinite(least):
        return "no burn was found that meets a pass asked for (approach.release_days_before, altitudes_km)"
    able = takers(study, ask.kind, ask.designs).values()
    burns = f"probe.burn_limit_m_s = {' and '.join(f'{own.probe.burn_limit_m_s:g}' for own in able)}"
    limit = impact_limit(study, ask)
    if limit is None:
        return burns
    counted = study.protection.carrier_included and ask.steer != "probe"
    ship = (
        f" with the mothership's (mothership.divert_failure = {study.mothership.divert_failure:g})" * counted
    )
    return (
        f"impact chance at most {limit:g} (protection.impact_chance_max or approach.impact_chance_max), and {burns}; "
        f"the least impact chance found is {least:.2g}{ship}{later_said(study, later)}, with altitudes_km up to "
        f"{max(ask.altitudes_km):g}"
    )


def _cautions(study: Study, ask: ApproachSettings, ephemeris: Ephemeris) -> list[str]:
    body = mass_named(ask.body)
    said = [
        f"   caution: relief of {body.name} reaches {lowest_km(ask):g} km over the ellipsoid (terrain or atmosphere)"
    ]
    known = ephemeris.whereabouts(body)
    if known.approximate:
        said.append(f"   caution: {body.name} is placed by a {known.ephemeris}, to {known.error_km:.3g} km")
    if body.may_harbour_life:
        said.append(f"   caution: {life_said(study, body.name)}")
    return said
